"""A thermostat that moves, on a made-up course of days."""

from math import pi, sin
from random import Random

import pytest

from gatewayd.thermal.course import Course
from gatewayd.thermal.drift import drift, elsewhere
from gatewayd.thermal.habit import Habit
from tests.thermal.courses import running, stopped

TURNED = 4 * 1440


def play(hours: float, step: float = 0.0, ramp: float = 0.0) -> Course:
    """Play four ordinary days, then a step (K) and a ramp (K a day) for `hours`."""
    dice, course = Random(4), Course()
    for minute in range(TURNED + round(hours * 60)):
        phase = minute % 62
        air = -19.5 + 1.5 * (1 - phase / 25 if phase < 25 else (phase - 25) / 37) + 0.2 * sin(2 * pi * minute / 1440)
        late = max(0, minute - TURNED + 1)
        course.take(minute, round(air + step * (late > 0) + ramp * late / 1440 + dice.gauss(0, 0.05), 1))
    return course


@pytest.mark.parametrize("step", [3.4, -4.0])
def test_a_turned_thermostat_is_seen_within_8_hours(step: float) -> None:
    """A step either way shows with its size and its beginning."""
    course = play(8, step)
    found = drift(course, course.end)
    assert found is not None
    assert found.moved == pytest.approx(step, abs=0.6)
    assert abs(found.began - TURNED) <= 120


def test_a_slow_drift_is_seen_within_48_hours() -> None:
    """One kelvin a day shows within two days."""
    course = play(48, ramp=1.0)
    assert drift(course, course.end) is not None


def test_ordinary_days_do_not_drift() -> None:
    """The day's own wave and the ripple are no drift, whenever one looks."""
    course = play(24)
    assert all(drift(course, end) is None for end in range(3000, course.end, 180))


def test_too_few_days_or_hours_say_nothing() -> None:
    """Without days before, or with a present that was hardly heard, there is no answer."""
    course = play(8, 4.0)
    assert drift(course, 3 * 1440 - 10) is None
    assert drift(course, course.end + 300) is None
    assert drift(Course(), 0) is None


def test_cycles_at_another_level_are_a_drift_and_a_recovery_is_none() -> None:
    """Lows that moved with the mean are a thermostat's; lows as cold as ever belong to a freezer that recovers."""
    habit = Habit(rise=0.3, top=-17.1, low=-19.9, off=46.0, span=2.4, mean=-18.5)
    moved, back = Course(), Course()
    for minute, value in enumerate(running(400, level=-14.5)):
        moved.take(minute, value)
    for minute, value in enumerate(running(400)):
        back.take(minute, value + 4.0 * max(0.0, 1 - minute / 240))
    assert elsewhere(moved, 400, habit, 4.0)
    assert not elsewhere(back, 400, habit, 2.5)


def test_a_stop_of_cooling_is_no_drift() -> None:
    """Air that only rises does not cycle at another level."""
    habit = Habit(rise=0.3, top=-17.1, low=-19.9, off=46.0, span=2.4, mean=-18.5)
    course = Course()
    for minute, value in enumerate(stopped(400)):
        course.take(minute, value)
    assert not elsewhere(course, 400, habit, 6.0)
