"""A clock that the test moves: the fake of gatewayd/clock.py."""

import asyncio
import heapq

from gatewayd.model.moment import Moment

START = 1_795_600_000_000  # wall ms, 2026-11-25 in UTC


class FakeClock:
    """Stand still until `advance` is called; sleepers wake in the order of their time."""

    def __init__(
        self, wall: int = START, steady: int = 3_600_000, boot: str = "boot-a", *, trusted: bool = True
    ) -> None:
        """Begin at `wall` and `steady` (ms)."""
        self._now = Moment(wall, steady, boot)
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._count = 0
        self.trusted = trusted

    def now(self) -> Moment:
        """Return this moment."""
        return self._now

    def synced(self) -> bool:
        """Return what the test set."""
        return self.trusted

    async def sleep(self, ms: float) -> None:
        """Wait until the test has advanced the clock by `ms`."""
        if ms <= 0:
            await asyncio.sleep(0)
            return
        self._count += 1
        future: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        heapq.heappush(self._sleepers, (self._now.steady + round(ms), self._count, future))
        await future

    def set_wall(self, wall: int) -> None:
        """Set the wall clock, as a time service does."""
        self._now = Moment(wall, self._now.steady, self._now.boot)

    async def advance(self, ms: int) -> None:
        """Move on by `ms`, waking each sleeper at its own time and letting it run."""
        end = self._now.steady + ms
        await settle()
        while self._sleepers and self._sleepers[0][0] <= end:
            due, _, future = heapq.heappop(self._sleepers)
            self._now = self._now.later(max(0, due - self._now.steady))
            if not future.done():
                future.set_result(None)
            await settle()
        self._now = self._now.later(end - self._now.steady)
        await settle()


async def settle() -> None:
    """Let everything that can run now run."""
    for _ in range(20):
        await asyncio.sleep(0)
