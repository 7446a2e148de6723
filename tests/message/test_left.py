"""How long is left: one range, the early end first, rounded to the safe side, the published rule beside it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.left import LONGEST, STEPS, left, rounded, span_of, told
from gatewayd.model.event import Fact, What
from gatewayd.model.outlook import LEVELS
from gatewayd.model.units import TemperatureUnit
from gatewayd.watch.left import LEVELS as TELLS
from tests.message.scene import FORECAST, HOUSE, event

FAHRENHEIT = replace(HOUSE, units=TemperatureUnit.F)
GUESS = " (a guess until a test switch-off)"


def said(**changes: Fact) -> str:
    """Return what is said of the night's forecast, of a freezer that has been tested, with some facts changed."""
    facts = {**FORECAST, "calibrated": True, **changes}
    return left(event("high", What.RAISED, **{k: v for k, v in facts.items() if v is not None}), FAHRENHEIT)


def test_one_range_early_first() -> None:
    """There is one range, its early end first and its late end no promise."""
    assert said() == "If nothing cools it, the warmest food may reach 15 °F in 4 h, perhaps only in 11 h."
    assert "the air at its probe may reach" in said(left_where="probe")


@pytest.mark.parametrize("calibrated", [False, None, "yes"])
def test_it_is_a_guess_until_a_test(calibrated: Fact) -> None:
    """Whatever is not said to have been taught by a test or an outage is called a guess."""
    assert said(calibrated=calibrated).endswith(f"11 h{GUESS}.")


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"left_early": 0}, "The warmest food may be at 15 °F already; if nothing cools it, perhaps only in 11 h."),
        ({"left_early": 0.05}, "The warmest food may be at 15 °F already; if nothing cools it, perhaps only in 11 h."),
        ({"left_early": 0, "left_late": None}, "The warmest food may be at 15 °F already, or not for days."),
        ({"left_early": 0, "left_late": 0.0}, "The warmest food is most likely past 15 °F already."),
        ({"left_late": None}, "If nothing cools it, the warmest food may reach 15 °F in 4 h, or not for days."),
        ({"left_early": 110.0, "left_late": None}, "the warmest food may reach 15 °F in 4 days, or much later."),
        ({"left_early": 5.0, "left_late": 5.0}, "the warmest food may reach 15 °F in about 5 h."),
        ({"left_early": 5.0, "left_late": 2.0}, "the warmest food may reach 15 °F in about 5 h."),
    ],
)
def test_ends_of_the_range_that_are_none(facts: dict[str, Fact], words: str) -> None:
    """What is reached already, and what is not reached for days, is said in words."""
    assert said(**facts).endswith(words)


@pytest.mark.parametrize(
    "facts",
    [
        {"left_early": None},
        {"left_early": float("nan")},
        {"left_early": LONGEST + 1},
        {"left_level": "warm"},
        {"left_where": None},
        {"cause": "room-air", "cause_sure": "likely"},
    ],
)
def test_what_is_not_known_is_not_said(facts: dict[str, Fact]) -> None:
    """Without an early end, a level or a place nothing is said, nor of a probe that hangs in the room's air."""
    assert said(**facts) == ""


def test_a_freezer_of_several_and_one_unheard() -> None:
    """A message of several freezers names the one, and one of a silent freezer says what it supposes."""
    happened = event("unwatched", What.RAISED, **{**FORECAST, "calibrated": True})

    assert "the warmest food in Porch chest may reach" in left(happened, HOUSE, inside="Porch chest")
    assert left(happened, HOUSE, unheard=True) == (
        "If nothing has cooled it since it was last heard, the warmest food may reach −9.4 °C in 4 h, perhaps only in "
        "11 h."
    )


def test_a_lid_is_to_blame() -> None:
    """Where a lid is likely ajar its compressor runs: the range is for one that stays so, and none as it cools."""
    ajar: dict[str, Fact] = {"cause": "lid-or-load", "cause_sure": "likely"}

    assert said(**ajar).startswith("If the lid stays open, the warmest food may reach")
    assert said(**{**ajar, "cause_sure": "hint"}).startswith("If nothing cools it")
    assert said(**ajar, speed=2.0) != ""
    assert said(**ajar, speed=-1.0) == ""
    assert said(cause="power", cause_sure="likely", speed=-1.0) != ""


def test_an_open_lid_needs_no_cause() -> None:
    """A lid that is told to be open stays so or is shut; only a cut makes it a matter of nothing cooling."""
    facts = {**FORECAST, "calibrated": True}

    assert left(event("lid-open", What.RAISED, **facts), HOUSE).startswith("If the lid stays open")
    assert left(event("lid-open", What.RAISED, **facts, mains="out"), HOUSE).startswith("If nothing cools it")


def test_the_steps_are_those_that_the_watch_tells() -> None:
    """A range goes from level to level as the watch does."""
    assert STEPS == TELLS


@pytest.mark.parametrize(
    ("level", "words"),
    [
        (-9.4, ""),
        (0.0, " 32 °F counts now: it is most likely past 15 °F."),
        (4.4, " 40 °F counts now: it is most likely past 32 °F."),
    ],
)
def test_another_level_says_why(level: float, words: str) -> None:
    """Where another level counts than in the first message, it is said that the one before is passed; not twice."""
    again = event("high", What.REPEATED, **{**FORECAST, "left_level": level})

    assert said(left_level=level).partition("11 h.")[2] == words
    assert "counts now" not in left(again, HOUSE)
    assert "counts now" not in said(left_level=level, left_early=0, left_late=0)


def test_a_reminder_calls_it_a_guess_in_short() -> None:
    """What makes it a guess is said once; a reminder has the word alone."""
    assert left(event("high", What.REPEATED, **FORECAST), HOUSE).endswith("11 h (a guess).")


@pytest.mark.parametrize(
    ("hours", "down", "up"),
    [
        (0.0, "", ""),
        (0.7, "40 min", "45 min"),
        (0.75, "45 min", "45 min"),
        (0.99, "55 min", "1 h"),
        (1.9, "1 h 30 min", "2 h"),
        (3.99, "3 h 30 min", "4 h"),
        (11.2, "11 h", "12 h"),
        (72.0, "72 h", "72 h"),
        (73.0, "3 days", "4 days"),
        (200.0, "8 days", "9 days"),
    ],
)
def test_hours_are_rounded_to_the_safe_side(hours: float, down: str, up: str) -> None:
    """The early end is rounded down and the late end up, in steps that a forecast can be trusted to."""
    assert (rounded(hours), rounded(hours, up=True)) == (down, up)


@given(st.floats(0, LONGEST), st.floats(0, LONGEST))
def test_less_time_never_reads_as_more(one: float, other: float) -> None:
    """Of two times the shorter one is never written as the longer one."""
    units = {"min": 1, "h": 60, "days": 24 * 60}

    def minutes(text: str) -> int:
        parts = text.split()
        return sum(int(number) * units[unit] for number, unit in zip(parts[::2], parts[1::2], strict=True))

    short, long = sorted((one, other))
    assert minutes(rounded(short)) <= minutes(rounded(long))
    assert minutes(rounded(short)) <= short * 60 + 1e-3
    assert minutes(rounded(long, up=True)) >= long * 60 - 1e-3


@pytest.mark.parametrize(
    ("early", "late", "words"),
    [
        (14.0, 40.0, "14 to 40 h"),
        (20.0, 96.0, "20 h to 4 days"),
        (0.5, 1.5, "30 min to 1 h 30 min"),
        (1.5, 6.0, "1 h 30 min to 6 h"),
        (80.0, 140.0, "3 to 6 days"),
        (14.0, None, "14 h or much longer"),
        (0.0, 3.0, "0 to 3 h"),
        (5.0, 5.0, "5 h"),
    ],
)
def test_a_range_names_its_unit_once(early: float, late: float | None, words: str) -> None:
    """A range of hours is said as people do, with the unit once where both ends have the same."""
    assert span_of(early, late) == words


@pytest.mark.parametrize(
    ("level", "celsius", "fahrenheit"),
    [
        (LEVELS[0], "−12 °C", "10 °F"),
        (LEVELS[1], "−9.4 °C", "15 °F"),
        (LEVELS[2], "−6.7 °C", "20 °F"),
        (LEVELS[3], "0 °C", "32 °F"),
        (LEVELS[4], "4.4 °C", "40 °F"),
    ],
)
def test_levels_are_those_of_the_charts(level: float, celsius: str, fahrenheit: str) -> None:
    """A level is the round figure of the published charts in °F, and the same without needless digits in °C."""
    happened = event("high", What.RAISED, **{**FORECAST, "left_level": level})

    assert told(happened)
    assert f"reach {celsius} in" in left(happened, HOUSE)
    assert f"reach {fahrenheit} in" in left(happened, FAHRENHEIT)
