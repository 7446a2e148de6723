"""How long the radio waits for what, with the reasons; a test hands in shorter spans."""

import asyncio
from collections.abc import Coroutine
from dataclasses import dataclass
from typing import Any, TypeVar

from gatewayd.model.moment import MINUTE, SECOND

T = TypeVar("T")

LAST_WORDS = 1.0  # s for a cancelled task to clear up after itself; one that takes longer hangs and is left behind


@dataclass(frozen=True, slots=True)
class Patience:
    """Hold the spans (ms) of one radio.

    `quiet` of nothing at all from anyone means that the scanner is dead: a chip that lets each device through once per
    scan period gives a report every 10.4 s (measured with BlueZ 5.66 and 5.82), so 90 s are more than eight of them.
    `longest_quiet` bounds what a lonely house may stretch it to. `busy` is how long "in progress" is taken for the
    scan of a dead service that the kernel lets run out (10.4 s at most, measured). `fresh` is shorter than the 30 s
    after which BlueZ forgets a device (main.conf, TemporaryTimeout). `connect` and `read` bound one reading; `usual` is
    what one takes with connecting and parting (4 to 5 s, measured). `share` of the time, at most, goes to connections,
    since the radio does not listen during one.
    """

    quiet: int = 90 * SECOND
    longest_quiet: int = 30 * MINUTE
    start: int = 15 * SECOND
    stop: int = 5 * SECOND
    busy: int = 15 * SECOND
    busy_every: int = SECOND
    call: int = 10 * SECOND  # any other question to the Bluetooth service; it answers in milliseconds or is ill
    off: int = SECOND  # how long the adapter is left without power in a power cycle
    fresh: int = 25 * SECOND
    connect: int = 10 * SECOND
    read: int = 20 * SECOND
    usual: int = 5 * SECOND
    share: float = 0.10
    retry: int = 30 * SECOND  # after a failed reading, doubled from one to the next


async def within(work: Coroutine[Any, Any, T], ms: int) -> T:
    """Return what `work` returns; raise what it raises, or TimeoutError after `ms`.

    Unlike `asyncio.timeout` this ends even if `work`, cancelled, hangs in its own clearing up.
    """
    task = asyncio.create_task(work)
    try:
        done, _ = await asyncio.wait({task}, timeout=ms / 1000)
        if task.cancelled():  # not by us: whoever waits for `work` must not take it for a cancellation of its own
            raise ConnectionAbortedError("the work was cancelled from within")
        if done:
            return task.result()
        raise TimeoutError
    finally:
        if not task.done():
            task.cancel()
            await asyncio.wait({task}, timeout=LAST_WORDS)
        if task.done() and not task.cancelled():
            task.exception()  # seen: asyncio need not complain about it
