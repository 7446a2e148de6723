"""A short run of the torture by hostile payloads."""

import pytest

from tests.torture import hostile

pytestmark = [pytest.mark.rig, pytest.mark.slow]  # slow: a flood of ten seconds


def test_hostile() -> None:
    """Ten seconds of rubbish at thousands a second hold nobody up, fill no memory, and are counted."""
    result = hostile.run(seed=1, rounds=1)

    assert result.faults == []
