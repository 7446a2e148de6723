"""Short runs of the torture: a broker that falls, that is slow to be answered, that kept much for us."""

import pytest

from tests.torture import broker
from tests.torture.result import Result

pytestmark = [pytest.mark.rig, pytest.mark.slow]  # slow: a broker that was killed is found again after seconds


def test_falls() -> None:
    """A broker that is restarted and killed under load costs no reading, alarm or mail."""
    result = Result("broker", seed=3, rounds=2)
    broker.falls(result)

    assert result.faults == []


def test_slow_commits() -> None:
    """With a window of 20 and a minute between commits each warm spell is judged and told at once."""
    result = Result("broker", seed=3, rounds=1)
    broker.slow_commits(result, every=0.1, turn=(1.0, 1.5), seconds=3)

    assert result.faults == []


def test_away() -> None:
    """A backlog comes in whole and marked late, raises nothing, costs little memory, and is followed by live alarms."""
    result = Result("broker", seed=3, rounds=1)
    broker.away(result, 4_000)

    assert result.faults == []
