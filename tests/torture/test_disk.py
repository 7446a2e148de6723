"""A short round of each day of the disk torture; what needs a disk of its own runs where root may mount one."""

import pytest

from tests.torture import disk
from tests.torture.loop import able

pytestmark = pytest.mark.rig

ROOTED = able()
# those that wait for the gateway's patience with the store take 20 s each and are left to the long run
SHORT = (
    disk.full_at_stop, disk.long_reader, disk.vanished, disk.replaced, disk.damaged_log_at_start, disk.damaged_at_start,
)  # fmt: skip


@pytest.mark.parametrize("day", [day.__name__ for day in SHORT])
def test_bad_day(day: str) -> None:
    """The alarm is told, the daemon goes on by itself, nothing is lost, the keeper is told once."""
    result = disk.run(seed=3, rounds=1, lasts=(0.5, 0.5), only=day)

    assert result.faults == []
