"""The published rule of hours, and what to go by: the earliest of rule, range and sensor."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.rule import (
    FULL,
    FULL_HOURS,
    HALF_HOURS,
    HOLDS,
    Guide,
    beside,
    guide,
    holds,
    over,
    sparse,
    thawing,
)
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import HOUR
from tests.message.scene import FORECAST, HOUSE, NO_POWER, ago, event

LESS = "Go by the early end, which comes before the government's 48 hours (24 if half full) are over."
RULE = "Go by the government's rule: shut, a full freezer holds about 48 hours, a half-full one 24."
BESIDE = "The government's 48 hours, 24 if half full, count from when cooling stopped."
LONG: dict[str, Fact] = {"left_early": 30.0, "left_likely": 50.0, "left_late": 90.0}


def of(kind: str = "high", what: What = What.RAISED, **facts: Fact) -> Event:
    """Return an event of the night's forecast with some facts changed."""
    return event(kind, what, **{**FORECAST, "value": -11.0, **facts})


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, LESS),
        ({"left_likely": None}, LESS),
        ({"hours_off": 20.0, "left_early": 3.0, "left_likely": 5.0}, LESS),
        ({**LONG, "beyond_rule": True}, RULE),
        ({**LONG, "hours_off": 0.4}, RULE),
        ({**LONG, "hours_off": 1.2}, f"{RULE} 1 of them is gone."),
        ({**LONG, "hours_off": 6.0}, f"{RULE} 6 of them are gone."),
        ({**LONG, "hours_off": 6.0, "full": 0.9}, LESS),
        ({**LONG, "hours_off": 20.0, "full": 0.9}, f"{RULE} 20 of them are gone."),
        ({**LONG, "hours_off": 30.0, "full": 0.5}, "The government's 24 hours for a half-full freezer are over."),
        (
            {**LONG, "hours_off": 30.0},
            "The government's 24 hours for a half-full freezer are over (a full one has 48).",
        ),
        ({**LONG, "hours_off": 50.0, "full": 0.9}, "The government's 48 hours, 24 if half full, are over."),
        (
            {**LONG, "value": -9.0},
            "Go by its sensor, which is past that already, and not by the government's 48 hours (24 if half full).",
        ),
        (
            {"full": 0.2},
            "It is well below half full, which the government's rule does not cover. Go by the early end.",
        ),
        ({"left_early": 0.0, "hours_off": 2.0}, LESS),
    ],
)  # fmt: skip
def test_the_earliest_counts(facts: dict[str, Fact], words: str) -> None:
    """Rule, early end and sensor: whichever is first is what to go by, and what of the rule is gone is said."""
    assert holds(of(**facts), HOUSE) == words


HOURS = "the government's 48 hours (24 if half full)"
SPARSE_TEXT = "It is well below half full, which the government's rule does not cover."


@pytest.mark.parametrize(
    ("facts", "who", "words"),
    [
        ({}, "", f"It may be only 4 h until the warmest food is at −9.4 °C, sooner than {HOURS}: go by that."),
        (
            {},
            "Porch chest",
            f"It may be only 4 h until the warmest food in Porch chest is at −9.4 °C, sooner than {HOURS}: go by that.",
        ),
        (
            {"left_early": 0.0, "left_level": 0.0},
            "",
            f"The warmest food may be at 0 °C already, sooner than {HOURS}: go by that.",
        ),
        ({"value": -9.0}, "", f"Go by its sensor, which is past −9.4 °C already, and not by {HOURS}."),
        (
            {"full": 0.2},
            "",
            f"{SPARSE_TEXT} It may be only 4 h until the warmest food is at −9.4 °C: go by that.",
        ),
        ({**LONG, "beyond_rule": True}, "", RULE),
    ],
)  # fmt: skip
def test_a_page_names_the_early_end(facts: dict[str, Fact], who: str, words: str) -> None:
    """Where no message tells the range above the advice, the advice says what is early: how long, and until what."""
    assert holds(of(what=What.NOTED, **facts), HOUSE, who) == words


def test_without_a_range_the_rule_stands_alone() -> None:
    """Without a forecast there is the rule as it is published, with what of it is gone."""
    for facts in ({}, {"beyond_rule": True}):
        assert holds(event("high", What.RAISED, **facts), HOUSE) == HOLDS
    assert holds(event("high", What.RAISED, hours_off=5.0), HOUSE) == f"{HOLDS} 5 of them are gone."
    assert beside(event("high", What.RAISED, beyond_rule=True)) == ""


def test_the_rule_in_short() -> None:
    """Beside other advice the rule is short, and never what to go by where its time is over or the food is there."""
    assert beside(of(**{**LONG, "beyond_rule": True})) == f"{BESIDE} Go by them."
    assert beside(of(**LONG, hours_off=3.0)) == f"{BESIDE} 3 of them are gone. Go by them."
    assert beside(of()) == LESS
    for facts in ({"left_early": 0.0}, {"hours_off": 30.0}, {"full": 0.1}, {"value": -3.0}):
        assert "Go by them" not in beside(of(**{**LONG, "beyond_rule": True, **facts}))


def test_a_reminder_has_no_rule() -> None:
    """A reminder says only where the rule ends before the range does."""
    assert holds(of(what=What.REPEATED), HOUSE) == beside(of(what=What.REPEATED)) == ""
    assert holds(of(what=What.REPEATED, **LONG, hours_off=3.0), HOUSE) == "The government's rule is shorter: go by it."
    assert beside(of(what=What.REPEATED, **LONG, hours_off=30.0)) == "The government's hours are over."


@pytest.mark.parametrize(
    ("kind", "facts"),
    [("rising", {"since": ago(30 * HOUR)}), ("high", {**NO_POWER, "cause_since": ago(30 * HOUR)})],
)
def test_hours_are_counted_from_what_is_known(kind: str, facts: dict[str, Fact]) -> None:
    """Where nobody counted the hours, the time at which cooling or power stopped does."""
    assert over(of(kind, **facts))
    assert not over(of("high", since=ago(30 * HOUR)))
    assert not over(of(kind, **{**facts, "hours_off": 3.0}))


@pytest.mark.parametrize(
    ("facts", "looked"),
    [
        ({}, False),
        ({"value": -6.7}, False),
        ({"value": -6.6}, True),
        ({"hours_off": 23.0}, False),
        ({"hours_off": 24.0}, True),
        ({"hours_off": 24.0, "full": 0.8}, False),
        ({"left_level": 4.4, "left_early": 0.0}, True),
        ({"left_level": 4.4, "left_early": 3.0}, False),
        ({"value": None}, False),
    ],
)
def test_when_the_food_is_to_be_looked_at(facts: dict[str, Fact], looked: bool) -> None:
    """The food is looked at once the rule is over, the air softens it, or it may be beyond the chart's limit."""
    assert thawing(of(**facts)) is looked


def test_the_figures_are_those_of_the_watch() -> None:
    """A full freezer is full, and the rule has its hours, here as in the watch."""
    assert guide(of(**LONG, full=FULL, hours_off=0.0)) is Guide.EARLY
    assert guide(of(**LONG, full=FULL - 0.01, hours_off=0.0)) is Guide.RULE
    assert over(of(full=FULL, hours_off=FULL_HOURS))
    assert not over(of(full=FULL, hours_off=FULL_HOURS - 0.1))
    assert over(of(hours_off=HALF_HOURS))


@pytest.mark.parametrize("full", [None, True, float("nan"), "half", 0.35])
def test_what_is_not_known_is_not_sparse(full: Fact) -> None:
    """Only a known share of food makes a freezer too empty for the rule."""
    assert not sparse(of(full=full))


@given(st.floats(0, 200), st.floats(0, 200), st.one_of(st.none(), st.floats(0, 1)), st.floats(-25, 5))
def test_the_rule_is_gone_by_only_if_it_ends_first(early: float, off: float, full: float | None, value: float) -> None:
    """Nobody is ever sent to the rule where range or sensor are earlier, where it is over, or does not speak of it."""
    happened = of("highhigh", left_early=early, hours_off=off, full=full, value=value)
    rest = (FULL_HOURS if full is not None and full >= FULL else HALF_HOURS) - off
    by_rule = 0 < rest < early and value < -9.4 and (full is None or full >= 0.35)

    assert ("Go by them" in beside(happened)) is by_rule
    assert ("Go by the government" in holds(happened, HOUSE)) is by_rule
