"""Days, nights and weather of a simulated room."""

import random

import pytest

from gatewayd.demo.room import Climate, Room
from gatewayd.model.moment import DAY, HOUR

MIDNIGHT = 1_741_046_400_000  # 2025-03-04 00:00 UTC


def test_afternoons_are_warm_and_nights_cold() -> None:
    """Without weather the room is warmest at 15 h, coldest at 3 h, by its swing."""
    room = Room(Climate(14.0, 4.0, 0.0), random.Random(1), MIDNIGHT)

    assert pytest.approx(10.0, abs=0.01) == room.air(MIDNIGHT + 3 * HOUR)
    assert pytest.approx(18.0, abs=0.01) == room.air(MIDNIGHT + 15 * HOUR)


def test_the_weather_drifts_slowly() -> None:
    """Drift moves the room by its sigma over weeks and hardly within an hour."""
    room = Room(Climate(14.0, 0.0, 1.0), random.Random(2), MIDNIGHT)
    step = HOUR // 12
    airs = [room.air(MIDNIGHT + index * step) for index in range(60 * DAY // step)]
    mean = sum(airs) / len(airs)
    sigma = (sum((air - mean) ** 2 for air in airs) / len(airs)) ** 0.5

    assert 0.5 < sigma < 1.5
    assert max(abs(after - before) for before, after in zip(airs, airs[12:], strict=False)) < 1.2
