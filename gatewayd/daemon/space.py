"""Watch the room on the disk that holds the readings, and tell before it is full."""

import asyncio
import logging
import shutil
from collections.abc import Callable
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE

log = logging.getLogger(__name__)

KIND = "disk-filling"
EVERY = 10 * MINUTE  # a log that runs wild writes some GB an hour; 200 MB then still leave a look or two
MB = 1_000_000
# A nightly copy and a migration each write the whole file once more; five sensors at a row a minute fill some 60 MB
# a year, so 200 MB are a copy and some weeks of readings.
LEAST = 200 * MB
SHARE = 0.05  # file systems slow down and cards wear unevenly when nearly full; 5 % is also what ext4 keeps for root
SHARE_MOST = (
    2_000 * MB
)  # 5 % of a large disk is more than gatewayd fills in its life: our choice, so that it never nags
AGAIN = 1.5  # times that must be free before it is over, so that a log that is rotated does not ring twice a day


class Space:
    """Tell when the room runs out, and when there is enough again."""

    def __init__(
        self,
        give: Callable[[Condition], object],
        clock: Clock,
        folder: Path,
        usage: Callable[[Path], tuple[int, int, int]] = shutil.disk_usage,
    ) -> None:
        """Take who is told, the clock, the store's folder, and what says (total, used, free) in bytes."""
        self._give = give
        self._clock = clock
        self._folder = folder
        self._usage = usage
        self._filling: bool | None = None
        self._failed = False

    async def run(self) -> None:
        """Look for ever. What is found first is told too: an alarm of an earlier run may stand."""
        while True:
            await self.look()
            await self._clock.sleep(EVERY)

    async def look(self) -> None:
        """Look once."""
        try:
            total, _, free = await asyncio.to_thread(self._usage, self._folder)
        except OSError as error:
            if not self._failed:
                log.warning("the room at %s cannot be seen: %s", self._folder, error.strerror)
            self._failed = True
            return
        self._failed = False
        now = filling(free, total, was=bool(self._filling))
        if now is not self._filling:
            self._filling = now
            text = words(free, total, self._folder, filling=now)
            log.log(logging.WARNING if now else logging.INFO, "%s", text)
            self._give(Condition(KIND, now, text))


def filling(free: int, total: int, *, was: bool) -> bool:
    """Return whether there is too little room (bytes); once there was, half as much again must be free."""
    limit = max(LEAST, min(SHARE * total, SHARE_MOST))
    return free < (AGAIN * limit if was else limit)


def words(free: int, total: int, folder: Path, *, filling: bool) -> str:
    """Say how much is free, and what to do when that is too little."""
    if not filling:
        return f"{size(free)} of {size(total)} are free."
    return (
        f"Only {size(free)} of {size(total)} are free on the disk that holds the readings ({folder}). Delete what "
        "other programs left there, such as old logs and downloads; leave the gateway's own files alone."
    )


def size(count: int) -> str:
    """Write a number of bytes as disks are sold: in MB and GB of a thousand."""
    return f"{count / (1000 * MB):.1f} GB" if count >= 1000 * MB else f"{count // MB} MB"
