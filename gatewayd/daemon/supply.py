"""Watch this computer's own supply, where it has a battery beside one: then it outlives a power cut and can tell."""

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE, SECOND

log = logging.getLogger(__name__)

FOLDER = Path("/sys/class/power_supply")  # Linux, Documentation/ABI/testing/sysfs-class-power
EVERY = 15 * SECOND  # a few reads of the kernel's memory; a power cut is not told of before it has lasted minutes
FIND_EVERY = 10 * MINUTE  # a battery board may be plugged in, or its driver come up, after the start
# type: what a supply is. USB is how most small computers are fed; a UPS on a USB line shows as UPS or Battery.
FEEDS, STORES = {"Mains", "USB"}, {"Battery", "UPS"}
IN_USE = {"1", "2"}  # online: 1 with a fixed voltage, 2 with one that was agreed on

KIND = "mains"
OUT = "The gateway's computer runs on its battery."
BACK = "The gateway's computer runs on the mains again."


class Supply:
    """Tell when the computer's supply goes and comes."""

    def __init__(self, give: Callable[[Condition], object], clock: Clock, folder: Path = FOLDER) -> None:
        """Take who is told, the clock, and where the kernel shows supplies."""
        self._give = give
        self._clock = clock
        self._folder = folder
        self._told: bool | None = None

    async def run(self) -> None:
        """Look for ever. What is found first is told too: an alarm of an earlier run may stand."""
        while True:
            out = await asyncio.to_thread(is_out, self._folder)
            if out is not None and out is not self._told:
                self._told = out
                log.info("%s", OUT if out else BACK)
                self._give(Condition(KIND, out, OUT if out else BACK))
            await self._clock.sleep(FIND_EVERY if out is None and self._told is None else EVERY)


def is_out(folder: Path) -> bool | None:
    """Return whether no feed is online while there is a battery; None where that cannot be known."""
    feeds: list[bool] = []
    stored = False
    with suppress(OSError):  # no such folder: a computer that knows nothing of its supply
        for supply in sorted(folder.iterdir()):
            kind = _read(supply / "type")
            if _read(supply / "scope") == "Device":
                continue  # the battery of a mouse or a keyboard
            if kind in STORES:
                stored = stored or _read(supply / "present") != "0"
            elif kind in FEEDS and (online := _read(supply / "online")):
                feeds.append(online in IN_USE)
    return not any(feeds) if stored and feeds else None


def _read(path: Path) -> str:
    """Return one attribute, nothing where there is none or its driver does not answer just now."""
    try:
        return path.read_text().strip()
    except (OSError, UnicodeDecodeError):
        return ""
