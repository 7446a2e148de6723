"""The computer's own supply, in folders written as the kernel shows them (sysfs-class-power)."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.daemon.supply import BACK, OUT, Supply, is_out
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE, SECOND
from tests.fakes.clock import FakeClock
from tests.sources.intake import eventually


def put(folder: Path, name: str, **files: str) -> None:
    """Write one supply."""
    (folder / name).mkdir(exist_ok=True)
    for file, text in files.items():
        (folder / name / file).write_text(text + "\n")


BATTERY = {"type": "Battery", "present": "1", "status": "Discharging"}


@pytest.mark.parametrize(
    ("supplies", "out"),
    [
        ({"AC": {"type": "Mains", "online": "1"}, "BAT0": BATTERY}, False),
        ({"AC": {"type": "Mains", "online": "0"}, "BAT0": BATTERY}, True),
        ({"usb": {"type": "USB", "online": "2"}, "bat": BATTERY}, False),
        ({"AC": {"type": "Mains", "online": "0"}, "usb": {"type": "USB", "online": "1"}, "BAT0": BATTERY}, False),
        ({"AC": {"type": "Mains", "online": "0"}, "usb": {"type": "USB", "online": "0"}, "ups": {"type": "UPS"}}, True),
        ({"AC": {"type": "Mains", "online": "0"}}, None),
        ({"BAT0": BATTERY}, None),
        ({"AC": {"type": "Mains", "online": "0"}, "mouse": {**BATTERY, "scope": "Device"}}, None),
        ({"AC": {"type": "Mains", "online": "0"}, "BAT0": {"type": "Battery", "present": "0"}}, None),
        ({"AC": {"type": "Mains"}, "BAT0": BATTERY}, None),
        ({"odd": {}, "AC": {"type": "Mains", "online": "1"}, "BAT0": BATTERY}, False),
        ({}, None),
    ],
)
def test_is_out(tmp_path: Path, supplies: dict[str, dict[str, str]], out: bool | None) -> None:
    """The supply is out when no feed is online beside a battery of the computer's own; else it is there or unknown."""
    for name, files in supplies.items():
        put(tmp_path, name, **files)

    assert is_out(tmp_path) is out


def test_no_such_folder(tmp_path: Path) -> None:
    """A computer that knows nothing of its supply is never said to be without."""
    assert is_out(tmp_path / "none") is None


async def test_changes_are_told(tmp_path: Path) -> None:
    """The first state and each change are told within 15 s, nothing between, and a driver that hangs moves nothing."""
    clock, told = FakeClock(), []
    put(tmp_path, "BAT0", **BATTERY)
    put(tmp_path, "AC", type="Mains", online="1")
    task = asyncio.create_task(Supply(told.append, clock, tmp_path).run())
    await eventually(lambda: clock._sleepers, "the first look")
    for online in ("1", "0", "0", "", "0", "1"):
        put(tmp_path, "AC", online=online)
        await clock.advance(15 * SECOND)
        await eventually(lambda: clock._sleepers, "a look")
    task.cancel()
    await asyncio.wait({task})

    assert told == [Condition("mains", False, BACK), Condition("mains", True, OUT), Condition("mains", False, BACK)]


async def test_battery_that_comes_later(tmp_path: Path) -> None:
    """Without a battery it looks every ten minutes only; one that is plugged in later is found."""
    clock, told = FakeClock(), []
    task = asyncio.create_task(Supply(told.append, clock, tmp_path).run())
    await eventually(lambda: clock._sleepers, "the first look")
    assert clock._sleepers[0][0] == clock.now().steady + 10 * MINUTE
    put(tmp_path, "BAT0", **BATTERY)
    put(tmp_path, "AC", type="Mains", online="0")
    await clock.advance(10 * MINUTE)
    await eventually(lambda: told, "the battery was found")
    task.cancel()
    await asyncio.wait({task})

    assert told == [Condition("mains", True, OUT)]
