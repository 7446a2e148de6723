"""Blocking attempts in a thread of their own."""

import asyncio
import threading

import pytest

from gatewayd.sources.dial import Dialler, StillHanging
from tests.sources.intake import eventually


async def test_answer() -> None:
    """What the attempt returns, or raises, comes back."""
    dialler = Dialler("dial test")

    assert await dialler.call(lambda: 7, lambda _: None) == 7
    with pytest.raises(ZeroDivisionError):
        await dialler.call(lambda: 1 // 0, lambda _: None)


async def test_deadline_and_no_pile() -> None:
    """A hanging attempt is given up at its deadline, no second thread joins it, and its late result is discarded."""
    dialler = Dialler("dial test")
    discarded: list[str] = []
    gate = threading.Event()

    def hang() -> str:
        gate.wait(5)
        return "too late"

    with pytest.raises(TimeoutError):
        await dialler.call(hang, discarded.append, deadline=20)
    with pytest.raises(StillHanging):
        await dialler.call(hang, discarded.append)
    gate.set()
    await eventually(lambda: discarded, "the late result")

    assert discarded == ["too late"]
    assert await dialler.call(lambda: 7, lambda _: None) == 7


async def test_cancelled() -> None:
    """A cancelled wait ends at once, and what still comes is discarded."""
    dialler = Dialler("dial test")
    discarded: list[str] = []
    gate, begun = threading.Event(), asyncio.Event()
    loop = asyncio.get_running_loop()

    def hang() -> str:
        loop.call_soon_threadsafe(begun.set)
        gate.wait(5)
        return "too late"

    task = asyncio.create_task(dialler.call(hang, discarded.append))
    await begun.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    gate.set()
    await eventually(lambda: discarded, "the late result")

    assert discarded == ["too late"]
