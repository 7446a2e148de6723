"""An ear of its own: hear all that is in the air, at the brokers and at the wire, without the daemon."""

import asyncio
import random
from collections.abc import Callable, Coroutine, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from gatewayd.clock import Clock, SystemClock
from gatewayd.model.house import WIRED
from gatewayd.model.moment import SECOND
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Broker, Radio, Settings
from gatewayd.watch.nearby import Nearby, Sighting, understand

if TYPE_CHECKING:
    from gatewayd.sources.advert import Advert

See: TypeAlias = Callable[[Sighting], None]
Say: TypeAlias = Callable[[str], None]

REFRESH = SECOND  # between two looks at what was heard
BASE = "-0000-1000-8000-00805f9b34fb"  # Bluetooth Core Specification, Vol 3 Part B 2.5.1
WIRES = ("/sys/bus/w1/devices/*/w1_slave", "/sys/class/hwmon/hwmon*/temp*_input")


class Ear:
    """Hear everything and keep what is nearby; `troubles` say what could not be heard, and why."""

    def __init__(self, settings: Settings | None) -> None:
        """Take the settings for brokers and radios; without any only the first radio and the wire are heard."""
        self.settings = settings
        self.nearby = Nearby()
        self.troubles: list[str] = []
        self._clock = SystemClock()
        self._rng = random.Random()  # noqa: S311 - jitter, no secret

    async def listen(
        self, span: int | None, *, shown: Callable[[], object] = lambda: None, until: Callable[[], bool] = lambda: False
    ) -> None:
        """Hear for `span` ms, for ever without; call `shown` every second; end early when `until` says so."""
        began = self._clock.now().steady
        tasks = [asyncio.create_task(work, name=name) for name, work in self._works()]
        try:
            while not until() and (span is None or self._clock.now().steady - began < span):
                await self._clock.sleep(REFRESH if span is None else min(REFRESH, span))
                shown()
                if all(task.done() for task in tasks):
                    break
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    def understood(self, channel: str) -> bool:
        """Return whether a channel was heard saying something in a format that can be set up."""
        found = self.nearby.find(channel)
        return found is not None and understand(found).payload is not None

    def heard_ago(self, channel: str) -> int | None:
        """Return how long ago (ms) a channel was heard, None if never."""
        found = self.nearby.find(channel)
        return None if found is None else self._clock.now().steady - found.last.steady

    def _works(self) -> Iterator[tuple[str, Coroutine[None, None, None]]]:
        radios = list(self.settings.radios.values()) if self.settings else []
        for radio in radios or [Radio("air", "The computer's radio")]:
            yield f"air {radio.id}", self._air(radio)
        for broker in self.settings.brokers.values() if self.settings else ():
            yield f"broker {broker.id}", self._broker(broker)
        yield "wire", self._wire()

    def _trouble(self, text: str) -> None:
        if text not in self.troubles:
            self.troubles.append(text)

    async def _air(self, radio: Radio) -> None:
        await strange_air(radio, self.nearby.see, self._trouble, self._clock, self._rng)

    async def _broker(self, broker: Broker) -> None:
        await overheard(broker, self.nearby.see, self._trouble, self._clock)

    async def _wire(self) -> None:
        await looked_at(self.nearby.see, self._clock)


async def strange_air(radio: Radio, see: See, say: Say, clock: Clock, rng: random.Random) -> None:
    """Hear all that is in the air with a scanner of its own, until cancelled; `say` gets what goes wrong."""
    from gatewayd.sources.bluetooth import BluetoothSource  # noqa: PLC0415 - bleak only where air is heard

    await BluetoothSource(radio, [], Bystander(say), clock, rng, on_any=in_air(radio.id, see)).run()


def in_air(radio: str, see: See) -> "Callable[[Advert], None]":
    """Return what takes everything that a radio hears."""

    def heard(advert: "Advert") -> None:
        elements = {f"service {_short(uuid)}": data for uuid, data in advert.services.items()}
        elements |= {f"maker {company:04x}": data for company, data in advert.makers.items()}
        see(Sighting("air", radio, advert.address, elements, advert.at, advert.name, advert.signal))

    return heard


async def overheard(broker: Broker, see: See, say: Say, clock: Clock) -> None:
    """Hear all topics of a broker but our own, until cancelled or until that fails; `say` gets why."""
    from gatewayd.sources.overhear import OverhearError, overhear  # noqa: PLC0415

    def heard(topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001, ARG001 - paho's order
        if not topic.startswith(f"{broker.own_topic}/"):  # what gatewayd says there itself is no sensor
            see(Sighting("broker", broker.id, topic, {"": payload}, clock.now()))

    try:
        await overhear(broker, heard)
    except OverhearError as wrong:
        say(str(wrong))


async def looked_at(see: See, clock: Clock) -> None:
    """Look at the wired probes every ten seconds, until cancelled."""
    while True:
        for path, text in await asyncio.to_thread(_probes):
            see(Sighting("wire", WIRED, path, {"": text}, clock.now()))
        await clock.sleep(10 * SECOND)


class Bystander:
    """Stand where a source wants its intake: here nobody judges anything, and only what goes wrong is said."""

    def __init__(self, say: Say) -> None:
        """Take who is told what goes wrong."""
        self._say = say

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Take nothing: no sensor is named to the radio here."""

    def source_up(self, source: str, up: bool, reason: str) -> None:  # noqa: ARG002, FBT001 - the contract of all sources
        """Say why a radio hears nothing."""
        if not up:
            self._say(reason)

    def remark(self, source: str, text: str) -> None:  # noqa: ARG002 - the contract of all sources
        """Say what a radio has to say."""
        self._say(text)

    def beat(self, neighbour: str, up: bool) -> None:  # noqa: FBT001 - the contract of all sources
        """Do nothing: who listens looks for sensors."""

    def commit_soon(self) -> None:
        """Do nothing: nothing is kept."""

    def last_commit(self) -> int | None:
        """Return None: nothing is kept."""
        return None


def _short(uuid: str) -> str:
    return uuid[4:8] if uuid.startswith("0000") and uuid.endswith(BASE) else uuid


def _probes() -> list[tuple[str, bytes]]:
    """Read the wired probes there are; one that cannot be read now is left out, and the next turn tries again."""
    found = []
    for pattern in WIRES:
        for path in sorted(Path("/").glob(pattern[1:])):
            with suppress(OSError):
                found.append((str(path), path.read_bytes()))
    return found
