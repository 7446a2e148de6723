"""Play the demo house through a real gateway: real bytes, store and outbox; only the phones are this terminal."""

import asyncio
import contextlib
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from gatewayd.clock import PlayedClock
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.demo.house import ROUTES, ZONE, HeronLane, Remark, Sent, SourceUp
from gatewayd.demo.story import evening
from gatewayd.model.given import Start
from gatewayd.model.moment import HOUR, MINUTE, Moment, from_wall
from gatewayd.model.reading import Heard
from gatewayd.model.route import MailRoute, Route
from gatewayd.notify.letter import Letter, Outcome
from gatewayd.notify.pump import Pump
from gatewayd.store.store import Store
from gatewayd.watch.watch import Watch

FIRST_DAY = date(2026, 11, 23)  # a Monday; the days of the demo are the same on every run
COMMIT_EVERY = 10 * MINUTE  # of the house's time: the house lives faster than a disk
STRETCH = 5 * MINUTE  # of the house's time: how far it is played between two rests when the pace is slow

Say = Callable[[str, str, Letter | None], None]  # (stamp, text, letter or None)


@dataclass(frozen=True, slots=True)
class Told:
    """Hold one message that reached a phone: the house's time, the phone, and the title."""

    at: str
    phone: str
    title: str


@dataclass
class Terminal:
    """Take letters as a phone would, and show them."""

    say: Say
    clock: PlayedClock
    told: list[Told] = field(default_factory=list)

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:  # noqa: ARG002 - the pump's contract
        """Show a letter; it always arrives."""
        stamp = stamp_of(self.clock.now().wall)
        self.told.append(Told(stamp, route.id, letter.title))
        self.say(stamp, route.id, letter)
        return Outcome(ok=True)


def stamp_of(wall: int) -> str:
    """Write the house's time as `Tue 18:16`."""
    return f"{from_wall(wall).astimezone(ZONE):%a %H:%M}"


class Show:
    """Hold the played house and its gateway."""

    def __init__(self, say: Say, seed: int, folder: Path) -> None:
        """Take where to show things, the seed of the weather and the habits, and a folder for the store."""
        start = evening(FIRST_DAY, ZONE)
        self.lane = HeronLane(random.Random(seed), start)  # noqa: S311 - weather and habits, no secret
        self.clock = PlayedClock(Moment(start, HOUR, "demo"))
        self.terminal = Terminal(say, self.clock)
        self._say = say
        self._path = folder / "house.db"
        self._committed = 0

    async def play(self, until: int | None, pace: float) -> list[Told]:
        """Play to `until` (wall ms), or for ever; `pace` is house hours a second, 0 as fast as it goes."""
        store = await Store.open(self._path, ZONE)
        mailbag = Mailbag(store)
        gateway = Gateway(Watch(self.lane.house(), self.clock.now()), store, mailbag, self.clock, COMMIT_EVERY)
        pump = Pump(mailbag, self.terminal, _phones(), self.clock, random.Random(1))  # noqa: S311 - jitter
        sending = asyncio.create_task(pump.run(), name="pump")
        try:
            gateway.give(Start())
            rested, over = self.clock.now().wall, False
            for wall, happening in self.lane.play(until):
                await self._pass(gateway, pump, wall)
                self._happen(gateway, happening, wall)
                if not over and wall >= self.lane.ends:
                    over = True
                    self._say(stamp_of(wall), "the eventful days are over; the house goes on quietly", None)
                if pace and wall - rested >= STRETCH:
                    await self.clock.let_run((wall - rested) / HOUR / pace)
                    rested = wall
            await self._settle(gateway, pump)
        finally:
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await sending
            await store.close()
        return self.terminal.told

    async def _pass(self, gateway: Gateway, pump: Pump, wall: int) -> None:
        """Let the house's time pass up to `wall`, with every deadline at its own moment."""
        now = self.clock.now()
        end = now.steady + max(0, wall - now.wall)
        while (wake := gateway.watch.next_wake()) is not None and wake <= end:
            self.clock.move(now.later(max(0, wake - now.steady)))
            gateway.tick()
            await self._settle(gateway, pump)
        self.clock.move(now.later(end - now.steady))
        if gateway.wanted or end - self._committed >= COMMIT_EVERY:
            await self._settle(gateway, pump)

    async def _settle(self, gateway: Gateway, pump: Pump) -> None:
        """Commit, and wait until what is to be told was told."""
        self._committed = self.clock.now().steady
        await gateway.commit()
        if not gateway.mailbag.empty:
            pump.poke()
        while not gateway.mailbag.empty:
            await self.clock.let_run(0.002)

    def _happen(self, gateway: Gateway, happening: Sent | SourceUp | Remark, wall: int) -> None:
        match happening:
            case Sent(sensor, payload):
                source = gateway.watch.house.sensors[sensor].source
                gateway.hear(Heard(source, sensor, payload, self.clock.now()), None)
            case SourceUp(source, up, reason):
                gateway.source_up(source, up, reason)
            case Remark(text):
                self._say(stamp_of(wall), text.split(" ", 1)[1], None)


def _phones() -> dict[str, Route]:
    """Return the demo's routes; the terminal stands in for both, so their addresses are never used."""
    nowhere = MailRoute("terminal.invalid", 465, "tls", "gatewayd@terminal.invalid", "phone@terminal.invalid")
    return {route: Route(route, nowhere) for route in ROUTES}
