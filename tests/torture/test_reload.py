"""A short run of the torture: settings read again under load."""

import pytest

from tests.torture import reload

pytestmark = [pytest.mark.rig, pytest.mark.slow]  # slow: the alarms that must not be lost take seconds to come and go


def test_reload() -> None:
    """Reloads, every second one wrong, and a burst of them cost no alarm; wrong ones are refused with all faults."""
    result = reload.run(seed=3, rounds=8)

    assert result.faults == []
