"""Weeks of a freezer as made-up daily rows, and the Theil-Sen slope."""

from math import pi, sin
from random import Random

import pytest

from gatewayd.thermal.ageing import Day, ageing, slope


def weeks(run: float = 0.0, period: float = 0.0, days: int = 45, room: bool = True) -> list[Day]:
    """Return days with a change (1 = doubled in six weeks) of running and period, in a room whose weather wanders."""
    dice, rows = Random(6), []
    for day in range(days):
        warm = 20 + 4 * sin(2 * pi * day / 60) + dice.gauss(0, 0.5)
        duty = 0.05 + 0.30 * (warm + 18) / 38 * (1 + run * day / 42) + dice.gauss(0, 0.008)
        length = 3600 * (1 + period * day / 42) * (1 + dice.gauss(0, 0.02))
        rows.append(Day(100 + day, duty, length, -18.0, warm if room else None, 86400 / length))
    return rows


def test_the_slope_is_the_median_of_pairs_and_ignores_outliers() -> None:
    """A straight line with a fifth of wild points keeps its slope (Sen 1968: up to 29 %)."""
    points = [(float(i), 2.0 * i + 1) for i in range(20)]
    for i in (2, 9, 15, 18):
        points[i] = (float(i), 500.0)
    assert slope(points) == pytest.approx(2.0, abs=0.3)
    with pytest.raises(ValueError, match="two points"):
        slope([(1.0, 2.0), (1.0, 3.0)])


def test_a_leaking_gasket_is_said() -> None:
    """Thirty per cent more running for the same room within six weeks gives words for the keeper."""
    found = ageing(weeks(run=0.3))
    assert found is not None
    assert found.run == pytest.approx(0.3, abs=0.08)
    assert found.words == ("It runs more than some weeks ago for the same room: the gasket or the lid may leak.",)


def test_the_weather_is_no_leak() -> None:
    """A room that wanders by 8 K raises nothing."""
    found = ageing(weeks())
    assert found is not None
    assert found.run == pytest.approx(0.0, abs=0.06)
    assert not found.words


def test_frost_shows_in_the_period_without_words() -> None:
    """The period's change is returned for the log, and alarms nobody."""
    found = ageing(weeks(period=0.5))
    assert found is not None
    assert found.period == pytest.approx(0.5, abs=0.08)
    assert not found.words


def test_without_a_room_sensor_nothing_is_said_of_the_running() -> None:
    """The season alone would look like a leak."""
    found = ageing(weeks(run=0.3, room=False))
    assert found is not None
    assert found.run is None
    assert not found.words


def test_too_few_days_say_nothing() -> None:
    """Three weeks are too short, and so are six with hardly a day in them."""
    assert ageing(weeks(days=25)) is None
    assert ageing(weeks()[::3]) is None
    assert ageing([]) is None
