"""A short run of the torture: killed again and again under load."""

import pytest

from tests.torture import kill

pytestmark = [pytest.mark.rig, pytest.mark.slow]  # slow: the daemon starts anew after each kill


def test_kill() -> None:
    """Three kills at random instants lose no reading, event, answer or mail, and leave the file sound."""
    result = kill.run(seed=3, rounds=3)

    assert result.faults == []
