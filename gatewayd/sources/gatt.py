"""Connect to sensors that want to be asked, read their characteristics, and leave the radio most of the time alone.

One at a time, only a device that was heard a moment ago, and after each connection a rest that is long enough for all
of them together to take at most `Patience.share` of the time. A failure costs the sensor its turn and nothing else.
"""

import asyncio
import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gatewayd.clock import Clock
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import Sensor
from gatewayd.model.moment import SECOND
from gatewayd.model.reading import Heard
from gatewayd.sources.advert import full_uuid
from gatewayd.sources.intake import Intake
from gatewayd.sources.patience import Patience, within

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice

# Bluetooth SIG assigned numbers: Environmental Sensing, Battery; Temperature, Humidity, Battery Level
SERVICES = (0x181A, 0x180F)
WANTED = (0x2A6E, 0x2A6F, 0x2A19)
TELL_AFTER = 3  # failures in a row; single ones are the rule at the edge of the range
JITTER = 0.1  # of the interval, so that sensors read in the same rhythm do not stay in step
IDLE = 3_600 * SECOND  # a wait without a reason to end; hearing a sensor ends it


class Unreadable(Exception):
    """The sensor answered, but has nothing that is a measurement."""


@dataclass(slots=True)
class Target:
    """Hold one device to be read: its sensors, when it is due, and how it was last heard (steady ms)."""

    address: str
    sensors: list[Sensor]
    every: int
    due: int = 0
    seen: int | None = None
    device: "BLEDevice | None" = None
    signal: int | None = None
    failures: int = 0


@dataclass(slots=True)
class Budget:
    """Say when the next connection may begin: after one of `spent` ms comes a rest of spent * (1 / share - 1)."""

    share: float
    free_at: int = 0

    def spend(self, spent: int, now: int) -> None:
        """Take that a connection of `spent` ms ended at `now` (steady ms)."""
        self.free_at = now + round(spent * (1 / self.share - 1))


@dataclass(slots=True)
class Reader:
    """Read the connectable sensors of one radio, in turn."""

    radio: str
    intake: Intake
    clock: Clock
    rng: random.Random
    patience: Patience
    targets: dict[str, Target] = field(default_factory=dict)
    budget: Budget = field(init=False)
    _wake: asyncio.Event = field(default_factory=asyncio.Event)

    def __post_init__(self) -> None:
        """Start with nothing spent."""
        self.budget = Budget(self.patience.share)

    def add(self, sensors: Sequence[Sensor]) -> None:
        """Take those sensors that are read; several of one device are read at once."""
        for sensor in sensors:
            saying = sensor.payload
            if not isinstance(saying, Saying) or saying.format is not Format.READ:
                continue
            address = sensor.channel.upper()
            target = self.targets.setdefault(address, Target(address, [], saying.read_every))
            target.sensors.append(sensor)
            target.every = min(target.every, saying.read_every)

    @property
    def crowded(self) -> bool:
        """Return whether the sensors ask for more time than there is, so that they are read less often."""
        return sum(self.patience.usual / target.every for target in self.targets.values()) > self.patience.share

    def spotted(self, target: Target, device: "BLEDevice", signal: int, now: int) -> None:
        """Take that a device was heard; called from the callback of the scanner."""
        target.device, target.seen, target.signal = device, now, signal
        if target.due <= now:
            self._wake.set()

    def forget(self) -> None:
        """Forget what was heard: another scanner makes other device objects."""
        for target in self.targets.values():
            target.device, target.seen = None, None

    async def run(self) -> None:
        """Read what is due, until cancelled."""
        while True:
            self._wake.clear()
            now = self.clock.now().steady
            target = self._next(now)
            if target is not None and target.device is not None:
                await self._turn(target, target.device)
            else:
                await self._wait(self._until(now) - now)

    def _next(self, now: int) -> Target | None:
        if now < self.budget.free_at:
            return None
        ready = [
            target
            for target in self.targets.values()
            if target.due <= now and target.seen is not None and now - target.seen <= self.patience.fresh
        ]
        return min(ready, key=lambda target: target.due, default=None)

    def _until(self, now: int) -> int:
        """Return when to look again (steady ms) unless a due sensor is heard before."""
        if now < self.budget.free_at:
            return self.budget.free_at
        return min((t.due for t in self.targets.values() if t.due > now), default=now + IDLE)

    async def _wait(self, ms: int) -> None:
        waits = {asyncio.create_task(self._wake.wait()), asyncio.ensure_future(self.clock.sleep(ms))}
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for wait in waits:
                wait.cancel()

    async def _turn(self, target: Target, device: "BLEDevice") -> None:
        began = self.clock.now()
        why = ""
        try:
            payload = await within(self._read(device), self.patience.read)
            self._hand_on(target, payload)
        except TimeoutError:
            why = "it does not answer in time"
        except Unreadable as fault:
            why = str(fault)
        except Exception as fault:  # noqa: BLE001 - bleak, D-Bus or the intake: the scanner must go on whatever it was
            why = str(fault) or type(fault).__name__
        now = self.clock.now()
        self.budget.spend(now.steady - began.steady, now.steady)
        target.failures = target.failures + 1 if why else 0
        wait = target.every
        if why:
            wait = min(wait, self.patience.retry << min(10, target.failures - 1))
        target.due = began.steady + round(wait * self.rng.uniform(1 - JITTER, 1))
        if target.failures == TELL_AFTER:
            names = ", ".join(sensor.name for sensor in target.sensors)
            self.intake.remark(self.radio, f"{names}: the sensor is heard, but reading it failed three times: {why}")

    def _hand_on(self, target: Target, payload: bytes) -> None:
        at = self.clock.now()
        for sensor in target.sensors:
            self.intake.hear(Heard(self.radio, sensor.id, payload, at, signal=target.signal), None)

    async def _read(self, device: "BLEDevice") -> bytes:
        """Return the records of all that is wanted: UUID (2, high byte first), length (1), value."""
        from bleak import BleakClient  # noqa: PLC0415 - 12 MB, only where there is a radio

        services = [full_uuid(f"{number:04x}") for number in SERVICES]
        wanted = {full_uuid(f"{number:04x}"): number for number in WANTED}
        records = []
        async with BleakClient(device, services=services, timeout=self.patience.connect / 1000) as client:
            for handle, characteristic in sorted(client.services.characteristics.items()):
                number = wanted.get(characteristic.uuid)
                if number is None or "read" not in characteristic.properties:
                    continue
                value = bytes(await client.read_gatt_char(handle))[:255]  # the length is one byte; none is over 2 long
                records.append(number.to_bytes(2, "big") + bytes((len(value),)) + value)
        if not records:
            raise Unreadable("it has no temperature to be read; look at its format in the settings")
        return b"".join(records)
