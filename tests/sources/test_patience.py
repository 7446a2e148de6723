"""A deadline that holds whatever the work does."""

import asyncio

import pytest

from gatewayd.sources import patience
from gatewayd.sources.patience import within


async def test_the_result_comes_through() -> None:
    """What the work returns or raises is returned or raised."""

    async def work(fault: Exception | None) -> int:
        if fault is not None:
            raise fault
        return 7

    assert await within(work(None), 1_000) == 7
    with pytest.raises(KeyError):
        await within(work(KeyError("x")), 1_000)


async def test_work_that_resists_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work that hangs even when cancelled does not hold up whoever waits."""
    monkeypatch.setattr(patience, "LAST_WORDS", 0.01)
    free = asyncio.Event()

    async def work() -> None:
        try:
            await asyncio.sleep(60)
        finally:
            await free.wait()

    with pytest.raises(TimeoutError):
        await within(work(), 10)
    free.set()


async def test_a_cancellation_from_within_is_an_error() -> None:
    """Work that was cancelled by somebody else does not look like a cancellation of the one who waits."""

    async def work() -> None:
        raise asyncio.CancelledError

    with pytest.raises(ConnectionAbortedError):
        await within(work(), 1_000)
