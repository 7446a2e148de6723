"""Show a running gateway to the pages, and take their orders: the pages go by the same door as the commands."""

import asyncio
import sqlite3
from collections.abc import Callable
from contextlib import closing
from typing import TypeVar

from gatewayd.alarm.engine import HOUSE, Alarm
from gatewayd.alarm.table import UNSEEN
from gatewayd.clock import Clock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.message.house import HEARD_WITHIN, of_alarm
from gatewayd.message.words import at, called, capital, clock, name, person, place, span
from gatewayd.model.effect import Answer
from gatewayd.model.given import Beat, Order
from gatewayd.model.house import House
from gatewayd.model.moment import Moment, between
from gatewayd.model.units import show_span
from gatewayd.store.file import open_reader
from gatewayd.watch.forecast import forecast
from gatewayd.watch.holding import case_of
from gatewayd.watch.view import health, status
from gatewayd.web.button import Sight

T = TypeVar("T")


class Visitors:
    """Stand between the pages and the gateway: what the pages call a Home."""

    def __init__(self, gateway: Gateway, clock: Clock, answers: Answers) -> None:
        """Take the gateway, the clock it goes by, and what answers at the door."""
        self._gateway = gateway
        self._clock = clock
        self._answers = answers

    @property
    def name(self) -> str:
        """Return what the house is called."""
        return self._gateway.watch.house.name

    @property
    def house(self) -> House:
        """Return the wired house as it is now."""
        return self._gateway.watch.house

    def now(self) -> Moment:
        """Return the house's time."""
        return self._clock.now()

    def status(self) -> Plain:
        """Return the house at a glance."""
        bag = self._gateway.mailbag
        now = self._clock.now()
        return {
            **status(self._gateway.watch, now),
            "failing_routes": bag.failing(),
            "failed_tries": dict(bag.failed()),
            "messages_waiting": bag.waiting(),
            "messages_late": bag.late(now.wall),
        }

    def health(self) -> list[Plain]:
        """Return one entry a sensor."""
        return health(self._gateway.watch, self._clock.now())

    def forecast(self) -> Plain:
        """Return what the temperatures of each freezer mean."""
        return forecast(self._gateway.watch, self._clock.now())

    def pulse(self) -> tuple[int, int]:
        """Return the last event's number and when (steady ms) a sensor was last heard."""
        watch = self._gateway.watch
        heard = (post.health.last_heard.steady for post in watch.posts.values() if post.health.last_heard)
        return watch.alarms.number, max(heard, default=0)

    async def ask(self, request: Plain, who: str) -> Plain:
        """Return the last answer of the door to a request of `who`."""
        last: Plain = {"error": "nothing came of it"}
        async for answer in self._answers(request, who):
            last = answer
        return last

    async def read(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Return what `work` reads from the store's file, in a thread of its own."""
        path = self._gateway.store.path

        def reading() -> T:
            with closing(open_reader(path, across_threads=True)) as conn:
                return work(conn)

        return await asyncio.to_thread(reading)

    def sight(self, number: int) -> Sight | None:
        """Return the alarm that event `number` belongs to as it stands now, None if it needs nobody any more."""
        watch, now = self._gateway.watch, self._clock.now()
        alarm = watch.alarms.find(number)
        return None if alarm is None else sight(alarm, watch.house, now, self._present(alarm, now))

    def _present(self, alarm: Alarm, now: Moment) -> tuple[str, ...]:
        """Say how warm the freezer of an alarm is now, and what to do about the alarm while that helps."""
        watch, house = self._gateway.watch, self._gateway.watch.house
        found = status(watch, now)
        heard = next((row["heard_ago"] for row in found["freezers"] if row["id"] == alarm.subject), None)
        rows = (row for row in forecast(watch, now)["freezers"] if row["id"] == alarm.subject)
        case = next((case_of(row, now, house.units, house.zone, heard) for row in rows), None)
        said = []
        if case is not None and case.air is not None and heard is not None:
            old = heard > HEARD_WITHIN
            said.append(
                f"It was at {house.units.show(case.air)} when it was heard last, {show_span(heard)} ago."
                if old
                else f"It is at {house.units.show(case.air)} now."
            )
        if alarm.standing or alarm.latched:
            mine = next(one for one in found["alarms"] if one["number"] == alarm.first)
            todo = of_alarm(house, mine, None if case is None else case.event).todo
            said += [f"What to do now: {todo}"] if todo else []
        return tuple(said)

    async def order(self, order: Order) -> Answer:
        """Carry an order out and return its answer after the commit."""
        return await self._gateway.order(order)

    def give(self, given: Beat, /) -> object:
        """Hand a neighbour's sign of life to the watch."""
        return self._gateway.give(given)


def sight(alarm: Alarm, house: House, now: Moment, present: tuple[str, ...] = ()) -> Sight:
    """Say of an alarm what it is, since when, how it stands, and whether it waits for somebody.

    `present` is what is said first: how it is now, and what to do.
    """
    return Sight(
        title=f"{capital(name(alarm.subject, house))}{place(alarm.subject, house)}: {called(alarm.kind)}",
        lines=(*present, _since(alarm, house, now), _stands(alarm, house, now), _seen(alarm, house, now)),
        waits=alarm.state in UNSEEN,
        turn=max((alarm.first, *alarm.numbers)),
    )


def _since(alarm: Alarm, house: House, now: Moment) -> str:
    began = alarm.began or alarm.raised
    if began is None:
        return ""
    lasted = span(between(began, alarm.over or now))
    return f"It began {at(clock(began.wall, now.wall, house.zone))}{f' and lasted {lasted}' if alarm.over else ''}."


def _stands(alarm: Alarm, house: House, now: Moment) -> str:
    if alarm.over is None:
        return "It has not ended."
    ended = f"It ended {at(clock(alarm.over.wall, now.wall, house.zone))}."
    return f"{ended} It stays listed until somebody has checked the food." if alarm.latched else ended


def _seen(alarm: Alarm, house: House, now: Moment) -> str:
    if alarm.acknowledged_at is None:
        return "Nobody has said yet that they have seen it."
    if alarm.acknowledged_by == HOUSE:
        return "It needs no answer."
    when = at(clock(alarm.acknowledged_at.wall, now.wall, house.zone))
    told = ", and it was told of again since" if alarm.state in UNSEEN else ""
    return f"{person(alarm.acknowledged_by, house)} saw it {when}{told}."
