"""Read the clock and sleep: the only module that does either."""

import asyncio
import ctypes
import heapq
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from gatewayd.model.moment import SECOND, Moment

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
STEP = 2 * SECOND  # a slewed clock moves 0.5 ms a second (adjtimex default); 2 s between two looks is a step
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised
_TIMEX_BYTES = 512  # struct timex has 208 bytes on 64-bit Linux; room to spare


class Clock(Protocol):
    """Say what time it is, wait, and tell whether the wall clock can be believed."""

    def now(self) -> Moment:
        """Return this moment."""
        ...

    async def sleep(self, ms: float) -> None:
        """Wait for `ms` of steady time."""
        ...

    def synced(self) -> bool:
        """Return whether something keeps the wall clock right."""
        ...


class SystemClock:
    """The computer's own clock."""

    def __init__(self) -> None:
        """Read the boot id once; without one (not Linux) every start is a boot of its own."""
        try:
            self._boot = BOOT_ID.read_text().strip()[:8]
        except OSError:
            self._boot = f"{time.time_ns():x}"[-8:]
        self._adjtimex = _find_adjtimex()

    def now(self) -> Moment:
        """Return this moment; steady time counts through suspend (CLOCK_BOOTTIME)."""
        return Moment(time.time_ns() // 1_000_000, time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000, self._boot)

    async def sleep(self, ms: float) -> None:
        """Wait for `ms`."""
        await asyncio.sleep(max(0.0, ms / 1000))

    def synced(self) -> bool:
        """Ask the kernel whether a time service keeps the clock; without a kernel to ask, say no."""
        if self._adjtimex is None:
            return False
        return self._adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES)) not in (_TIME_ERROR, -1)


def _find_adjtimex() -> Callable[[object], int] | None:
    try:
        found: Callable[[object], int] = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):
        return None
    return found


class StepFinder:
    """Notice that the wall clock was set, by comparing it with steady time."""

    def __init__(self, now: Moment) -> None:
        """Remember how the two clocks lie to each other."""
        self._lead = now.wall - now.steady

    def look(self, now: Moment) -> int:
        """Return by how many ms the wall clock jumped since the last look, 0 if it did not."""
        lead = now.wall - now.steady
        moved, self._lead = lead - self._lead, lead
        return moved if abs(moved) >= STEP else 0


class PlayedClock:
    """A clock that is moved by hand: a house that is played fast lives by it."""

    def __init__(self, start: Moment) -> None:
        """Stand at `start`."""
        self._now = start
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._count = 0

    def now(self) -> Moment:
        """Return the moment to which the clock was moved."""
        return self._now

    def synced(self) -> bool:
        """Return True: whoever moves it says what time it is."""
        return True

    async def sleep(self, ms: float) -> None:
        """Wait until the clock was moved past `ms` from now."""
        self._count += 1
        future: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        heapq.heappush(self._sleepers, (self._now.steady + max(0, round(ms)), self._count, future))
        await future

    def move(self, to: Moment) -> None:
        """Move to a later moment and wake who slept until then."""
        self._now = to
        while self._sleepers and self._sleepers[0][0] <= to.steady:
            _, _, future = heapq.heappop(self._sleepers)
            if not future.done():
                future.set_result(None)

    async def let_run(self, seconds: float = 0.0) -> None:
        """Let the other tasks run, for a little real time if asked."""
        await asyncio.sleep(seconds)
