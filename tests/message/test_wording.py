"""Messages: what happened, since when, how warm, how fast, and what to do now; in the household's units."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.alarm.kinds import KINDS
from gatewayd.message.wording import word
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.units import TemperatureUnit
from tests.days.player import BEGIN, BROKER, house

HOUSE = house(2)
FACTS: dict[str, Fact] = {
    "value": -9.4, "limit": -12.0, "since": BEGIN.wall - 48 * MINUTE, "lasted": 48 * MINUTE, "speed": 3.06,
    "peak": -8.1, "peak_at": BEGIN.wall - 10 * MINUTE,
}  # fmt: skip


def event(kind: str, what: What, subject: str = "shed-chest", **facts: Fact) -> Event:
    """Return an event of the evening."""
    return Event(12, BEGIN, subject, kind, what, Priority.HIGH, 1, 12, facts={**FACTS, **facts})


def test_warm_freezer_says_all_that_counts() -> None:
    """A warming freezer is told with place in time, temperature, speed, and one thing to do."""
    title, body = word(event("high", What.RAISED), HOUSE)

    assert title == "Heron Lane: Shed chest is too warm, −9.4 °C"
    assert "warmer than −12.0 °C since 08:58 (48 min)" in body
    assert "−9.4 °C now and rising by 3.1 °C an hour" in body
    assert "What to do now: Go and look: is the lid or door shut, is the plug in" in body
    assert "about 48 hours" in body
    assert "gatewayd ack 12" in body


def test_household_in_fahrenheit_reads_fahrenheit() -> None:
    """In a °F household temperatures and speeds are in °F: 15.1 °F is -9.4 °C, 3.06 K an hour is 5.5 °F an hour."""
    title, body = word(event("high", What.RAISED), replace(HOUSE, units=TemperatureUnit.F))

    assert title.endswith("15.1 °F")
    assert "10.4 °F since" in body
    assert "rising by 5.5 °F an hour" in body


@pytest.mark.parametrize("kind", ["highhigh", "high"])
def test_end_tells_peak_and_duration(kind: str) -> None:
    """The end of a warm spell tells how long, from when, and the warmest moment."""
    body = word(event(kind, What.OVER, value=-13.2), HOUSE)[1]

    assert "for 48 min, from 08:58" in body
    assert "the warmest was −8.1 °C (09:36)" in body


def test_food_advice_follows_the_published_rule() -> None:
    """Much too warm: ice crystals or 40 °F keep, never taste, when in doubt throw out (USDA, power outages)."""
    body = word(event("highhigh", What.RAISED), HOUSE)[1]

    for words in (
        "ice crystals",
        "4.4 °C (40 °F) or colder",
        "Never taste",
        "When in doubt, throw it out",
        "come first",
    ):
        assert words in body


def test_yesterday_is_called_so() -> None:
    """A spell that began on another day says on which."""
    later = Moment(BEGIN.wall + 20 * HOUR, BEGIN.steady, BEGIN.boot)
    body = word(replace(event("high", What.OVER), at=later), HOUSE)[1]

    assert "from yesterday 08:58" in body


def test_lost_source_names_what_is_not_heard() -> None:
    """A lost broker is told with its reason and the freezers that depend on it."""
    title, body = word(event("source-down", What.RAISED, BROKER, reason="the password was refused"), HOUSE)

    assert title == "Heron Lane: Home broker is not reachable"
    assert "the password was refused" in body
    assert "Shed chest and Cellar upright" in body


WHATS = st.sampled_from(list(What))
KIND_NAMES = st.sampled_from([*KINDS, "dark", "clock", "start", "settings", "something-new"])
ANY_FACT = st.none() | st.booleans() | st.integers(-(2**40), 2**40) | st.floats(-100, 100) | st.text(max_size=20)


FACT_NAMES = st.sampled_from([*FACTS, "reason", "why", "text", "rising", "moved", "until"])
SUBJECTS = st.sampled_from(["shed-chest", "shed-chest-air", BROKER, "gone"])


@given(KIND_NAMES, WHATS, SUBJECTS, st.dictionaries(FACT_NAMES, ANY_FACT))
def test_any_event_has_words(kind: str, what: What, subject: str, facts: dict[str, Fact]) -> None:
    """Whatever the facts, there is a title and a body in words, without leftovers of code."""
    title, body = word(Event(3, BEGIN, subject, kind, what, Priority.LOW, 1, 3, facts=facts), HOUSE)

    assert title.startswith("Heron Lane: ")
    assert "Message 3." in body
    if not any(isinstance(fact, str | bool) for fact in facts.values()):
        assert not re.search(r"None|\{|\}|_|True|False", title + body)
