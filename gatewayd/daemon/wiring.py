"""Run one source per broker and radio, and one for the probes at the computer itself; restart what falls."""

import asyncio
import logging
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.decode.frame import Opener
from gatewayd.model.given import SourceNews
from gatewayd.model.house import WIRED, Neighbour, Sensor
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.settings.typed import Broker, Settings

log = logging.getLogger(__name__)

FALLEN_FIRST, FALLEN_MOST = 5 * SECOND, 5 * MINUTE  # a source that ended by a fault of its own is started again
LAST_WORDS = 2 * SECOND  # how long a source may take to say goodbye; systemd waits 10 s in all


class Source(Protocol):
    """Hear something for ever; see gatewayd/sources/."""

    id: str

    async def run(self) -> None:
        """Hear until cancelled."""
        ...

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Answer for what is safe now."""
        ...


@dataclass(slots=True)
class _Running:
    """Hold a source that runs, and what it was built from."""

    made_of: object
    task: asyncio.Task[None]


class Sources:
    """Hold the sources that run."""

    def __init__(self, gateway: Gateway, clock: Clock, rng: random.Random, group: asyncio.TaskGroup) -> None:
        """Take what every source needs."""
        self._gateway = gateway
        self._clock = clock
        self._rng = rng
        self._group = group
        self._running: dict[str, _Running] = {}

    async def fit(self, settings: Settings) -> None:
        """Run what the settings ask for; a source whose wiring did not change goes on undisturbed."""
        wanted = self._wanted(settings)
        gone = [key for key, running in self._running.items() if key not in wanted or wanted[key][0] != running.made_of]
        await self._end(gone)
        for key, (made_of, make) in wanted.items():
            if key not in self._running:
                source = make()
                self._gateway.sources[key] = source
                task = self._group.create_task(self._keep_running(source), name=f"source {key}")
                self._running[key] = _Running(made_of, task)

    async def stop(self) -> None:
        """End all sources and let them say goodbye."""
        await self._end(list(self._running))

    async def _end(self, keys: Sequence[str]) -> None:
        tasks = [self._running.pop(key).task for key in keys]
        for task in tasks:
            task.cancel()
        if tasks:
            await asyncio.wait(tasks, timeout=LAST_WORDS / SECOND)

    def _wanted(self, settings: Settings) -> dict[str, tuple[object, Callable[[], Source]]]:
        by_source: dict[str, list[Sensor]] = {}
        for sensor in settings.house.sensors.values():
            by_source.setdefault(sensor.source, []).append(sensor)
        wanted: dict[str, tuple[object, Callable[[], Source]]] = {}
        for broker in settings.brokers.values():
            sensors = by_source.get(broker.id, [])
            near = tuple(n for n in settings.house.neighbours.values() if n.source == broker.id and n.topic)
            wanted[broker.id] = (
                (broker, tuple(sensors), near),
                lambda b=broker, s=sensors, n=near: self._mqtt(b, s, n),  # type: ignore[misc]
            )
        for radio in settings.radios.values():
            sensors = by_source.get(radio.id, [])
            keys = tuple(settings.keys.get(sensor.id) for sensor in sensors)
            wanted[radio.id] = ((radio, tuple(sensors), keys), lambda r=radio, s=sensors: self._bluetooth(r, s))  # type: ignore[misc]
        if wired := by_source.get(WIRED):
            wanted[WIRED] = (tuple(wired), lambda: self._wired(wired))
        return wanted

    # Each kind of source is loaded only where the house has one: a house without a radio spares 12 MB.

    def _mqtt(self, broker: Broker, sensors: Sequence[Sensor], near: Sequence[Neighbour]) -> Source:
        from gatewayd.sources.mqtt import MqttSource  # noqa: PLC0415

        return MqttSource(broker, sensors, self._gateway, self._clock, self._rng, near)

    def _bluetooth(self, radio: object, sensors: Sequence[Sensor]) -> Source:
        from gatewayd.sources.bluetooth import BluetoothSource  # noqa: PLC0415

        return BluetoothSource(radio, sensors, self._gateway, self._clock, self._rng)  # type: ignore[arg-type]

    def _wired(self, sensors: Sequence[Sensor]) -> Source:
        from gatewayd.sources.wired import WiredSource  # noqa: PLC0415

        return WiredSource(sensors, self._gateway, self._clock, self._rng)

    async def _keep_running(self, source: Source) -> None:
        """Run a source, and again after a fault of its own: one broken source must not end the watch."""
        wait = FALLEN_FIRST
        while True:
            began = self._clock.now().steady
            try:
                await source.run()
            except Exception:
                log.exception("source %s fell and is started again in %s s", source.id, wait // SECOND)
                self._gateway.give(SourceNews(source.id, up=False, reason="a fault in gatewayd itself; see its log"))
            if self._clock.now().steady - began > 2 * FALLEN_MOST:
                wait = FALLEN_FIRST  # it had run well in between
            await self._clock.sleep(wait)
            wait = min(FALLEN_MOST, wait * 2)


def openers(settings: Settings) -> Mapping[str, Opener]:
    """Return what opens the frames of each sensor that has a key."""
    if not settings.keys:
        return {}
    from gatewayd.sources.opener import make_opener  # noqa: PLC0415 - loads cryptography, 10 MB

    sensors = settings.house.sensors
    return {who: make_opener(key, sensors[who].channel) for who, key in settings.keys.items() if who in sensors}
