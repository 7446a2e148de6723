"""Listen to everything nearby for somebody who looks at the pages, inside the daemon and beside its own work.

The radios that run hand on what they hear anyway; a broker is overheard by a client of its own, so that the daemon's
session with it is not disturbed. With nobody listening there is nothing of this.
"""

import asyncio
import logging
import random
from collections.abc import Coroutine, Mapping, Sequence
from typing import TYPE_CHECKING

from gatewayd.clock import Clock
from gatewayd.daemon.ear import in_air, looked_at, overheard, strange_air
from gatewayd.model.moment import SECOND, Moment
from gatewayd.settings.typed import Radio, Settings
from gatewayd.watch.nearby import Nearby
from gatewayd.web.hearing import LASTS

if TYPE_CHECKING:
    from gatewayd.sources.bluetooth import BluetoothSource

log = logging.getLogger(__name__)

LOOK = SECOND  # between two looks whether a source was started anew, as after a sensor was added
MOST = 300  # channels; a page of more is read by nobody
TROUBLES = 20
AIR = Radio("air", "The computer's radio")  # for a house that has named none yet


class Listening:
    """Hear everything for a while; see `web.hearing.Hearing`."""

    def __init__(self, sources: Mapping[str, object], settings: Settings, clock: Clock) -> None:
        """Take the sources that run, by id, which may be others later; the settings; and this computer's clock."""
        self.settings = settings
        self._sources = sources
        self._clock = clock
        self._rng = random.Random()  # noqa: S311 - jitter, no secret
        self._until: int | None = None
        self._task: asyncio.Task[None] | None = None
        self._nearby = Nearby(MOST, history=1)
        self._said: list[str] = []

    def begin(self) -> None:
        """Listen for LASTS from now on; while it listens already only the end moves."""
        self._until = self._clock.now().steady + LASTS
        if self._task is None or self._task.done():
            self._nearby, self._said = Nearby(MOST, history=1), []
            self._task = asyncio.create_task(self._listen(), name="hear what is nearby")

    def now(self) -> Moment:
        """Return the moment by the clock that `until` and what was heard go by."""
        return self._clock.now()

    @property
    def until(self) -> int | None:
        """Return when (steady ms) it ends, None while nobody listens."""
        return self._until

    @property
    def nearby(self) -> Nearby:
        """Return what was heard since the last begin."""
        return self._nearby

    @property
    def troubles(self) -> Sequence[str]:
        """Return what could not be listened to and why."""
        return [*self._said, *(radio.trouble for radio in self._radios().values() if radio.trouble)]

    async def close(self) -> None:
        """Listen no more."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait({self._task})

    async def _listen(self) -> None:
        works: dict[str, asyncio.Task[None]] = {}
        attached: dict[str, object] = {}
        try:
            while self._until is not None and (left := self._until - self._clock.now().steady) > 0:
                self._attach(attached)
                self._begin_works(works)
                await self._clock.sleep(min(left, LOOK))
        finally:
            self._until = None
            for radio in self._radios().values():
                radio.overhear(None)
            for work in works.values():
                work.cancel()
            for name, ended in zip(works, await asyncio.gather(*works.values(), return_exceptions=True), strict=True):
                if isinstance(ended, Exception):
                    log.error("%s could not be heard: %r", name, ended)

    def _attach(self, attached: dict[str, object]) -> None:
        """Let each radio that runs hand on what it hears; one that was started anew must be told again."""
        for id_, radio in self._radios().items():
            if attached.get(id_) is not radio:
                attached[id_] = radio
                radio.overhear(in_air(id_, self._nearby.see))

    def _begin_works(self, works: dict[str, asyncio.Task[None]]) -> None:
        """Begin what is not heard by a source of the house, each once."""
        wanted: dict[str, Coroutine[None, None, None]] = {}
        if "wire" not in works:
            wanted["wire"] = looked_at(self._nearby.see, self._clock)
        for broker in self.settings.brokers.values():
            if f"broker {broker.id}" not in works:
                wanted[f"broker {broker.id}"] = overheard(broker, self._nearby.see, self._say, self._clock)
        if self.settings.radios:
            if "air" in works:
                works["air"].cancel()  # the house has a radio of its own now, and one program may scan once
        elif "air" not in works:
            wanted["air"] = strange_air(AIR, self._nearby.see, self._say, self._clock, self._rng)
        for name, work in wanted.items():
            works[name] = asyncio.create_task(work, name=f"hear nearby: {name}")

    def _radios(self) -> dict[str, "BluetoothSource"]:
        if not self.settings.radios:
            return {}
        from gatewayd.sources.bluetooth import BluetoothSource  # noqa: PLC0415 - loaded already where there is a radio

        return {id_: found for id_, found in self._sources.items() if isinstance(found, BluetoothSource)}

    def _say(self, text: str) -> None:
        if text not in self._said and len(self._said) < TROUBLES:
            self._said.append(text)
