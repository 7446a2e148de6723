"""Cycles of a made-up saw-tooth."""

from math import exp
from random import Random

import pytest

from gatewayd.model.outlook import Cycles
from gatewayd.thermal.course import Course
from gatewayd.thermal.cycles import cycles


def tooth(days: float, period: int = 62, fall: int = 25, every: int = 1, noise: float = 0.05) -> Course:
    """Play a saw-tooth of 1.5 K below -18 °C, read to 0.1 K every `every` minutes."""
    dice, course = Random(1), Course()
    for minute in range(0, round(days * 1440), every):
        phase = minute % period
        share = 1 - phase / fall if phase < fall else (phase - fall) / (period - fall)
        course.take(minute, round(-19.5 + 1.5 * share + dice.gauss(0, noise), 1))
    return course


def of(course: Course) -> Cycles:
    """Return the day's cycles, which must be there."""
    found = cycles(course, course.end)
    assert found is not None
    return found


@pytest.mark.parametrize(("period", "fall"), [(35, 12), (62, 25), (200, 70)])
def test_period_and_duty_of_a_day_are_read(period: int, fall: int) -> None:
    """Period to 2 %, duty to 0.08, starts accordingly, for a fast and a slow freezer."""
    found = of(tooth(1.5, period, fall))
    assert found.period == pytest.approx(period * 60, rel=0.02)
    assert found.duty == pytest.approx(fall / period, abs=0.08)
    assert found.starts == pytest.approx(1440 / period, rel=0.02)


def test_openings_change_little() -> None:
    """Six openings in a day move the period by less than 5 %."""
    course, opened = tooth(1), Course()
    for minute, air in enumerate(course.air):
        since = minute % 240 - 100
        opened.take(minute, air + (5 * exp(-since / 6) if since >= 0 else 0))
    assert of(opened).period == pytest.approx(62 * 60, rel=0.05)


def test_a_reading_every_ten_minutes_is_enough() -> None:
    """A slow sensor still shows an hour's cycle."""
    assert of(tooth(1, every=10)).period == pytest.approx(62 * 60, rel=0.03)


def test_too_few_readings_a_cycle_give_no_answer() -> None:
    """A reading every half hour cannot show a cycle of 62 min, whatever turns it makes."""
    assert cycles(tooth(2, every=30), 2 * 1440) is None


def test_no_ripple_gives_no_answer() -> None:
    """A probe inside a carton shows no cycles."""
    course, dice = Course(), Random(2)
    for minute in range(1440):
        course.take(minute, round(-18 + dice.gauss(0, 0.05), 1))
    assert cycles(course, 1440) is None


def test_too_little_heard_gives_no_answer() -> None:
    """Five hours are no day, and an empty course is none either."""
    assert cycles(tooth(0.2), 288) is None
    assert cycles(Course(), 0) is None


def test_a_gap_of_hours_leaves_the_rest() -> None:
    """A sensor silent for eight hours does not spoil the period."""
    course = tooth(1)
    course.air[400:880] = type(course.air)("d", [float("nan")] * 480)
    assert of(course).period == pytest.approx(62 * 60, rel=0.03)
