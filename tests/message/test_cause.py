"""Why a freezer warms, how sure that is, and where to look then."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import Fact, What
from gatewayd.model.outlook import Label
from tests.message.scene import FORECAST, HOUSE, NO_POWER, ago, event, turn

GENERAL = "Look at lid, plug and breaker; does it run? Then keep it shut."
LID = ("lid,", "lid and", "the lid", "gasket", "door")


def high(**facts: Fact) -> str:
    """Return the body of a new alarm of this night with these facts added."""
    return word(turn("high", What.RAISED, **facts), HOUSE)[1]


@pytest.mark.parametrize(
    ("sure", "words"),
    [
        ("hint", "It may be that cooling has stopped since 02:10."),
        ("likely", "Most likely cooling has stopped since 02:10."),
        ("sure", "It is clear that cooling has stopped since 02:10."),
        (None, "It may be that cooling has stopped since 02:10."),
    ],
)
def test_how_sure_it_is_is_said_in_words(sure: Fact, words: str) -> None:
    """The three words of confidence are three beginnings of a sentence; one that is missing is the weakest."""
    assert words in high(**{**NO_POWER, "cause_sure": sure})
    assert "What to do now: Check plug and breaker. Keep it shut." in high(**{**NO_POWER, "cause_sure": sure})


@pytest.mark.parametrize(
    ("cause", "said", "advice"),
    [
        (
            "lid-or-load",
            "Most likely the lid is ajar or warm food was put in.",
            "Shut the lid all round; see that nothing",
        ),
        (
            "room-air",
            "Most likely the probe is in the room's air: out of the freezer, or the freezer is switched off and open.",
            "See that the probe is in the freezer, and the freezer switched on and shut.",
        ),
        ("opened", "Most likely it was opened and cools again.", "See that the lid is well shut, and leave it shut."),
        ("auto-defrost", "Most likely it is defrosting by itself.", "Leave it shut, and see in an hour whether"),
        (
            "drift",
            "Most likely it is set warmer, or slowly failing.",
            "See whether its dial was turned, or it is iced up.",
        ),
    ],
)
def test_a_likely_cause_sends_to_one_place(cause: str, said: str, advice: str) -> None:
    """A cause that is more than a hint is said and replaces the general advice; a hint leaves that as it is."""
    likely, hint = high(cause=cause, cause_sure="likely"), high(cause=cause, cause_sure="hint")

    assert said in likely
    assert f"What to do now: {advice}" in likely
    assert GENERAL not in likely
    assert f"It may be that {said[12:].partition(':')[0].rstrip('.')}." in hint
    assert GENERAL in hint


@pytest.mark.parametrize("cause", ["normal", "cannot-tell", "", None, 3])
def test_what_explains_nothing_is_not_said(cause: Fact) -> None:
    """A cause that is none changes no message."""
    assert high(cause=cause, cause_sure="sure", cause_since=ago(0)) == high()


def test_every_cause_has_words_or_none_on_purpose() -> None:
    """All labels but those that explain nothing are worded."""
    silent = {label for label in Label if high(cause=label.value, cause_sure="sure") == high()}

    assert silent == {Label.NORMAL, Label.CANNOT_TELL}


@pytest.mark.parametrize("kind", ["high", "highhigh", "rising", "not-cooling", "warm-long"])
@pytest.mark.parametrize("facts", [{"mains": "out"}, NO_POWER, {**NO_POWER, "mains": "out"}])
def test_nobody_is_sent_to_the_lid_in_a_power_cut(kind: str, facts: dict[str, Fact]) -> None:
    """Where the power is known to be off, or cooling to have stopped, no advice speaks of lid or gasket."""
    for what in (What.RAISED, What.WORSE, What.REPEATED, What.OVER):
        body = word(turn(kind, what, latched=False, peak=-8.1, **facts), HOUSE)[1].lower()
        assert not any(word in body for word in LID), body


def test_a_known_cut_outranks_the_shape() -> None:
    """What a sensor of the mains says comes before what the air looks like."""
    body = high(mains="out", cause="lid-or-load", cause_sure="sure")

    assert "The power is off." in body
    assert "ajar" not in body
    assert "What to do now: Keep it shut until the power is back." in body


def test_a_lid_that_a_contact_sees_is_shut_all_the_same() -> None:
    """An open lid seen by its contact is to be shut, power or not; one only concluded gives way to a better reason."""
    seen = word(turn("lid-open", What.RAISED, **NO_POWER), HOUSE)[1]
    concluded = word(turn("lid-open", What.RAISED, **{**NO_POWER, "contact": False}), HOUSE)[1]

    assert "What to do now: Shut the lid" in seen
    assert "What to do now: Check plug and breaker. Keep it shut." in concluded
    assert "ajar" not in word(turn("lid-open", What.RAISED, cause="lid-or-load", cause_sure="sure"), HOUSE)[1]


def test_a_freezer_that_stopped_cooling_says_when_once() -> None:
    """The message of a freezer that stopped cooling names the time once, and one range instead of a pace."""
    body = word(turn("rising", What.RAISED, **NO_POWER, **FORECAST), HOUSE)[1]

    assert "has not cooled since 01:07 (2 h 5 min). It is at −16.1 °C now and rising." in body
    assert "Most likely the power or the compressor has failed. If nothing cools it, the warmest food may reach" in body
    assert "At this pace" not in body
    assert "an hour." not in body


def test_a_freezer_that_is_not_heard_says_what_was_known() -> None:
    """One that is not watched any more tells the last cause and counts on nothing since."""
    body = word(turn("unwatched", What.RAISED, **NO_POWER, **FORECAST), HOUSE)[1]

    assert "As last heard, most likely cooling has stopped since 02:10. If nothing has cooled it since it was" in body
    assert "the government's 48 hours" in body


def test_after_a_cut_the_end_says_why() -> None:
    """The end of a warm spell in a known cut says that the power had been off."""
    body = word(turn("high", What.OVER, mains="out"), HOUSE)[1]
    looked = word(turn("high", What.OVER, **NO_POWER), HOUSE)[1]

    assert "The power had been off." in body
    assert "If nobody knows why, look at plug and breaker in daylight." in looked


def test_an_upright_has_a_door_here_too() -> None:
    """The advice of a cause names the door of an upright."""
    facts = {"cause": "lid-or-load", "cause_sure": "likely"}

    assert "Shut the door all round" in word(event("high", What.RAISED, "cellar-upright", **facts), HOUSE)[1]
