"""Wired probes: thermometers at the computer itself, read from the kernel's files.

What stands in a file is handed on as it is; check sums, power-on values and fault codes are the decoder's to judge.
Here is judged only whether the file can be read: a probe may be unplugged and come back, a dead bus may never answer.
"""

import asyncio
import errno
import random
from collections.abc import Sequence
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.model.house import WIRED, Sensor
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.sources.dial import Dialler, StillHanging
from gatewayd.sources.intake import Intake

EVERY = MINUTE  # a freezer changes by a few tenths of a degree in that time, and one row a minute is kept
# A conversion of 12 bits takes a 1-wire thermometer up to 750 ms (data sheet of the DS18B20), and the probes of one bus
# take turns. Twenty of them waiting for each other are read in 15 s; beyond 20 s it is a hang.
CONVERSION = 750
DEADLINE = 20 * SECOND
LARGEST = 4096  # bytes; a file of sysfs has one page at most (Linux Documentation/filesystems/sysfs.rst)
# readings in a row, a minute apart: long wires in a freezer lose one now and then, which is no news
TROUBLED = 3

_GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR)
_SILENT = (errno.EIO, errno.ETIMEDOUT, errno.EREMOTEIO, errno.EAGAIN)


class WiredSource:
    """Read the wired probes, for ever. One `run` at a time; it may be run again after it ended."""

    def __init__(self, sensors: Sequence[Sensor], intake: Intake, clock: Clock, rng: random.Random) -> None:
        """Take the sensors whose `channel` is a file of the kernel; a `*` in it stands for a number that changes."""
        self.id = WIRED
        self._sensors = tuple(sensors)
        self._intake = intake
        self._clock = clock
        self._rng = rng
        self._diallers = {sensor.id: Dialler(f"read {sensor.id}") for sensor in self._sensors}
        self._failed = dict.fromkeys(self._diallers, 0)  # readings in a row
        self._troubles: dict[str, str] = {}  # why each probe that cannot be read cannot
        self._told: tuple[bool, str] | None = None
        self._remarks: set[str] = set()

    async def run(self) -> None:
        """Read each probe in its turn, until cancelled. Raise what the intake raised, if it did."""
        loops = [asyncio.ensure_future(self._follow(sensor)) for sensor in self._sensors]
        try:
            await asyncio.gather(*loops)
            await asyncio.Event().wait()  # without a probe there is nothing to do, and yet no end
        finally:
            for loop in loops:
                loop.cancel()
            await asyncio.gather(*loops, return_exceptions=True)

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Do nothing: nobody waits for an answer here."""

    async def _follow(self, sensor: Sensor) -> None:
        """Read one probe again and again; the start is spread, so that those of one bus do not all wait at once."""
        every = sensor.reports_every or EVERY
        await self._clock.sleep(self._rng.uniform(0, min(every, CONVERSION * len(self._sensors))))
        due = self._clock.now().steady
        while True:
            await self._read(sensor)
            now = self._clock.now().steady
            soon = min(every, EVERY) if self._failed[sensor.id] else every
            due = max(due + soon, now)
            await self._clock.sleep(due - now)

    async def _read(self, sensor: Sensor) -> None:
        def read() -> bytes:
            return read_file(sensor.channel)

        try:
            text = await self._diallers[sensor.id].call(read, _forget, DEADLINE)
        except (TimeoutError, StillHanging):
            trouble = f"{sensor.name} does not answer; look at its cable and at what else hangs on it"
        except (OSError, ValueError) as fault:
            trouble = _words(sensor, fault)
        else:
            self._failed[sensor.id] = 0
            self._troubles.pop(sensor.id, None)
            self._tell(up=True, reason="wired probes are read")
            self._intake.hear(Heard(WIRED, sensor.id, text, self._clock.now()), None)
            return
        self._failed[sensor.id] += 1
        if self._failed[sensor.id] < TROUBLED:
            return
        self._troubles[sensor.id] = trouble
        if len(self._troubles) == len(self._sensors):  # one that fails among others is told of as a sensor
            first = self._troubles[self._sensors[0].id]
            alone = len(self._sensors) == 1
            self._tell(up=False, reason=first if alone else f"none of the wired probes can be read: {first}")
        if trouble not in self._remarks:
            self._remarks.add(trouble)
            self._intake.remark(WIRED, trouble)

    def _tell(self, *, up: bool, reason: str) -> None:
        if self._told != (up, reason):
            self._told = (up, reason)
            self._intake.source_up(WIRED, up, reason)


def read_file(channel: str) -> bytes:
    """Return what stands in the kernel's file; it may block as long as the bus does.

    Raise OSError, or ValueError if a `*` in `channel` fits several files, so that it is not known which is meant.
    """
    path = Path(channel)
    if "*" in channel:
        fitting = sorted(Path("/").glob(channel.lstrip("/")))
        if len(fitting) > 1:
            raise ValueError(f"{channel} fits {len(fitting)} files ({fitting[0]} and {fitting[1]}); write more of it")
        path = fitting[0] if fitting else path
    with path.open("rb", buffering=0) as file:
        return file.read(LARGEST)


def _forget(text: bytes) -> None:
    """Drop what came too late: nobody knows when it was measured."""


def _words(sensor: Sensor, fault: OSError | ValueError) -> str:
    if isinstance(fault, ValueError):
        return f"{sensor.name}: {fault}"
    if fault.errno in _GONE:
        return f"{sensor.name} is not there (no {sensor.channel}); look whether its cable is plugged in"
    if fault.errno in _SILENT:
        return f"{sensor.name} does not answer; look at its cable and at what else hangs on it"
    if fault.errno in (errno.EACCES, errno.EPERM):
        return f"gatewayd may not read {sensor.channel} of {sensor.name}; give its user the right to"
    return f"{sensor.name} cannot be read ({fault.strerror})"
