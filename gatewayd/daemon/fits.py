"""Compute the fits that the watch asks for: in one worker thread, or at once where a clock is played.

The worker computes in plain Python, so it holds the interpreter's lock whenever it runs. The loop gets it back after a
switch interval, which is therefore made short while a fit runs.
"""

import asyncio
import logging
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

from gatewayd.model.given import Fitted, Given, Remark
from gatewayd.thermal.computing import Wanted, compute

log = logging.getLogger(__name__)

Give = Callable[[Given], object]
Fits = Sequence[tuple[str, object]]
# Seconds for which the worker may keep the lock while the loop waits for it; the default of 5 ms is felt several times
# in one answer at the door. Measured by `python -m tests.bench fits`.
SWITCH = 0.0002


class Fitting(Protocol):
    """Take what is to be computed; what comes of it is given to the watch later."""

    def want(self, fits: Fits) -> None:
        """Take the inputs of fits, each with its freezer's id."""
        ...


class Worker:
    """Compute in one thread, one after another, of each freezer only the newest."""

    def __init__(self, give: Give) -> None:
        """Take where results go."""
        self._give = give
        self._waiting: dict[str, object] = {}
        self._filled = asyncio.Event()

    def want(self, fits: Fits) -> None:
        """Take the inputs of fits; one that waits is replaced by a newer one of its freezer."""
        for freezer, wanted in fits:
            self._waiting.pop(freezer, None)
            self._waiting[freezer] = wanted
        self._filled.set()

    async def run(self) -> None:
        """Compute for ever. What is under way when this is cancelled ends by itself, and nobody takes it."""
        loop = asyncio.get_running_loop()
        worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="fit")
        try:
            while True:
                await self._filled.wait()
                freezer = next(iter(self._waiting))
                wanted = self._waiting.pop(freezer)
                if not self._waiting:
                    self._filled.clear()
                usual = sys.getswitchinterval()
                sys.setswitchinterval(SWITCH)
                try:
                    result = await loop.run_in_executor(worker, computed, freezer, wanted)
                finally:
                    sys.setswitchinterval(usual)
                hand_over(freezer, result, self._give)
        finally:
            worker.shutdown(wait=False, cancel_futures=True)


class AtOnce:
    """Compute when asked, for a clock that is played: nobody waits, and the same play tells the same."""

    def __init__(self, give: Give) -> None:
        """Take where results go."""
        self._give = give

    def want(self, fits: Fits) -> None:
        """Compute them all."""
        for freezer, wanted in fits:
            hand_over(freezer, computed(freezer, wanted), self._give)


def computed(freezer: str, wanted: object) -> object | None:
    """Compute one fit; one that fails is written down whole and is no result, for the watch goes on without it."""
    try:
        if not isinstance(wanted, Wanted):
            raise TypeError(f"{type(wanted).__name__} is nothing that can be fitted")
        return compute(wanted)
    except Exception:
        log.exception("the forecast of %s could not be computed", freezer)
        return None


def hand_over(freezer: str, result: object | None, give: Give) -> None:
    """Give the watch a result, and the log a line where there is none."""
    give(Fitted(freezer, result))
    if result is None:
        text = "Its forecast could not be computed; the log of gatewayd says why. It is watched as always."
        give(Remark(freezer, "forecast", text))
