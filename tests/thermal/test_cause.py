"""The cause of made-up warmings: a saw-tooth of 62 min, then something happens."""

from collections.abc import Callable
from math import exp
from random import Random

import pytest

from gatewayd.model.house import Kind
from gatewayd.model.outlook import Label, Sure
from gatewayd.model.pack import pack, unpack
from gatewayd.thermal.cause import Holding, Judged, judge
from gatewayd.thermal.course import Course
from gatewayd.thermal.habit import Habit, learn

HAPPENS = 63 * 62  # at a high: the compressor is just about to start
ROOM = 18.0


def usual(minute: int) -> float:
    """Return the air (°C) of ordinary running."""
    phase = minute % 62
    return -19.5 + 1.5 * (1 - phase / 25 if phase < 25 else (phase - 25) / 37)


def room_air(since: int) -> float:
    """Lift the probe out: its lag is 4 min."""
    return -18 + 36 * (1 - exp(-since / 4))


def no_power(since: int) -> float:
    """Go on as in every pause, slower with time."""
    return -18 + 2.4 * since / 60 * exp(-since / 600)


def opened(since: int) -> float:
    """Open for a minute."""
    return usual(HAPPENS + since) + 6 * exp(-since / 6) * min(1, since / 3)


def loaded(since: int) -> float:
    """Put in something warm."""
    return -18 + 7 * exp(-since / 200) * min(1.0, since / 6)


def ajar(since: int) -> float:
    """Leave a gap."""
    return -18 + 5 * (1 - exp(-since / 15))


def play(minutes: int, happens: Callable[[int], float] = lambda s: usual(HAPPENS + s), every: int = 1) -> Course:
    """Play two days and a bit, and `minutes` of what happens."""
    dice, course = Random(5), Course()
    for minute in range(HAPPENS + minutes):
        air = usual(minute) if minute < HAPPENS else happens(minute - HAPPENS)
        if minute % every == 0:
            course.take(minute, round(air + dice.gauss(0, 0.05), 1))
    return course


def at(
    minutes: int,
    happens: Callable[[int], float],
    every: int = 1,
    kind: Kind = Kind.CHEST,
) -> Judged:
    """Return what it looks like `minutes` after it began."""
    course = play(minutes, happens, every)
    return judge(course, course.end, learn(course, HAPPENS, kind), ROOM, kind)


CASES = [(room_air, Label.ROOM_AIR), (no_power, Label.POWER), (loaded, Label.LID_OR_LOAD), (ajar, Label.LID_OR_LOAD)]


@pytest.mark.parametrize(("happens", "label"), CASES)
@pytest.mark.parametrize("every", [1, 5, 10])
def test_each_cause_shows_its_shape_within_90_minutes(
    happens: Callable[[int], float], label: Label, every: int
) -> None:
    """Whether a reading comes each minute or every ten, the label is the same."""
    found = at(90, happens, every)
    assert found.label is label
    assert abs(found.began - HAPPENS) <= 45


def test_an_opening_is_named_and_then_over() -> None:
    """It is called opened when it has come back, and ordinary later."""
    assert at(30, opened).label is Label.OPENED
    assert at(120, opened).label is Label.NORMAL


def test_ordinary_running_is_normal_at_any_minute() -> None:
    """No minute of a cycle looks like anything else."""
    habit = learn(play(0), HAPPENS, Kind.CHEST)
    course = play(130)
    assert {judge(course, HAPPENS + m, habit, ROOM, Kind.CHEST).label for m in range(0, 130, 7)} == {Label.NORMAL}


def test_a_long_pause_makes_a_stop_sure() -> None:
    """Far beyond the usual off time the word is sure, and the beginning stays where it was."""
    found = at(600, no_power)
    assert (found.label, found.sure) == (Label.POWER, Sure.SURE)
    assert abs(found.began - HAPPENS) <= 45


def test_an_automatic_defrost_is_no_alarm() -> None:
    """A spike that is due is the heater's work, in a freezer that has one."""

    def spike(since: int) -> float:
        return -18 + 6 * (1 - abs(since - 25) / 25) if since < 50 else usual(since)

    habit = Habit(rise=0.3, top=-18, low=-19.5, off=40, span=1.2, mean=-18.7, defrost=480, defrosted=HAPPENS - 470)
    course = play(28, spike)
    label = judge(course, course.end, habit, ROOM, Kind.UPRIGHT_AUTO_DEFROST).label
    assert label is Label.AUTO_DEFROST
    assert judge(course, course.end, habit, ROOM, Kind.CHEST).label is not Label.AUTO_DEFROST


@pytest.mark.parametrize("minutes", [0, 1, 5, 30, 150])
def test_without_a_habit_little_is_said(minutes: int) -> None:
    """A recording that begins at the outage cannot tell at first, and nothing crashes."""
    course = Course()
    for minute in range(minutes):
        course.take(minute, no_power(minute))
    assert judge(course, course.end, None, ROOM, Kind.CHEST).label is Label.CANNOT_TELL


def test_a_rise_over_hours_is_no_pause_of_any_freezer() -> None:
    """More than 3 K in more than 3 h, never falling, needs no habit."""
    course = Course()
    for minute in range(0, 300, 10):
        course.take(minute, round(no_power(minute), 1))
    assert judge(course, course.end, None, ROOM, Kind.CHEST).label is Label.POWER


def test_a_silent_sensor_tells_nothing() -> None:
    """Forty minutes after the last reading nothing is said."""
    course = play(60, no_power)
    habit = learn(course, HAPPENS, Kind.CHEST)
    assert judge(course, course.end + 40, habit, ROOM, Kind.CHEST).label is Label.CANNOT_TELL


def hold(labels: list[Label], **signs: bool) -> list[Judged]:
    """Step a label every 5 min."""
    holding = Holding()
    return [holding.step(Judged(label, Sure.HINT, 3), 5 * i, **signs) for i, label in enumerate(labels)]


def test_a_label_is_held_after_three_checks_and_alarms_after_twenty_minutes() -> None:
    """Two checks are not enough; five carry an alarm."""
    found = hold([Label.POWER] * 5)
    assert [f.held for f in found] == [False, False, True, True, True]
    assert [f.held_20 for f in found] == [False, False, False, False, True]
    assert found[-1].began == 3


def test_a_held_label_stays_until_another_is() -> None:
    """One look that says otherwise changes nothing; an hour of not knowing takes it back."""
    found = hold([Label.POWER] * 3 + [Label.NORMAL, Label.POWER] + [Label.CANNOT_TELL] * 12)
    assert all(f.label is Label.POWER for f in found[:-1])
    assert not found[-1].held


def test_asking_every_minute_counts_no_faster() -> None:
    """The looks that count are 5 min apart however often one asks."""
    holding = Holding()
    found = [holding.step(Judged(Label.POWER, Sure.HINT, 0), minute) for minute in range(11)]
    assert [f.held for f in found].index(True) == 10


def test_a_silence_begins_the_count_anew() -> None:
    """Looks an hour apart are not three in ten minutes."""
    holding = Holding()
    assert not any(holding.step(Judged(Label.POWER), 60 * i).held for i in range(6))


def test_a_mains_sensor_outranks_the_shape() -> None:
    """It says so at once, and surely."""
    found = hold([Label.NORMAL], mains_out=True)[0]
    assert (found.label, found.sure, found.held, found.held_20) == (Label.POWER, Sure.SURE, True, True)


def test_a_lid_contact_outranks_the_shape_of_a_warming() -> None:
    """An open lid explains a warming, and is none of itself."""
    assert hold([Label.POWER], lid_open=True)[0].label is Label.LID_OR_LOAD
    assert hold([Label.NORMAL], lid_open=True)[0].label is Label.NORMAL


def test_two_freezers_turning_together_mean_the_power() -> None:
    """Unless somebody fills both: then a steep start is younger than an hour."""
    assert hold([Label.CANNOT_TELL, Label.CANNOT_TELL, Label.CANNOT_TELL], others_turned=True)[-1].label is Label.POWER
    assert hold([Label.LID_OR_LOAD] * 3, others_turned=True)[-1].label is Label.LID_OR_LOAD
    assert hold([Label.LID_OR_LOAD] * 20, others_turned=True)[-1].label is Label.POWER
    assert hold([Label.ROOM_AIR] * 3, others_turned=True)[-1].label is Label.ROOM_AIR


def test_what_is_held_survives_packing() -> None:
    """A restart does not forget the count."""
    holding = Holding()
    for minute in (0, 5, 10):
        holding.step(Judged(Label.ROOM_AIR, Sure.LIKELY, 2), minute)
    assert unpack(Holding, pack(holding)) == holding


def gapped(since: int) -> float:
    """Leave a gap that the compressor cools against, on and off: warmer cycles of 40 min."""
    phase = since % 40
    return -16 - 2.2 * (phase / 20 if phase < 20 else (40 - phase) / 20) + 2 * exp(-since / 20) * min(1, since / 5)


def test_warm_cycles_after_an_opening_mean_the_lid_or_a_load() -> None:
    """A ripple that dips under the ceiling each time neither ends it nor looks like a stop of cooling."""
    course = play(240, gapped)
    habit, holding = learn(course, HAPPENS, Kind.CHEST), Holding()
    ends = range(HAPPENS + 1, course.end + 1, 5)
    said = [holding.step(judge(course, end, habit, ROOM, Kind.CHEST), end) for end in ends]
    assert {s.label for s in said if s.held} <= {Label.OPENED, Label.LID_OR_LOAD}
    assert said[-1].label is Label.LID_OR_LOAD


def test_a_look_under_the_lid_hides_no_outage() -> None:
    """The beginning stays where cooling stopped, though somebody opened the lid since."""

    def looked(since: int) -> float:
        return no_power(since) + (5 * exp(-(since - 120) / 5) if since >= 120 else 0)

    found = at(200, looked)
    assert found.label is Label.POWER
    assert abs(found.began - HAPPENS) <= 45


@pytest.mark.parametrize("seed", range(8))
def test_no_course_crashes(seed: int) -> None:
    """Gaps, jumps and a sensor that speaks when it likes give a label or none, at any minute."""
    dice, course = Random(seed), Course()
    air, minute = -18.0, 0
    while minute < 4 * 1440:
        minute += dice.choice([1, 1, 1, 5, 10, 30, 30, 200])
        air = max(-40.0, min(40.0, air + dice.gauss(0, dice.choice([0.05, 0.5, 8.0]))))
        course.take(minute, None if dice.random() < 0.1 else round(air, 1))
    holding = Holding()
    for kind in Kind:
        habit = learn(course, course.end - dice.randrange(600), kind)
        for end in range(course.end - 700, course.end + 60, 13):
            for known in (habit, None):
                assert holding.step(judge(course, end, known, ROOM, kind), end).label in Label
