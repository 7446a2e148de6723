"""Since when a freezer has not cooled."""

from itertools import chain, repeat
from math import isnan

import pytest

from gatewayd.thermal.course import Course
from gatewayd.thermal.habit import Habit
from gatewayd.thermal.turning import SHARE, SWING
from gatewayd.thermal.warming import STEP, Walk
from tests.thermal.courses import running, stopped

HABIT = Habit(rise=0.3, top=-17.1, low=-19.9, off=46.0, span=2.4, mean=-18.5)
CALM = 700  # min: ten whole cycles


def course(*parts: list[float | None]) -> Course:
    """Return a course of values, one a minute."""
    found = Course()
    for minute, value in enumerate(chain(*parts)):
        found.take(minute, value)
    return found


def warming(course: Course, end: int, habit: Habit | None) -> Walk:
    """Walk along a course up to slot `end`, as the picture of a freezer does."""
    walk = Walk(max(SWING, SHARE * habit.span) if habit else SWING, habit)
    for slot, value in zip(range(0, end, STEP), course.means(0, end, STEP), strict=True):
        if not isnan(value):
            walk.step(slot, value)
    return walk


def test_pause_of_a_compressor_is_no_warming() -> None:
    """Within a pause it is known since when it has not cooled, and that this is ordinary."""
    found = warming(course(list(running(CALM + 30))), CALM + 30, HABIT)
    assert found.since is not None
    assert abs(found.since - CALM) <= 5
    assert not found.beyond


def test_cooling_has_no_beginning() -> None:
    """While the air falls it cools."""
    assert warming(course(list(running(CALM - 5))), CALM - 5, HABIT).since is None


def test_stop_is_seen_since_its_low() -> None:
    """A stop is told since the last low, once it is longer and warmer than any pause."""
    found = warming(course(list(running(CALM)), list(stopped(180))), CALM + 180, HABIT)
    assert found.beyond
    assert found.since is not None
    assert abs(found.since - CALM) <= 10


def test_without_a_habit_three_kelvin_in_two_hours_count() -> None:
    """A recording that begins with the outage is warming since its first reading."""
    found = warming(course(list(stopped(240))), 240, None)
    assert (found.since, found.beyond) == (0, True)


@pytest.mark.parametrize("spike", [2.0, 6.0, 12.0])
def test_look_under_the_lid_restarts_nothing(spike: float) -> None:
    """What rises and falls back to where it was changes no beginning."""
    values = list(stopped(400))
    for k in range(200, 215):
        values[k] += spike
    found = warming(course(list(running(CALM)), values), CALM + 400, HABIT)
    assert found.beyond
    assert found.since is not None
    assert abs(found.since - CALM) <= 10


def test_night_that_cools_the_room_ends_nothing() -> None:
    """Air that falls by two tenths of a kelvin an hour, as the room does, is still a warming."""
    values = list(stopped(300))
    last = values[-1]
    found = warming(course(list(running(CALM)), values, [last - k / 300 for k in range(300)]), CALM + 600, HABIT)
    assert found.beyond


def test_automatic_defrost_is_over_when_it_is_cold_again() -> None:
    """A spike that ends in the ordinary range leaves no warming behind."""
    spike = [-17.0 + 8 * k / 90 for k in range(90)] + [-9.0 - 10 * k / 30 for k in range(30)]
    found = warming(course(list(running(CALM + 46)), spike, list(running(100))), CALM + 46 + 220, HABIT)
    assert not found.beyond


def test_gap_of_hours_keeps_the_beginning() -> None:
    """Nothing heard for two hours leaves the beginning where it was."""
    values: list[float | None] = list(stopped(120))
    values += [*repeat(None, 120), *[v for i, v in enumerate(stopped(360)) if i >= 240]]
    found = warming(course(list(running(CALM)), values), CALM + 360, HABIT)
    assert found.since is not None
    assert abs(found.since - CALM) <= 10


def test_nothing_heard_is_nothing_known() -> None:
    """An empty course has no beginning."""
    assert warming(Course(), 100, HABIT).since is None
