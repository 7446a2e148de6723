"""How much time is left, and why: which facts a message gets of a forecast and a cause."""

import pytest

from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.outlook import LEVELS, Cause, Label, Outlook, Span, Sure, Where
from gatewayd.watch.left import left, told, why

AT = Moment(1_795_600_000_000, 90 * HOUR)


def spans(*likely: float | None) -> tuple[Span, ...]:
    """Return the rows of the food, likely reached after so many hours; early is half and late twice that."""
    return tuple(
        Span(Where.FOOD, level, None if h is None else h / 2, h, None if h is None else h * 2)
        for level, h in zip(LEVELS, likely, strict=True)
    )


def outlook(*likely: float | None, since: Moment | None = AT, full: float | None = 1.0) -> Outlook:
    """Return a forecast of a freezer that has just stopped cooling."""
    return Outlook(AT, (), spans(*likely), since, calibrated=True, full=full)


def test_the_first_level_ahead_is_told() -> None:
    """The row that is told is that of the first of 15 °F, ice and 40 °F that is not likely passed yet."""
    rows = spans(1.0, 2.0, 3.0, 40.0, 60.0)

    assert [getattr(told(rows, age), "level", None) for age in (0.5, 2.5, 50.0, 70.0)] == [-9.4, 0.0, 4.4, 4.4]
    assert told((), 1.0) is None


def test_age_is_counted_off() -> None:
    """What is left is counted from the moment of the message, never below nothing."""
    facts = left(outlook(5.0, 1.0, 14.0, 60.0, 80.0), AT.later(45 * MINUTE))

    assert facts == {
        "left_where": "food",
        "left_level": -9.4,
        "left_early": 0.0,
        "left_likely": 0.25,
        "left_late": 1.25,
        "hours_off": 0.75,
        "full": 1.0,
        "calibrated": True,
        "beyond_rule": False,
    }


@pytest.mark.parametrize(
    ("since", "age", "known"),
    [(AT, HOUR, True), (AT, HOUR + 1, False), (None, 2 * HOUR, True), (None, 4 * HOUR, False), (None, -MINUTE, False)],
)
def test_old_forecasts_are_not_told(since: Moment | None, age: int, known: bool) -> None:
    """A forecast older than an hour in a warming is not told, nor one older than three, nor one of the future."""
    assert bool(left(outlook(9.0, 9.0, 9.0, 9.0, 9.0, since=since), AT.later(age))) is known


def test_never_reached_is_left_out() -> None:
    """A level that is not reached within 9 days has no hours, and lies beyond the government's rule."""
    facts = left(outlook(1.0, None, None, None, None), AT.later(HOUR))

    assert "left_early" not in facts
    assert facts["beyond_rule"] is True


@pytest.mark.parametrize(
    ("full", "hours", "beyond"), [(1.0, 100, True), (1.0, 90, False), (0.5, 50, True), (None, 50, True)]
)
def test_rule_goes_by_how_full_it_is(full: float | None, hours: float, beyond: bool) -> None:
    """The rule gives a full freezer 48 hours and any other 24, counted from when cooling stopped."""
    facts = left(outlook(0.0, 0.0, 0.0, hours, hours, full=full), AT)

    assert facts["beyond_rule"] is beyond


def test_only_a_held_cause_is_told() -> None:
    """A cause that has not held, or that says nothing, gives no facts; one that has gives label, surety and begin."""
    held = Cause(Label.POWER, Sure.SURE, held=True, since=AT)

    assert why(held) == {"cause": "power", "cause_sure": "sure", "cause_since": AT.wall}
    assert why(Cause(Label.POWER, Sure.SURE)) == {}
    assert why(Cause(Label.NORMAL, Sure.SURE, held=True)) == {}
    assert why(Cause(Label.CANNOT_TELL, held=True)) == {}


def test_one_warming_has_one_beginning() -> None:
    """Where alarm and cause see a stop within 45 min of each other the alarm's time is told; else each has its own."""
    stop = Cause(Label.POWER, Sure.SURE, held=True, since=AT)

    for minutes, moved in ((25, 25), (-45, -45), (46, 0)):
        assert why(stop, AT.later(minutes * MINUTE))["cause_since"] == AT.wall + moved * MINUTE
    lid = Cause(Label.LID_OR_LOAD, Sure.SURE, held=True, since=AT)
    assert why(lid, AT.later(25 * MINUTE))["cause_since"] == AT.wall
