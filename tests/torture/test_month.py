"""A short run of the torture by time."""

import pytest

from tests.torture import month

pytestmark = pytest.mark.slow  # slow: five freezers live three days at full rate


def test_month() -> None:
    """Three days at a reading every ten seconds open no further file and grow the file as documented."""
    result = month.run(seed=1, rounds=3)

    assert result.faults == []
