"""The room on the disk."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.daemon.space import MB, Space, filling, size
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE
from tests.fakes.clock import FakeClock
from tests.sources.intake import eventually

CARD = 30_000 * MB


@pytest.mark.parametrize(
    ("free", "total", "was", "is_filling"),
    [
        (1500 * MB, CARD, False, False),  # 5 %
        (1500 * MB - 1, CARD, False, True),
        (2250 * MB - 1, CARD, True, True),  # 1.5 times as much
        (2250 * MB, CARD, True, False),
        (200 * MB, 1000 * MB, False, False),  # 200 MB
        (200 * MB - 1, 1000 * MB, False, True),
        (300 * MB - 1, 1000 * MB, True, True),
        (2000 * MB, 4_000_000 * MB, False, False),  # a large disk: 2 GB, not 200
        (2000 * MB - 1, 4_000_000 * MB, False, True),
        (0, CARD, False, True),
    ],
)
def test_limits(free: int, total: int, was: bool, is_filling: bool) -> None:
    """It is filling below 5 % (2 GB at most) or 200 MB, and over when half as much again is free."""
    assert filling(free, total, was=was) is is_filling


async def test_turns(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """It looks every ten minutes and tells the first state and each change; an unseen disk moves nothing."""
    clock, told = FakeClock(), []
    free = iter([20_000, 1000, 2000, None, None, 3000])

    def usage(folder: Path) -> tuple[int, int, int]:
        assert folder == tmp_path
        mb = next(free, "end")
        if mb == "end":
            raise RuntimeError("the test's figures are used up")
        if mb is None:
            raise OSError(5, "Input/output error")
        return CARD, 0, mb * MB

    task = asyncio.create_task(Space(told.append, clock, tmp_path, usage).run())
    for _ in range(6):
        await eventually(lambda: clock._sleepers, "a look")
        await clock.advance(10 * MINUTE)
    await eventually(task.done, "the test's figures are used up")

    assert [(condition.kind, condition.on) for condition in told] == [
        ("disk-filling", False),
        ("disk-filling", True),
        ("disk-filling", False),
    ]
    assert "Only 1.0 GB of 30.0 GB are free" in told[1].text
    assert "Delete what" in told[1].text
    assert str(tmp_path) in told[1].text
    assert told[2].text == "3.0 GB of 30.0 GB are free."
    assert caplog.text.count("Input/output error") == 1
    with pytest.raises(RuntimeError, match="used up"):
        task.result()


async def test_real_disk(tmp_path: Path) -> None:
    """On a real disk it comes to a verdict that fits the figures of the system."""
    told: list[Condition] = []
    await Space(told.append, FakeClock(), tmp_path).look()

    assert len(told) == 1
    assert "free" in told[0].text


@pytest.mark.parametrize(("count", "text"), [(0, "0 MB"), (999 * MB, "999 MB"), (1000 * MB, "1.0 GB")])
def test_size(count: int, text: str) -> None:
    """Sizes are written as disks are sold."""
    assert size(count) == text
