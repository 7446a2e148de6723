"""Play a house through a real gateway: real bytes, store and outbox; only the phones are this terminal."""

import asyncio
import contextlib
import random
from collections.abc import Callable, Coroutine, Iterable
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from pathlib import Path
from typing import Protocol

from gatewayd.clock import PlayedClock, SystemClock
from gatewayd.daemon.fits import AtOnce
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.demo.house import Aired, Answered, Remark, Sent, SourceUp
from gatewayd.model.event import Notice
from gatewayd.model.given import Order, Start
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment, between, from_wall
from gatewayd.model.reading import Heard
from gatewayd.model.route import MailRoute, Route
from gatewayd.notify.letter import Letter, Outcome
from gatewayd.notify.pump import Pump
from gatewayd.store.store import Store
from gatewayd.watch.known import Pace
from gatewayd.watch.watch import Watch

COMMIT_EVERY = 10 * MINUTE  # of the house's time: the house lives faster than a disk
COMMIT_SLOWLY = 30 * SECOND  # the same, of a house that is played as slow as life: what real settings begin with
# How often a forecast is computed, of the house's time: as often as a message needs one, and no more, since each stops
# the play for a quarter of a second.
WARMING, CALM = 30 * MINUTE, DAY
# Real seconds. The house is played in stretches of the first and rests between them; a rest is cut into slices of the
# second, after each of which what a page ordered is carried out: people take an answer within 0.1 s as instant (our
# choice, by common practice).
STRETCH, SLICE = 0.1, 0.02
BEHIND = 1.0  # real seconds: a house that is played later than this does not hurry after

Say = Callable[[str, str, Letter | None], None]  # (stamp, text, letter or None)
Happening = Sent | Aired | SourceUp | Remark | Answered | Heard


@dataclass(frozen=True, slots=True)
class Pacing:
    """Say how a house is played.

    `pace` is house hours a second, 0 as fast as it goes. The first `ahead` ms of the house's time are played as fast as
    they go. When `ends` (wall ms) is passed, that is said. It ends early when `left` says that nobody looks any more.
    """

    pace: float = 0.0
    ahead: int = 0
    ends: int | None = None
    left: Callable[[], bool] = lambda: False


class Visit(Protocol):
    """Let people in who look at the played house: its pages. `before` is how long before its start (ms) it begins."""

    before: int

    async def furnish(self, gateway: Gateway, clock: PlayedClock) -> None:
        """Do what people of the house did before anybody looks; each order waits for its commit."""
        ...

    def open(self, show: "Show", gateway: Gateway) -> None:
        """Let people in."""
        ...

    def overhear(self, source: str, topic: str, payload: bytes) -> None:
        """Hear what reached a broker, whether a sensor of the house sent it or a stranger."""
        ...

    def line(self, notice: Notice) -> str:
        """Return the last line of a notice's text."""
        ...

    async def close(self) -> None:
        """Send everybody away."""
        ...


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
    zone: tzinfo
    told: list[Told] = field(default_factory=list)

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:  # noqa: ARG002 - the pump's contract
        """Show a letter; it always arrives."""
        stamp = stamp_of(self.clock.now().wall, self.zone)
        self.told.append(Told(stamp, route.id, letter.title))
        self.say(stamp, route.id, letter)
        return Outcome(ok=True)


def stamp_of(wall: int, zone: tzinfo) -> str:
    """Write the house's time as `Tue 24 Nov 18:16`."""
    return f"{from_wall(wall).astimezone(zone):%a %d %b %H:%M}"


class Show:
    """Hold the played house and its gateway."""

    def __init__(self, say: Say, house: House, start: int, folder: Path, visit: Visit | None = None) -> None:
        """Take where to show things, the house, when it begins (wall ms), a folder for the store, and who looks."""
        self.house = house
        self.clock = PlayedClock(Moment(start - (visit.before if visit else 0), HOUR, "played"))
        self.terminal = Terminal(say, self.clock, house.zone)
        self._say = say
        self._path = folder / "house.db"
        self._committed = 0
        self._commit_every = COMMIT_EVERY
        self._visit = visit
        self._own = SystemClock()
        self._begun = self._own.now()  # when by this computer's clock the house was at `_since`
        self._since = start
        self._wires = {one.id: (one.source, one.channel) for one in house.sensors.values()}  # as the probes send
        self._pump: Pump | None = None

    def rewire(self, house: House) -> None:
        """Take other settings: phones that came are this terminal too."""
        self.house = house
        if self._pump is not None:
            self._pump.take_routes(_phones(house))

    async def play(self, happenings: Iterable[tuple[int, Happening]], pacing: Pacing | None = None) -> list[Told]:
        """Play what happens, in order, as (wall ms, happening), and return what was told."""
        store = await Store.open(self._path, self.house.zone)
        mailbag = Mailbag(store)
        watch = Watch(self.house, self.clock.now())
        watch.pace = Pace(WARMING, CALM)
        gateway = Gateway(watch, store, mailbag, self.clock, COMMIT_EVERY)
        gateway.fitting = AtOnce(gateway.give)
        rng = random.Random(1)  # noqa: S311 - jitter
        line = self._visit.line if self._visit else lambda _notice: ""
        phones = _phones(self.house)
        pump = Pump(mailbag, self.terminal, phones, self.clock, rng, zone=self.house.zone, line=line)
        self._pump = pump
        sending = asyncio.create_task(pump.run(), name="pump")
        try:
            gateway.give(Start())
            await self._play(gateway, pump, happenings, pacing or Pacing())
            await self._pass(gateway, pump, self.clock.now().wall + gateway.watch.house.telling.join_within)
        finally:
            if self._visit:
                await self._visit.close()
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await sending
            await store.close()
        return self.terminal.told

    async def _play(
        self, gateway: Gateway, pump: Pump, happenings: Iterable[tuple[int, Happening]], pacing: Pacing
    ) -> None:
        if self._visit:
            await self._while(gateway, pump, self._visit.furnish(gateway, self.clock))
        ends, first, fast = pacing.ends, self._since + pacing.ahead, True
        for wall, happening in happenings:
            if pacing.left():
                break
            if fast and wall >= first:
                fast = False
                await self._slow_down(gateway, pump, first, pacing.pace)
            if pacing.pace and not fast:
                await self._stroll(gateway, pump, wall, pacing.pace)
            else:
                await self._pass(gateway, pump, wall)
            self._happen(gateway, happening, wall)
            if ends is not None and wall >= ends:
                ends = None
                self._remark(wall, "the eventful days are over; the house goes on quietly")

    async def _while(self, gateway: Gateway, pump: Pump, work: Coroutine[object, object, None]) -> None:
        """Wait for orders to be carried out, with the house's time standing still."""
        task = asyncio.create_task(work, name="furnish the house")
        while not task.done():
            await asyncio.wait({task}, timeout=SLICE / 10)
            if gateway.wanted:
                await self._settle(gateway, pump)
        await task

    async def _slow_down(self, gateway: Gateway, pump: Pump, wall: int, pace: float) -> None:
        """Come to the moment from which on the house is played at its pace, and let people in."""
        await self._pass(gateway, pump, wall)
        await self._settle(gateway, pump)
        self._begun, self._since = self._own.now(), wall
        if pace:  # once a second; a house that is played as slow as life is stored as a real one is
            self._commit_every = min(COMMIT_EVERY, max(COMMIT_SLOWLY, round(pace * HOUR)))
        if self._commit_every == COMMIT_SLOWLY:
            gateway.watch.pace = Pace()
        if self._visit:
            self._visit.open(self, gateway)

    async def _stroll(self, gateway: Gateway, pump: Pump, wall: int, pace: float) -> None:
        """Let the house's time pass up to `wall` at `pace`, in stretches with rests between them."""
        stretch = max(1, round(STRETCH * pace * HOUR))
        while (now := self.clock.now().wall) < wall:
            part = min(wall, now + stretch)
            due = (part - self._since) / HOUR / pace  # s after `_begun`
            while (rest := due - between(self._begun, self._own.now()) / SECOND) > STRETCH / 2:
                await self.clock.let_run(min(rest, SLICE))
                if gateway.wanted:
                    await self._settle(gateway, pump)
            if rest < -BEHIND:  # the computer slept, or cannot keep the pace
                self._begun, self._since = self._own.now(), part
            await self._pass(gateway, pump, part)

    def _remark(self, wall: int, text: str) -> None:
        self._say(stamp_of(wall, self.house.zone), text, None)

    async def _pass(self, gateway: Gateway, pump: Pump, wall: int) -> None:
        """Let the house's time pass up to `wall`, with every deadline at its own moment."""
        now = self.clock.now()
        end = now.steady + max(0, wall - now.wall)
        while (wake := self._wake(gateway)) is not None and wake <= end:
            self.clock.move(now.later(max(0, wake - now.steady)))
            gateway.tick()
            letter = gateway.mailbag.next_try()
            if gateway.wanted or self._late() or (letter is not None and letter <= self.clock.now().wall):
                await self._settle(gateway, pump)
        self.clock.move(now.later(end - now.steady))
        if gateway.wanted or self._late():
            await self._settle(gateway, pump)

    def _late(self) -> bool:
        """Return whether it is time to commit, whatever waits for it."""
        return self.clock.now().steady - self._committed >= self._commit_every

    def _wake(self, gateway: Gateway) -> int | None:
        """Return when (steady ms) the watch or a message next wants something."""
        now, letter = self.clock.now(), gateway.mailbag.next_try()
        wakes = [gateway.watch.next_wake(), None if letter is None else now.steady + letter - now.wall]
        return min((wake for wake in wakes if wake is not None), default=None)

    async def _settle(self, gateway: Gateway, pump: Pump) -> None:
        """Commit, and wait until what is to be told by now was told."""
        self._committed = self.clock.now().steady
        await gateway.commit()
        if not gateway.mailbag.empty:
            pump.poke()
        while (letter := gateway.mailbag.next_try()) is not None and letter <= self.clock.now().wall:
            await self.clock.let_run(0.002)

    def _happen(self, gateway: Gateway, happening: Happening, wall: int) -> None:
        match happening:
            case Sent(sensor, payload):
                self._arrive(gateway, *self._wires[sensor], payload)
            case Aired(source, topic, payload):
                self._arrive(gateway, source, topic, payload)
            case SourceUp(source, up, reason):
                gateway.source_up(source, up, reason)
            case Remark(text):
                self._remark(wall, text.split(" ", 1)[1])
            case Answered(person):
                gateway.give(Order("acknowledge", who=person))
            case Heard():
                gateway.hear(replace(happening, at=self.clock.now()), None)

    def _arrive(self, gateway: Gateway, source: str, topic: str, payload: bytes) -> None:
        """Let a message reach its broker: whichever sensors hang on that topic by now are heard."""
        for one in gateway.watch.house.sensors.values():
            if (one.source, one.channel) == (source, topic):
                gateway.hear(Heard(source, one.id, payload, self.clock.now()), None)
        if self._visit:
            self._visit.overhear(source, topic, payload)


def _phones(house: House) -> dict[str, Route]:
    """Return the house's routes; the terminal stands in for them all, so their addresses are never used."""
    nowhere = MailRoute("terminal.invalid", 465, "tls", "gatewayd@terminal.invalid", "phone@terminal.invalid")
    return {route: Route(route, nowhere) for person in house.people.values() for route in person.routes}
