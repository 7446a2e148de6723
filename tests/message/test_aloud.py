"""Whole messages as they are read at three in the morning: read them aloud before changing one."""

import re
from dataclasses import replace

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.outlook import Label, Sure
from gatewayd.model.units import TemperatureUnit
from tests.message.scene import FORECAST, HOUSE, NO_POWER, ago, event, turn

FAHRENHEIT = replace(HOUSE, units=TemperatureUnit.F)
AJAR: dict[str, Fact] = {"cause": "lid-or-load", "cause_sure": "likely"}
LONG: dict[str, Fact] = {**FORECAST, "left_early": 30.0, "left_late": 90.0, "beyond_rule": True}
THAWING: dict[str, Fact] = {
    **FORECAST, "left_level": 0.0, "left_early": 0.0, "left_late": 20.5, "calibrated": True, "mains": "out",
}  # fmt: skip
OVERNIGHT: dict[str, Fact] = {"since": ago(5 * HOUR), "lasted": 4 * HOUR + 55 * MINUTE, "cause_since": ago(10 * HOUR)}
# what a lock screen and one glance below it show; a message of a whole house, or of food, may be longer (our choice)
GLANCE, LONGER = 600, 900
ASKING = (What.RAISED, What.WORSE, What.REPEATED)
WARMING = ("high", "highhigh", "rising", "lid-open", "warm-long", "unwatched", "mains-out", "not-cooling")
JARGON = re.compile(
    r"\bK\b|\bduty\b|\bcauses?\b|likely_h|calibrat|forecast|observer|quantile|\bsafe\b|probab|_|None|%|lid-or|room-air"
)


def read(happened: Event, title: str, *lines: str, fahrenheit: bool = False) -> None:
    """Hold a whole message against what is to be read, paragraph by paragraph."""
    told, body = word(happened, FAHRENHEIT if fahrenheit else HOUSE)
    assert told == f"Heron Lane: {title}"
    assert body.split("\n\n") == list(lines)


def test_a_warm_chest_and_no_reason_known() -> None:
    """A warm chest of which nobody knows why: where to look, one range, the rule."""
    read(
        turn("high", What.RAISED, **FORECAST),
        "Shed chest is too warm, 15.1 °F",
        ("Shed chest (shed) has been warmer than 10.4 °F since 02:24 (48 min). It is at 15.1 °F now and rising."),
        (
            "If nothing cools it, the warmest food may reach 15 °F in 4 h, perhaps only in 11 h (a guess"
            " until a test switch-off)."
        ),
        (
            "What to do now: Look at lid, plug and breaker; does it run? Then keep it shut. Go by its "
            "sensor, which is past that already, and not by the government's 48 hours (24 if half full)."
        ),
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
        fahrenheit=True,
    )


def test_the_plug_of_a_chest_is_out() -> None:
    """A chest that stopped cooling sends to plug and breaker and not to the lid."""
    read(
        turn("rising", What.RAISED, **NO_POWER, **FORECAST),
        "Shed chest has stopped cooling, −16.1 °C",
        "Shed chest (shed) has not cooled since 01:07 (2 h 5 min). It is at −16.1 °C now and rising.",
        (
            "Most likely the power or the compressor has failed. If nothing cools it, the warmest food "
            "may reach −9.4 °C in 4 h, perhaps only in 11 h (a guess until a test switch-off)."
        ),
        (
            "What to do now: Check plug and breaker. Keep it shut. Go by the early end, which comes before "
            "the government's 48 hours (24 if half full) are over."
        ),
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_a_lid_ajar_in_a_freezer_that_was_tested() -> None:
    """A lid ajar sends to the lid; after a test the range is no guess any more."""
    read(
        turn("high", What.RAISED, **{**FORECAST, **AJAR, "calibrated": True}),
        "Shed chest is too warm, −9.4 °C",
        ("Shed chest (shed) has been warmer than −12.0 °C since 02:24 (48 min). It is at −9.4 °C now and rising."),
        (
            "Most likely the lid is ajar or warm food was put in. If the lid stays open, the warmest food "
            "may reach −9.4 °C in 4 h, perhaps only in 11 h."
        ),
        (
            "What to do now: Shut the lid all round; see that nothing holds it open. Go by its sensor, "
            "which is past that already, and not by the government's 48 hours (24 if half full)."
        ),
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_a_full_freezer_that_outlasts_the_rule() -> None:
    """A range longer than the rule's hours leaves the rule as what to go by."""
    read(
        turn("high", What.RAISED, **NO_POWER, **LONG, value=-11.0),
        "Shed chest is too warm, −11.0 °C",
        ("Shed chest (shed) has been warmer than −12.0 °C since 02:24 (48 min). It is at −11.0 °C now and rising."),
        (
            "Most likely cooling has stopped since 02:10. If nothing cools it, the warmest food may reach"
            " −9.4 °C in 30 h, perhaps only in 4 days (a guess until a test switch-off)."
        ),
        (
            "What to do now: Check plug and breaker. Keep it shut. Go by the government's rule: shut, a "
            "full freezer holds about 48 hours, a half-full one 24. 1 of them is gone."
        ),
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_much_too_warm_in_a_power_cut() -> None:
    """Much too warm in a known cut: the food may be thawing, and is to be moved."""
    read(
        turn("highhigh", What.RAISED, **THAWING),
        "Shed chest is much too warm, 24.6 °F",
        ("Shed chest (shed) has been warmer than 20.0 °F since 02:24 (48 min). It is at 24.6 °F now and rising."),
        (
            "The power is off. The warmest food may be at 32 °F already; if nothing cools it, perhaps "
            "only in 21 h. 32 °F counts now: it is most likely past 15 °F. Go by the early end, which comes before "
            "the government's 48 hours (24 if half full) are over."
        ),
        (
            "What to do now: Move the food to a freezer that has power, or to cool boxes with ice. Food "
            "that still has ice crystals, or is at 4.4 °C (40 °F) or colder, may be refrozen or cooked. "
            "Never taste food to find out. When in doubt, throw it out. Your local food-safety authority "
            "and the maker's label come first."
        ),
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
        fahrenheit=True,
    )


def test_a_power_cut_of_two_freezers() -> None:
    """A cut of two freezers tells of the one that gets warm first."""
    read(
        turn("mains-out", What.RAISED, **FORECAST, left_of="porch-chest"),
        "the power is off (shed)",
        (
            "The power has been off since 02:24 (48 min). The sensor at the mains says so. Without power:"
            " Shed chest and Porch chest."
        ),
        (
            "If nothing cools it, the warmest food in Porch chest may reach −9.4 °C in 4 h, perhaps only"
            " in 11 h (a guess until a test switch-off)."
        ),
        (
            "What to do now: Keep the freezers shut, and look at plug and breaker, and whether the "
            "neighbours have light. Go by the early end for Porch chest, which comes before "
            "the government's 48 hours (24 if half full) are over. You are told if one of them gets too "
            "warm. Never taste food to find out."
        ),
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_a_power_cut_with_one_past_it() -> None:
    """A cut in which one freezer is much too warm sends to its food before all else."""
    read(
        turn("mains-out", What.REPEATED, much_too_warm="porch-chest"),
        "the power is still off (shed)",
        (
            "The power is still off (shed). It began yesterday 23:24, 3 h 48 min ago. Without power: Shed"
            " chest and Porch chest. This is reminder 2. Nobody has said yet that they have seen it."
        ),
        (
            "What to do now: Look at the food in Porch chest. Move what is still hard. Never taste food; "
            "when in doubt, throw it out."
        ),
        "Keep Shed chest shut.",
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_a_sensor_that_fell_silent_in_a_warming() -> None:
    """A freezer that fell silent while it warmed tells what was known of it."""
    read(
        turn("unwatched", What.RAISED, **NO_POWER, **FORECAST),
        "Shed chest is not being watched",
        (
            "Nothing has been heard from Shed chest (shed) since 02:24 (48 min). It was at −18.2 °C then."
            " Whether it is cold now cannot be seen from here."
        ),
        (
            "As last heard, most likely cooling has stopped since 02:10. If nothing has cooled it since "
            "it was last heard, the warmest food may reach −9.4 °C in 4 h, perhaps only in 11 h (a guess"
            " until a test switch-off). Go by the early end, which comes before "
            "the government's 48 hours (24 if half full) are over."
        ),
        (
            "What to do now: Look at the freezer, then at its sensor. Most often the sensor's battery is "
            "empty, or the sensor lies where its radio does not reach."
        ),
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_the_probe_lies_outside() -> None:
    """A probe in the room's air tells nothing of the food: no range and no rule are told."""
    read(
        turn("high", What.RAISED, **FORECAST, cause="room-air", cause_sure="sure"),
        "Shed chest is too warm, −9.4 °C",
        (
            "Shed chest (shed) has been warmer than −12.0 °C since 02:24 (48 min). It is at −9.4 °C now "
            "and rising by 3.1 °C an hour."
        ),
        (
            "It is clear that the probe is in the room's air: out of the freezer, or the freezer is "
            "switched off and open."
        ),
        "What to do now: See that the probe is in the freezer, and the freezer switched on and shut.",
        "At work there? Quiet for an hour: gatewayd at shed-chest",
        "Message 12. When you have seen it: gatewayd ack 12",
    )


def test_nobody_switched_it_on_again() -> None:
    """A freezer that was not switched on again after its test asks whether it is on."""
    read(
        turn("not-cooling", What.RAISED, **FORECAST),
        "Shed chest is not cooling again, −14.1 °C",
        (
            "Shed chest (shed) has not cooled since 02:24 (48 min), though its test switch-off is over. "
            "It is at −14.1 °C now and rising."
        ),
        (
            "If nothing cools it, the warmest food may reach −9.4 °C in 4 h, perhaps only in 11 h (a "
            "guess until a test switch-off)."
        ),
        (
            "What to do now: Is it switched on? Look at its switch, plug and breaker. Then keep it shut. "
            "Go by the early end, which comes before "
            "the government's 48 hours (24 if half full) are over."
        ),
        "Message 12. When you have seen it: gatewayd ack 12",
    )


@pytest.mark.parametrize("sure", Sure)
@pytest.mark.parametrize("label", Label)
@pytest.mark.parametrize("when", [{}, OVERNIGHT], ids=["tonight", "overnight"])
@pytest.mark.parametrize(
    "left", [{}, FORECAST, LONG, {**LONG, "left_late": None}], ids=["none", "hours", "long", "open"]
)
def test_a_new_alarm_fits_one_glance(label: Label, sure: Sure, when: dict[str, Fact], left: dict[str, Fact]) -> None:
    """A new alarm of a warm freezer, and of one that stopped cooling, has at most 600 characters with its sign-off."""
    facts = {**left, "cause": label.value, "cause_sure": sure.value, "cause_since": ago(HOUR), **when}

    for house in (HOUSE, FAHRENHEIT):
        for kind in ("high", "rising", "not-cooling"):
            title, body = word(turn(kind, What.RAISED, **facts), house)
            assert len(title) <= 65
            assert len(body) <= GLANCE, body


@pytest.mark.parametrize("kind", WARMING)
@pytest.mark.parametrize("label", [*Label, None])
@pytest.mark.parametrize("left", [FORECAST, LONG, THAWING], ids=["hours", "long", "thawing"])
def test_no_turn_has_jargon_or_two_ranges(kind: str, label: Label | None, left: dict[str, Fact]) -> None:
    """Whatever is known, a message stays short, in household words, with one range and one thing to do."""
    facts = {**left, "cause": label.value if label else None, "cause_sure": "sure", "cause_since": ago(HOUR)}

    for what in ASKING:
        title, body = word(turn(kind, what, **facts), HOUSE)
        assert len(body) <= LONGER, body
        assert not JARGON.search(f"{title}\n{body}"), body
        assert body.count("warmest food") <= 1
        assert body.count("What to do now: ") == 1
        assert body.count("perhaps only in") <= 1
        assert label is Label.ROOM_AIR or not re.search(r"in about \d", body)


@pytest.mark.parametrize("kind", WARMING)
def test_the_late_end_is_never_advice(kind: str) -> None:
    """What to do never speaks of the forecast, least of all of its late end."""
    for what in ASKING:
        advice = word(turn(kind, what, **FORECAST), HOUSE)[1].partition("What to do now: ")[2]
        assert "only in" not in advice
        assert "may reach" not in advice


@pytest.mark.parametrize("kind", WARMING)
def test_the_rule_stands_in_every_message_with_a_range(kind: str) -> None:
    """Wherever a range is told the government's 48 and 24 hours are told too, and which of the two comes first."""
    body = word(turn(kind, What.RAISED, **{**FORECAST, "value": -16.0}), HOUSE)[1]
    longer = word(turn(kind, What.RAISED, **{**LONG, "value": -16.0}), HOUSE)[1]

    assert "Go by the early end" in body
    assert "the government's 48 hours (24 if half full)" in body
    assert "Go by the government's rule" in longer or "48 hours, 24 if half full, count from" in longer
    assert "early end" not in longer


@pytest.mark.parametrize("kind", WARMING)
@pytest.mark.parametrize("left", [FORECAST, LONG, THAWING], ids=["hours", "long", "thawing"])
def test_a_reminder_is_short(kind: str, left: dict[str, Fact]) -> None:
    """A reminder says how it is, since when, the range and one thing to do, and repeats no rule and no long advice."""
    body = word(turn(kind, What.REPEATED, **{**left, **NO_POWER, "value": -11.0}), HOUSE)[1]

    assert len(body) <= 560, body
    assert "48 hours" not in body
    assert "ice crystals" not in body
    assert "until a test" not in body
    assert body.count("What to do now: ") == 1


def test_a_probe_names_the_air() -> None:
    """Where the air gets there first it is the air that is told."""
    body = word(event("high", What.RAISED, **{**FORECAST, "left_where": "probe", "left_level": -12.0}), HOUSE)[1]

    assert "If nothing cools it, the air at its probe may reach −12 °C in 4 h, perhaps only in 11 h" in body
