"""A short round of each day of the disk torture."""

import pytest

from tests.torture import disk

pytestmark = pytest.mark.rig

# With few readings the broker's window is not used up before the alarm, so the gateway's patience is not waited for.
SELDOM = 0.3
SHORT = (disk.full, disk.vanished, disk.damaged_log_at_start, disk.damaged_at_start)


@pytest.mark.parametrize("day", [day.__name__ for day in SHORT])
def test_bad_day(day: str) -> None:
    """The alarm is told, the daemon goes on by itself, nothing is lost, the keeper is told once."""
    result = disk.run(seed=3, rounds=1, lasts=(0.5, 0.5), only=day, every=SELDOM)

    assert result.faults == []
