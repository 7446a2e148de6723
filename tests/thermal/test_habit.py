"""The usual running of a made-up freezer."""

from math import exp
from random import Random

import pytest

from gatewayd.model.house import Kind
from gatewayd.model.pack import pack, unpack
from gatewayd.thermal.course import Course
from gatewayd.thermal.habit import Habit, learn


def tooth(days: float, opened: bool = False, defrost: int = 0) -> Course:
    """Play cycles of 62 min from -19.5 to -18 °C, with openings or an automatic defrost on demand."""
    dice, course = Random(3), Course()
    for minute in range(round(days * 1440)):
        phase = minute % 62
        air = -19.5 + 1.5 * (1 - phase / 25 if phase < 25 else (phase - 25) / 37)
        if opened and minute > 300:
            air += 4 * exp(-((minute - 300) % 290) / 6)
        if defrost and minute > 200 and (minute - 200) % defrost < 40:
            air += 6 * (1 - abs((minute - 200) % defrost - 20) / 20)
        course.take(minute, round(air + dice.gauss(0, 0.05), 1))
    return course


def known(course: Course, kind: Kind = Kind.CHEST) -> Habit:
    """Return the habit, which must be there."""
    habit = learn(course, course.end, kind)
    assert habit is not None
    return habit


@pytest.mark.parametrize("opened", [False, True])
def test_the_usual_levels_are_learnt(opened: bool) -> None:
    """Restart level, lowest level, off time and mean come out, with openings and without."""
    habit = known(tooth(3, opened))
    assert habit.top == pytest.approx(-18.0, abs=0.3)
    assert habit.low == pytest.approx(-19.5, abs=0.3)
    assert habit.off == pytest.approx(37, abs=10)
    assert habit.mean == pytest.approx(-18.7, abs=0.3)


def test_an_outage_within_leaves_the_habit_as_it_was() -> None:
    """Ten hours without power are no habit."""
    course = tooth(3)
    calm = known(course)
    for i in range(2000, 2600):
        course.air[i] = -18 + (i - 2000) / 50
    after = known(course)
    assert after.top == pytest.approx(calm.top, abs=0.2)
    assert after.off == pytest.approx(calm.off, abs=6)
    assert after.rise == pytest.approx(calm.rise, abs=0.1)


def test_an_automatic_defrost_is_learnt() -> None:
    """A spike every eight hours gives its interval and the last time, in a freezer of that kind alone."""
    course = tooth(3, defrost=480)
    habit = known(course, Kind.UPRIGHT_AUTO_DEFROST)
    assert habit.defrost == pytest.approx(480, abs=15)
    assert habit.defrosted == pytest.approx(200 + 8 * 480 + 20, abs=10)
    assert known(course).defrost is None


def test_without_half_a_day_there_is_no_habit() -> None:
    """A recording that has just begun teaches nothing."""
    course = tooth(0.4)
    assert learn(course, course.end, Kind.CHEST) is None
    assert learn(Course(), 0, Kind.CHEST) is None


def test_a_probe_in_a_carton_has_levels_but_no_off_time() -> None:
    """Without ripple the levels are those of the course itself."""
    course, dice = Course(), Random(2)
    for minute in range(2000):
        course.take(minute, round(-18 + dice.gauss(0, 0.05), 1))
    habit = known(course)
    assert habit.off is None
    assert habit.low <= habit.mean <= habit.top


def test_a_habit_survives_packing() -> None:
    """What is learnt is there after a restart."""
    habit = known(tooth(1))
    assert unpack(Habit, pack(habit)) == habit
