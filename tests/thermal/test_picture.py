"""The thermal picture of one freezer, minute by minute."""

import json
from itertools import chain, repeat

import pytest

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.model.outlook import Label, Where
from gatewayd.model.pack import pack, unpack
from gatewayd.thermal.computing import compute
from gatewayd.thermal.course import Course
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.picture import Kept, Picture, row
from tests.thermal.courses import DAY, at, play, running, stopped

FACTS = Facts(Kind.CHEST, 400, {Group.MEAT: 80, Group.PRODUCE: 30}, 18)


@pytest.fixture(scope="module")
def day() -> str:
    """Return what a picture keeps of a day and a half of ordinary running."""
    picture = Picture(FACTS)
    play(picture, running(DAY * 3 // 2), 0, fits=False)
    play(picture, running(1), DAY * 3 // 2 - 1)
    return json.dumps(pack(picture.kept))


def after(day: str, *, boot: str = "one", wall: int = 30_000_000) -> Picture:
    """Return a picture restored after that day, its course filled from the store."""
    picture = Picture(FACTS, kept=unpack(Kept, json.loads(day)))
    shift = 30_000_000 - wall
    for minute, value in enumerate(running(DAY * 3 // 2)):
        picture.take(minute + shift, value)
    picture.look(at(DAY * 3 // 2 + shift, boot, wall))
    return picture


def test_ordinary_day_has_a_reserve_and_a_habit(day: str) -> None:
    """In ordinary running it holds the standing reserve, called a guess, and knows the freezer's habit."""
    picture = after(day)
    minute = play(picture, running(120), DAY * 3 // 2)
    assert picture.state(minute) == "as usual"
    assert picture.outlook is not None
    assert not picture.outlook.calibrated
    food = row(picture.outlook.reserve, Where.FOOD, -9.4)
    assert food is not None
    assert food.early is not None
    assert food.early > 1
    assert picture.kept.habit is not None
    assert picture.kept.habit.top == pytest.approx(-17.0, abs=0.3)


def test_plug_pulled_is_warming_with_a_cause(day: str) -> None:
    """Two hours without cooling are a warming since its low, by the power, with a forecast ten minutes old at most."""
    picture = after(day)
    minute = play(picture, stopped(150), DAY * 3 // 2)
    assert picture.state(minute) == "warming"
    assert picture.cause.label is Label.POWER
    assert picture.cause.held
    assert picture.outlook is not None
    assert picture.outlook.since is not None
    assert abs(picture.outlook.since.steady // 60_000 - DAY * 3 // 2) <= 15
    assert minute - picture.outlook.at.steady // 60_000 <= 10


def test_early_is_never_later_after_a_gap(day: str) -> None:
    """Readings that come back colder after a gap do not move the early end later."""
    picture = after(day)
    minute = play(picture, stopped(170), DAY * 3 // 2, fits=False)
    minute = play(picture, list(stopped(180))[170:], minute)
    minute = play(picture, repeat(None, 90), minute)
    assert picture.outlook is not None
    before = {
        (s.where, s.level): picture.outlook.at.steady / 3_600_000 + s.early
        for s in picture.outlook.forecast
        if s.early is not None
    }
    last = list(stopped(181))[-1]
    minute = play(picture, (last - 0.5 + k * 0.001 for k in range(40)), minute)
    assert picture.outlook is not None
    for span in picture.outlook.forecast:
        known = before.get((span.where, span.level))
        if known is not None:
            assert span.early is not None
            assert span.early == 0 or picture.outlook.at.steady / 3_600_000 + span.early <= known + 0.011


def test_early_is_never_later_after_a_restart(day: str) -> None:
    """A restart in another boot within an outage keeps the early end that was told."""
    picture = after(day)
    minute = play(picture, stopped(170), DAY * 3 // 2, fits=False)
    minute = play(picture, list(stopped(180))[170:], minute)
    assert picture.outlook is not None
    told = {(s.where, s.level): picture.outlook.at.wall + s.early * 3.6e6 for s in picture.outlook.forecast if s.early}
    kept = unpack(Kept, json.loads(json.dumps(pack(picture.kept))))
    other = Picture(FACTS, kept=kept)
    wall = 30_000_000 + minute + 5  # the new boot's slot 0, five minutes after
    for at_slot, value in enumerate(chain(running(DAY * 3 // 2), stopped(180))):
        other.take(at_slot - minute - 5, value)
    play(other, (v for i, v in enumerate(stopped(240)) if i >= 185), 0, wall=wall, boot="two")
    assert other.outlook is not None
    assert other.beyond
    for span in other.outlook.forecast:
        if (span.where, span.level) in told and span.early is not None:
            assert (
                span.early == 0 or other.outlook.at.wall + span.early * 3.6e6 <= told[span.where, span.level] + 60_000
            )


def test_outage_teaches(day: str) -> None:
    """An outage of some hours that ends teaches: no guess any more, and a narrower range of its air."""
    picture = after(day)
    minute = play(picture, running(120), DAY * 3 // 2)
    assert picture.outlook is not None
    guess = row(picture.outlook.reserve, Where.PROBE, -6.7)
    minute = play(picture, stopped(300), minute, fits=False)
    minute = play(picture, (max(-20.0, -11 - 0.2 * k) for k in range(100)), minute)
    minute = play(picture, running(DAY), minute, fits=False)
    play(picture, running(2), minute)
    assert [lesson.how for lesson in picture.kept.lessons] == ["outage"]
    known = row(picture.outlook.reserve, Where.PROBE, -6.7)
    assert picture.outlook.calibrated
    assert guess is not None
    assert known is not None
    assert known.late / known.early < guess.late / guess.early  # type: ignore[operator]


def test_lid_look_restarts_nothing(day: str) -> None:
    """A look under the lid in an outage leaves the beginning where it was."""
    picture = after(day)
    values = list(stopped(400))
    for k in range(200, 212):
        values[k] += 6.0
    play(picture, iter(values), DAY * 3 // 2, fits=False)
    assert picture.warm is not None
    assert abs(picture.warm - DAY * 3 // 2) <= 15
    assert picture.beyond


def test_cooling_again_ends_it(day: str) -> None:
    """When it cools again the warming is over within half an hour."""
    picture = after(day)
    minute = play(picture, stopped(300), DAY * 3 // 2, fits=False)
    last = list(stopped(300))[-1]
    play(picture, (last - 0.15 * k for k in range(30)), minute)
    assert not picture.beyond


def test_nothing_heard_wants_nothing() -> None:
    """A freezer that was never heard wants no computation and has no outlook."""
    picture = Picture(FACTS)
    picture.look(at(5))
    assert picture.wanted(at(5)) is None
    assert picture.state(5) == "not heard"
    assert picture.food is None


def test_one_computation_at_a_time(day: str) -> None:
    """While one computation runs no other is wanted, and a failed one is asked for again later."""
    picture = after(day)
    now = at(DAY * 3 // 2 + 1)
    wanted = picture.wanted(now)
    assert wanted is not None
    assert picture.wanted(at(DAY * 3 // 2 + 100)) is None
    picture.failed()
    picture.take(DAY * 3 // 2 + 99, -18.0)
    assert picture.wanted(at(DAY * 3 // 2 + 100)) is not None


def test_new_contents_are_asked_anew(day: str) -> None:
    """Other contents make the reserve anew at once, longer with more food."""
    picture = after(day)
    minute = play(picture, running(70), DAY * 3 // 2)
    assert picture.outlook is not None
    before = row(picture.outlook.reserve, Where.FOOD, -9.4)
    picture.tell(Facts(Kind.CHEST, 400, {Group.MEAT: 120, Group.PRODUCE: 30}, 18))
    play(picture, running(2), minute)
    more = row(picture.outlook.reserve, Where.FOOD, -9.4)
    assert before is not None
    assert more is not None
    assert more.likely > before.likely  # type: ignore[operator]


def test_course_of_any_reading_never_raises() -> None:
    """A course of one reading, of gaps only or of equal ones computes without a fault."""
    for values in ([-18.0], [-18.0] * 2000, [-18.0] + [None] * 800 + [-5.0], [30.0] * 400, [-39.9] * 400):
        picture = Picture(FACTS)
        play(picture, iter(values), 0, fits=False)
        result = compute(picture.ask(len(values), whole=True))
        picture.fitted(result, at(len(values)))
        assert picture.outlook is not None


def test_course_copies_apart() -> None:
    """A copy for another thread does not change with the course."""
    course = Course()
    course.take(0, -18.0)
    other = course.copy()
    course.take(0, -16.0)
    course.take(1, -15.0)
    assert (len(other), other.air[0], course.air[0]) == (1, -18.0, -17.0)


def test_silence_in_a_warming_forgets_nothing(day: str) -> None:
    """A sensor that falls silent in an outage leaves the cause, the beginning and the word for it as they were."""
    picture = after(day)
    minute = play(picture, stopped(150), DAY * 3 // 2, fits=False)
    before = picture.cause
    minute = play(picture, repeat(None, 180), minute, fits=False)
    assert before.label is Label.POWER
    assert picture.cause.label is Label.POWER
    assert picture.cause.held
    assert picture.state(minute) == "warming when last heard"
    assert picture.warm is not None
    assert abs(picture.warm - DAY * 3 // 2) <= 15


def test_first_reading_is_heard() -> None:
    """A reading of this very minute is one: nothing is called not heard after a start."""
    picture = Picture(FACTS)
    picture.take(7, -18.0)
    assert picture.state(7) == "as usual"
