"""A short run of the torture by bad clocks."""

import pytest

from tests.torture import clock

pytestmark = pytest.mark.slow  # slow: a house lives through fifteen hours on a real store


def test_clock() -> None:
    """Nine dark hours, a wrong clock at boot and steps of a day neither raise, lose nor misdate anything."""
    result = clock.run(seed=1, rounds=2)

    assert result.faults == []
