"""Let people into a played house: what its people did before, its pages, and what answers behind them."""

import asyncio
import contextlib
import os
from collections.abc import Coroutine, Iterable, Sequence
from pathlib import Path
from typing import Any

from gatewayd.clock import PlayedClock, SystemClock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.household import Force, Household
from gatewayd.daemon.recalling import recall
from gatewayd.daemon.reception import Reception
from gatewayd.daemon.show import Show
from gatewayd.demo.before import Deed, IceBath
from gatewayd.door import Plain
from gatewayd.model.event import Notice
from gatewayd.model.given import Remark, Rewired, SourceNews
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Heard
from gatewayd.settings.load import changes
from gatewayd.settings.redact import redacted
from gatewayd.settings.typed import Settings
from gatewayd.store.batch import Batch
from gatewayd.watch.nearby import Nearby, Sighting
from gatewayd.web.hearing import LASTS


class Overheard:
    """Hold what the brokers of a played house passed on while somebody listened; see `web.hearing.Hearing`."""

    def __init__(self) -> None:
        """Begin with nobody listening. People wait by this computer's clock, however fast the house lives."""
        self._own = SystemClock()
        self._until: int | None = None
        self._nearby = Nearby()

    def begin(self) -> None:
        """Listen for LASTS from now on."""
        if self.until is None:
            self._nearby = Nearby()
        self._until = self._own.now().steady + LASTS

    def now(self) -> Moment:
        """Return this moment."""
        return self._own.now()

    @property
    def until(self) -> int | None:
        """Return when (steady ms) it ends, None while nobody listens."""
        return self._until if self._until is not None and self._until > self._own.now().steady else None

    @property
    def nearby(self) -> Nearby:
        """Return what was heard since the last begin."""
        return self._nearby

    @property
    def troubles(self) -> Sequence[str]:
        """Return that nothing kept it from listening."""
        return ()

    def hear(self, source: str, topic: str, payload: bytes) -> None:
        """Take a message, while somebody listens."""
        if self.until is not None:
            self._nearby.see(Sighting("broker", source, topic, {"": payload}, self._own.now()))


class OpenDay:
    """Hold the pages of a played house: the house goes by its own clock, sign-ins by this computer's."""

    def __init__(
        self, settings: Settings, state_dir: Path, deeds: Iterable[Deed] = (), ice: IceBath | None = None
    ) -> None:
        """Take the settings, the folder of the lock, and what was ordered and checked before the house begins to play.

        `before` is how long before it (ms) the clock begins.
        """
        self.before = 0 if ice is None else ice.lasts + ice.every
        self._ice = ice
        self._settings = settings
        self._state_dir = state_dir
        self._deeds = deeds
        self._reception: Reception | None = None
        self._running: list[asyncio.Task[None]] = []
        self._overheard = Overheard()
        self._one = asyncio.Lock()

    async def furnish(self, gateway: Gateway, clock: PlayedClock) -> None:
        """Carry out what was ordered before, each at its own time. Raise RuntimeError for what was refused."""
        now = clock.now()
        for deed in self._deeds:
            then = Moment(now.wall - deed.before, now.steady, "before")
            await _done(Answers(gateway, PlayedClock(then), _unrestored), deed.request, deed.who)
        if self._ice is not None:
            await self._check(gateway, clock, self._ice)

    async def _check(self, gateway: Gateway, clock: PlayedClock, ice: IceBath) -> None:
        """Check a probe in ice, reading by reading, and keep what is found."""
        answers = Answers(gateway, clock, _unrestored)
        asked = {"ask": "calibrate", "sensor": ice.sensor}
        source = gateway.watch.house.sensors[ice.sensor].source
        for each in gateway.watch.house.sources:
            gateway.give(SourceNews(each, up=True, reason="it answers"))
        await _done(answers, {**asked, "do": "begin"}, ice.who)
        for _ in range(ice.lasts // ice.every):
            clock.move(clock.now().later(ice.every))
            gateway.hear(Heard(source, ice.sensor, ice.payload, clock.now()), None)
            gateway.tick()
        await _done(answers, {**asked, "do": "keep", "key": "before-ice"}, ice.who)

    def open(self, show: Show, gateway: Gateway) -> None:
        """Serve the pages from now on; says by the log where they are, and the code for the first phone."""
        clock = show.clock

        async def restored() -> None:
            await gateway.refit(Batch(clock.now()), alone=False)
            await gateway.commit()

        async def against(settings: Settings) -> list[str]:
            return changes(self._settings, settings)

        async def take(settings: Settings, text: str) -> None:
            self._settings = settings
            gateway.version(settings.house.version, redacted(settings))
            gateway.give(Rewired(settings.house))
            show.rewire(settings.house)
            reception.fit(settings)
            gateway.give(Remark(settings.house.id, "settings", text))

        answers = Answers(gateway, clock, restored)
        force = Force(lambda: self._settings, against, take, self._one)
        wiring = Household(force, os.environ, self._state_dir, show.terminal, clock)
        own = SystemClock()
        reception = Reception(self._settings, gateway, clock, self._state_dir, answers, own, wiring, self._overheard)
        self._reception = reception
        answers.add("pages", reception.door)
        self._run("pages", reception.run())
        self._run("what the freezers hold", answers.pantry.run())
        self._run("what is due", answers.duty.run())
        self._run("the stored past", recall(gateway, clock))

    def overhear(self, source: str, topic: str, payload: bytes) -> None:
        """Hear what reached a broker."""
        self._overheard.hear(source, topic, payload)

    def line(self, notice: Notice) -> str:
        """Return the line that leads from a message to its page, nothing before the pages are open."""
        return self._reception.line(notice) if self._reception is not None else ""

    async def close(self) -> None:
        """Close the pages."""
        for task in self._running:
            task.cancel()
        for task in self._running:
            with contextlib.suppress(asyncio.CancelledError):
                await task

    def _run(self, name: str, work: Coroutine[Any, Any, None]) -> None:
        self._running.append(asyncio.create_task(work, name=name))


async def _done(answers: Answers, request: Plain, who: str) -> None:
    """Have an order carried out. Raise RuntimeError where it is refused."""
    async for answer in answers(request, who):
        if answer.get("done") is not True:
            raise RuntimeError(f"{request} was refused: {answer.get('error')}")


async def _unrestored() -> None:
    """Do nothing: no copy is put back before the house plays."""
