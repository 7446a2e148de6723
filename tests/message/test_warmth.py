"""What a freezer does: too warm, no longer cooling, open, too cold, and the end of each."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import Fact, What
from gatewayd.model.moment import HOUR
from tests.message.scene import HOUSE, STOPPED, ago, event, turn


def test_warm_freezer_says_all_that_counts() -> None:
    """A warming freezer is told with place in time, temperature, speed, and one thing to do."""
    title, body = word(turn("high", What.RAISED), HOUSE)

    assert title == "Heron Lane: Shed chest is too warm, −9.4 °C"
    assert "Shed chest (shed) has been warmer than −12.0 °C since 02:24 (48 min)." in body
    assert "It is at −9.4 °C now and rising by 3.1 °C an hour." in body
    assert "What to do now: Look at lid, plug and breaker; does it run? Then keep it shut." in body
    assert "about 48 hours, a half-full one for about 24" in body


def test_food_advice_follows_the_published_rule() -> None:
    """Much too warm: ice crystals or 40 °F keep, never taste, when in doubt throw out (USDA, power outages)."""
    title, body = word(turn("highhigh", What.RAISED), HOUSE)

    assert title == "Heron Lane: Shed chest is much too warm, −4.1 °C"
    for words in ("ice crystals", "4.4 °C (40 °F) or colder", "Never taste", "When in doubt, throw it out", "first"):
        assert words in body


@pytest.mark.parametrize(("rising", "words"), [(True, "is too warm and getting warmer"), (False, "is still too warm")])
def test_growing_worse_says_that_it_warms(rising: bool, words: str) -> None:
    """An alarm that became more urgent because it warms says so, and says no such thing if it does not."""
    title, body = word(turn("high", What.WORSE, rising=rising), HOUSE)

    assert words in title
    assert "It is more urgent now." in body


@pytest.mark.parametrize("kind", ["highhigh", "high"])
def test_end_tells_peak_and_duration(kind: str) -> None:
    """The end of a warm spell tells how long, from when, the warmest moment, and to look why."""
    title, body = word(turn(kind, What.OVER, peak=-8.1, latched=False), HOUSE)

    assert title == "Heron Lane: Shed chest is cold again, −13.2 °C"
    assert "for 48 min, from 02:24" in body
    assert "the warmest was −8.1 °C (03:02)" in body
    assert "If nobody knows why, look at lid, plug and gasket in daylight." in body
    assert "gatewayd checked" not in body
    assert "ice crystals" not in body


def test_end_after_a_thaw_asks_to_look_at_the_food() -> None:
    """A spell beyond the upper limit that ends by itself still says to look at the food."""
    body = word(turn("highhigh", What.OVER, peak=-3.0, latched=False), HOUSE)[1]

    assert "Look at the food before you trust it." in body
    assert "gatewayd checked" not in body


def test_latched_end_waits_for_a_decision() -> None:
    """What must be looked at says so, that it stays in the list, and the command that ends it."""
    body = word(turn("highhigh", What.OVER), HOUSE)[1]

    assert "The food must be looked at" in body
    assert "stays in the list until somebody says what was decided" in body
    assert 'gatewayd checked shed-chest --why "kept all; still hard"' in body


def test_rising_says_how_long_is_left() -> None:
    """A freezer that stopped cooling says since when, at what pace, and when it will be too warm."""
    title, body = word(turn("rising", What.RAISED), HOUSE)

    assert title == "Heron Lane: Shed chest has stopped cooling, −16.1 °C"
    assert "has not cooled since 01:07 (2 h 5 min)" in body
    assert "At this pace it reaches −12.0 °C in about 3 h." in body
    assert "Check plug, breaker and lid" in body


@pytest.mark.parametrize("missing", ["eta", "limit"])
def test_rising_without_an_estimate_says_none(missing: str) -> None:
    """Without a limit or a time to it nothing is said of either."""
    facts: dict[str, Fact] = {fact: value for fact, value in STOPPED.items() if fact != missing}

    assert "reaches" not in word(event("rising", What.RAISED, **facts), HOUSE)[1]


@pytest.mark.parametrize(
    ("facts", "guessed"),
    [
        ({"contact": True}, False),
        ({"how": "contact"}, False),
        ({"inferred": False}, False),
        ({"inferred": True}, True),
        ({"contact": False}, True),
        ({}, True),
    ],
)
def test_an_inferred_lid_is_probably_open(facts: dict[str, Fact], guessed: bool) -> None:
    """Only what a contact said is certain; everything else is called probable, at the end too."""
    for what in (What.RAISED, What.WORSE, What.REPEATED, What.OVER):
        title, body = word(event("lid-open", what, **facts), HOUSE)
        assert ("probably" in title) == ("probably" in body) == guessed


def test_an_upright_has_a_door() -> None:
    """A chest has a lid, an upright has a door."""
    assert word(event("lid-open", What.RAISED, contact=True), HOUSE)[0].endswith("the lid of Shed chest is open")
    door = word(event("lid-open", What.RAISED, "cellar-upright", contact=True), HOUSE)
    assert door[0].endswith("the door of Cellar upright is open")
    assert "Shut the door" in door[1]


@pytest.mark.parametrize(("which", "words"), [("single", "for 6 h in one go"), ("day", "for 6 h in all within a day")])
def test_warm_hours_say_how_they_were_counted(which: str, words: str) -> None:
    """Warm hours are those of one spell or of a day, and do not call the food bad or good."""
    body = word(turn("warm-long", What.RAISED, which=which), HOUSE)[1]

    assert f"was warmer than −15.0 °C {words}." in body
    assert "safe" not in body


def test_too_cold_names_the_habit() -> None:
    """Unusually cold is told beside what is usual, with the switch that is left on most often."""
    body = word(turn("too-cold", What.RAISED), HOUSE)[1]

    assert "It is at −29.5 °C now. Usually it is at about −20.1 °C." in body
    assert "fast-freeze switch" in body


def test_chattering_is_counted() -> None:
    """Crossings are told as a number within a time."""
    assert "crossed its limit 12 times within 1 h" in word(turn("chattering", What.RAISED), HOUSE)[1]
    assert "crossed its limit many times." in word(event("chattering", What.RAISED), HOUSE)[1]


def test_another_day_is_called_so() -> None:
    """A spell that began on another day says on which."""
    yesterday = word(turn("high", What.OVER, since=ago(20 * HOUR)), HOUSE)[1]
    before = word(turn("high", What.OVER, since=ago(50 * HOUR)), HOUSE)[1]

    assert "from yesterday 07:12" in yesterday
    assert "from Sun 22 Nov 01:12" in before


def test_a_stamp_of_a_wrong_clock_is_left_out() -> None:
    """A beginning in 1970, as a computer without a battery clock writes it, is not told."""
    body = word(turn("high", What.RAISED, since=60_000), HOUSE)[1]

    assert "has been warmer than −12.0 °C for 48 min." in body
