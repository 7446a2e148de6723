"""A power cut: while it lasts, when it is over, and after one in which the watcher was dark."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import What
from gatewayd.model.moment import HOUR, MINUTE
from tests.message.scene import DARKNESS, FORECAST, HOUSE, ago, event, turn


def test_a_cut_names_place_freezers_and_rule() -> None:
    """A cut says where, since when, which freezers, to keep them shut, and for how long that holds."""
    title, body = word(turn("mains-out", What.RAISED), HOUSE)

    assert title == "Heron Lane: the power is off (shed)"
    assert "The power has been off since 02:24 (48 min). The sensor at the mains says so." in body
    assert "Without power: Shed chest and Porch chest." in body
    assert "What to do now: Keep the freezers shut" in body
    assert "about 48 hours, a half-full one for about 24" in body
    assert "Never taste food" in body
    assert "dry ice" not in body


def test_an_inferred_cut_says_as_it_looks() -> None:
    """What was concluded from the freezers alone is never told as certain, at no turn."""
    for what in (What.RAISED, What.WORSE, What.REPEATED):
        assert "the power" in word(turn("mains-out", what, how="inferred"), HOUSE)[0]
        assert "seem" in word(turn("mains-out", what, how="inferred"), HOUSE)[0]
    body = word(turn("mains-out", What.RAISED, how="inferred"), HOUSE)[1]
    assert (
        "As it looks, the power has been off since 02:24 (48 min): Shed chest and Porch chest stopped cooling" in body
    )
    assert "As it looks, the power is back" in word(turn("mains-out", What.OVER, how="inferred"), HOUSE)[1]


@pytest.mark.parametrize(
    ("how", "words"), [("host", "runs on its battery"), ("power", "meter in its plug"), ("sensor", "The sensor at")]
)
def test_a_cut_says_how_it_is_known(how: str, words: str) -> None:
    """Each way of knowing is told in words."""
    assert words in word(turn("mains-out", What.RAISED, how=how), HOUSE)[1]


def test_one_freezer_without_power_is_named_in_the_title() -> None:
    """A plug that stands for one freezer names that freezer."""
    title, _ = word(turn("mains-out", What.RAISED, covers="shed-chest", place="", how="power"), HOUSE)

    assert title == "Heron Lane: the power is off (Shed chest)"


def test_dry_ice_comes_with_its_cautions() -> None:
    """After half a day dry ice is named, with gloves, cardboard, air and never airtight (FDA; Michigan State Univ.)."""
    body = word(turn("mains-out", What.REPEATED, lasted=14 * HOUR), HOUSE)[1]

    for words in ("thick gloves", "cardboard", "keep the room aired", "never close it up airtight", "23 kg (50 lb)"):
        assert words in body
    assert "dry ice" not in word(turn("mains-out", What.REPEATED, lasted=11 * HOUR), HOUSE)[1]


def test_the_end_of_a_cut_tells_to_look_whether_they_run() -> None:
    """The end says for how long, and to look at the food only after a long cut or one of unknown length."""
    short = word(turn("mains-out", What.OVER), HOUSE)[1]
    long = word(turn("mains-out", What.OVER, lasted=5 * HOUR, since=ago(5 * HOUR)), HOUSE)[1]
    unknown = word(event("mains-out", What.OVER, "shed-mains"), HOUSE)[1]

    assert "It was off for 48 min, from 02:24." in short
    assert "Look whether Shed chest and Porch chest run again" in short
    assert "ice crystals" not in short
    assert "ice crystals" in long
    assert "ice crystals" in unknown


def test_after_a_dark_spell_each_freezer_has_its_line() -> None:
    """One message says for how long, why, what each freezer was and is, and what to check."""
    title, body = word(event("dark", What.NOTED, "heron-lane", **DARKNESS), HOUSE)

    assert title == "Heron Lane: nothing was watched for 9 h"
    assert "not running for 9 h, from yesterday 18:02 to 03:02" in body
    assert "The computer had lost its power." in body
    assert "  Shed chest: was −18.2 °C yesterday 18:01, is −11.5 °C now, which is too warm\n" in body
    assert "  Cellar upright: was −19.0 °C yesterday 18:00, is −16.0 °C now\n" in body
    assert "  Porch chest: was −20.4 °C yesterday 18:02, has not been heard yet\n" in body
    assert "may have thawed and frozen again" in body
    assert "look at the food in each" in body


@pytest.mark.parametrize(
    ("ended", "words"),
    [
        ("shutdown", "The computer had been shut down."),
        ("stop", "gatewayd had been stopped by somebody."),
        ("crash", "gatewayd had failed and was started again."),
        ("", "Why is not known."),
    ],
)
def test_a_dark_spell_says_why_if_it_is_known(ended: str, words: str) -> None:
    """The reason is told where there is one; where there is none that is said."""
    body = word(event("dark", What.NOTED, "heron-lane", lasted=9 * HOUR, ended=ended), HOUSE)[1]

    assert words in body
    assert "power was off" in body


def test_a_short_dark_spell_worries_nobody() -> None:
    """Within the hour no food takes harm, and the message does not speak of it."""
    body = word(event("dark", What.NOTED, "heron-lane", **{**DARKNESS, "lasted": 20 * MINUTE}), HOUSE)[1]

    assert "food" not in body


def test_a_dark_spell_of_unknown_length_says_so() -> None:
    """Where the clocks cannot be compared no figure is told, and the food is spoken of."""
    title, body = word(event("dark", What.NOTED, "heron-lane", lasted=None, since=ago(9 * HOUR)), HOUSE)

    assert title.endswith("for a time that is not known")
    assert "from" not in body.split("\n")[0]
    assert "look at the food" in body


def test_a_freezer_past_it_comes_first() -> None:
    """In a cut a freezer that is much too warm is named with its food; the rule of hours is for the others only."""
    body = word(turn("mains-out", What.RAISED, much_too_warm="porch-chest"), HOUSE)[1]
    advice = body.partition("What to do now: ")[2]

    assert advice.startswith("Look at the food in Porch chest: it is much too warm in there already")
    assert "When in doubt, throw it out." in advice
    assert "Keep Shed chest shut. Kept shut, a full freezer" in advice


def test_no_rule_of_hours_where_all_are_past_it() -> None:
    """Where every freezer is much too warm, no hours are promised, at no turn, however long it lasts."""
    for what in (What.RAISED, What.WORSE, What.REPEATED):
        body = word(turn("mains-out", what, much_too_warm="shed-chest, porch-chest", lasted=14 * HOUR), HOUSE)[1]
        assert "Look at the food in Shed chest and Porch chest" in body
        assert "48" not in body
        assert "dry ice" not in body


def test_a_short_cut_that_left_one_too_warm_ends_with_its_food() -> None:
    """The end of even a short cut asks to look at the food of a freezer that became much too warm."""
    body = word(turn("mains-out", What.OVER, much_too_warm="porch-chest"), HOUSE)[1]

    assert "Look at the food in Porch chest first: it became much too warm." in body
    assert "ice crystals" in body


def test_a_cut_tells_of_the_freezer_that_warms_first() -> None:
    """Of several freezers the one with the least time is named; where none is, it is the first of them."""
    named = word(turn("mains-out", What.RAISED, **FORECAST, left_of="porch-chest"), HOUSE)[1]
    unnamed = word(turn("mains-out", What.RAISED, **FORECAST), HOUSE)[1]
    past = word(turn("mains-out", What.RAISED, **FORECAST, left_of="porch-chest", much_too_warm="porch-chest"), HOUSE)[
        1
    ]
    other = word(turn("mains-out", What.RAISED, **FORECAST, left_of="shed-chest", much_too_warm="porch-chest"), HOUSE)[
        1
    ]

    assert "the warmest food in Porch chest may reach −9.4 °C in 4 h, perhaps only in 11 h" in named
    assert "the warmest food in the first of them may reach" in unnamed
    assert "may reach" not in past
    assert "the warmest food in Shed chest may reach" in other
