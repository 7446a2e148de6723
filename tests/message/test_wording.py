"""Messages: what happened, since when, how warm, how fast, and what to do now; in the household's units."""

import re
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.alarm.kinds import KINDS
from gatewayd.message import words
from gatewayd.message.script import AT_WORK, UNASKED
from gatewayd.message.wording import SCRIPTS, word
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.priority import Priority
from gatewayd.model.units import TemperatureUnit
from tests.message.scene import (
    BEGINNINGS,
    BROKER,
    COLD,
    DARKNESS,
    FORECAST,
    HOUSE,
    MAINS,
    NO_POWER,
    NOW,
    STOPPED,
    event,
    every_turn,
    turn,
)  # fmt: skip

ASKING = (What.RAISED, What.WORSE, What.REPEATED)
LONG = ("dark", "mains-out")  # they must speak of several freezers, and of the food
# codes, leftovers of a program, and words that no household says
BANNED = re.compile(
    r"None|NaN|\bnan\b|\binf\b|True|False|[{}_]|highhigh|hysteresis|deadband|threshold|timeout|dBm|null|exception"
    r"|unknown|notified|occurr|latch|suppress|shelv|sensor-|chest-"
    r"|\bK\b|\bduty\b|\bcauses?\b|likely_h|calibrat|uncalibrat|forecast|posterior|particle|\bsafe\b|probability"
)


def test_every_kind_has_a_script_and_a_name() -> None:
    """Each kind of alarm has a script and a short name, and nothing else has."""
    assert set(SCRIPTS) == set(KINDS) == set(words.KINDS)
    assert set(BEGINNINGS) == set(KINDS)


def test_unasked_are_those_that_ask_for_no_person() -> None:
    """The kinds without a line for acknowledging are those that acknowledge themselves."""
    assert {kind.name for kind in KINDS.values() if not kind.asks} == UNASKED


def plain(text: str) -> str:
    """Return a text without the commands in it, whose ids are no words."""
    return re.sub(r"gatewayd (?:at|checked) [a-z-]+", "", text)


@pytest.mark.parametrize("happened", every_turn(), ids=lambda e: f"{e.kind}-{e.what.value}")
def test_every_message_is_in_household_words(happened: Event) -> None:
    """No message has codes, jargon, double blanks or more text than somebody reads at three in the morning."""
    title, body = word(happened, HOUSE)

    assert title.startswith("Heron Lane: ")
    assert len(title) < 80
    assert len(body) < (1_500 if happened.kind in LONG else 900)
    assert not BANNED.search(plain(title + "\n" + body)), body
    assert not re.search(r"[a-z,] {2,}|\.\.| \.| ,|\(\)|: \.", body), body


@pytest.mark.parametrize("happened", every_turn(), ids=lambda e: f"{e.kind}-{e.what.value}")
def test_one_thing_to_do_and_none_after_the_end(happened: Event) -> None:
    """What goes on says once what to do now; what is over does not."""
    count = word(happened, HOUSE)[1].count("What to do now: ")

    if happened.what is not What.NOTED:
        assert count == (happened.what in ASKING)
    if happened.kind == "dark":
        assert count == 1


@pytest.mark.parametrize("kind", KINDS)
def test_only_what_asks_is_acknowledged(kind: str) -> None:
    """The line for acknowledging stands under what goes on and asks for a person, with the number of the beginning."""
    for what in ASKING:
        body = word(replace(turn(kind, what), number=15), HOUSE)[1]
        assert body.endswith("Message 15." if kind in UNASKED else "you have seen it: gatewayd ack 12")
    assert word(turn(kind, What.OVER), HOUSE)[1].endswith("Message 12.")


@pytest.mark.parametrize("kind", KINDS)
def test_who_works_at_it_may_keep_it_quiet(kind: str) -> None:
    """What a person at the freezer causes says, once, how that person keeps it quiet."""
    line = "At work there? Quiet for an hour: gatewayd at shed-chest"

    assert (line in word(turn(kind, What.RAISED), HOUSE)[1]) == (kind in AT_WORK)
    assert all(line not in word(turn(kind, what), HOUSE)[1] for what in (What.WORSE, What.REPEATED, What.OVER))


@pytest.mark.parametrize("kind", KINDS)
def test_a_reminder_says_still(kind: str) -> None:
    """A reminder says that it still goes on, for how long by now, and which reminder it is."""
    title, body = word(turn(kind, What.REPEATED), HOUSE)

    assert "still" in title
    assert "It began yesterday 23:24, 3 h 48 min ago." in body
    assert "This is reminder 2." in body


def test_a_reminder_says_who_has_seen_it() -> None:
    """A reminder names who has acknowledged, by the name of the person, or says that nobody has."""
    nobody = word(turn("high", What.REPEATED), HOUSE)[1]
    ann = word(turn("high", What.REPEATED, acknowledged_by="ann"), HOUSE)[1]
    root = word(turn("high", What.REPEATED, acknowledged_by="root"), HOUSE)[1]
    unasked = word(turn("silent", What.REPEATED, acknowledged_by="the house"), HOUSE)[1]

    assert "Nobody has said yet that they have seen it." in nobody
    assert "Ann has seen it, but it has not ended." in ann
    assert "root has seen it" in root
    assert "seen" not in unasked


def test_household_in_fahrenheit_reads_fahrenheit() -> None:
    """In a °F household temperatures and speeds are in °F: 15.1 °F is -9.4 °C, 3.06 K an hour is 5.5 °F an hour."""
    fahrenheit = replace(HOUSE, units=TemperatureUnit.F)
    title, body = word(turn("high", What.RAISED), fahrenheit)

    assert title.endswith("15.1 °F")
    assert "10.4 °F since" in body
    assert "rising by 5.5 °F an hour" in body
    for happened in every_turn():
        if happened.kind != "week":  # written by others
            text = " ".join(word(happened, fahrenheit)).replace("4.4 °C (40 °F)", "")
            assert "°C" not in text, text


def test_what_has_no_script_has_words_all_the_same() -> None:
    """A remark is told as it was written, and a turn that nobody is told of has a plain title."""
    remark = event("settings", What.NOTED, "heron-lane", text="New settings were not taken.\n\nWhat to do: mend them.")

    assert word(remark, HOUSE)[1].startswith("New settings were not taken.\n\nWhat to do: mend them.")
    assert word(event("high", What.SILENCED), HOUSE)[0] == "Heron Lane: Shed chest: too warm silenced"


def test_what_a_person_did_names_the_person() -> None:
    """Who has seen an alarm, and what was decided about the food, is told to the others by name and reason."""
    seen = word(replace(event("high", What.ACKNOWLEDGED), who="ann", why="I am on my way"), HOUSE)
    decided = word(replace(event("highhigh", What.RESET), who="ann", why="kept all; still hard"), HOUSE)

    assert seen[0] == "Heron Lane: Ann has seen it: Shed chest, too warm"
    assert "Shed chest, too warm (message 12): Ann has seen it. I am on my way. It may go on" in seen[1]
    assert decided[0] == "Heron Lane: the food in Shed chest was looked at"
    assert "Ann looked at the food in Shed chest. What was decided: Kept all; still hard." in decided[1]


FACT_NAMES = sorted(
    {name for _, facts in BEGINNINGS.values() for name in facts}
    | {*COLD, *STOPPED, *DARKNESS, *MAINS, *FORECAST, *NO_POWER}
)
MORE_NAMES = [
    "answered",
    "acknowledged_by",
    "repeats",
    "inferred",
    "moved",
    "title",
    "much_too_warm",
    "mains",
    "left_of",
]
MORE_NAMES += ["stage", "until", "change", "weeks", "after"]
ANY_FACT = (
    st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats() | st.text(max_size=20)
    | st.sampled_from(["shed-chest,gone", "%", "V", "day", "single", "inferred", "power"])
    | st.sampled_from(["out", "food", "probe", "likely", "room-air"])
)  # fmt: skip


@given(
    st.sampled_from(
        [*KINDS, "dark", "clock", "start", "week", "mended", "test-off", "ageing", "drift", "something-new"]
    ),
    st.sampled_from(What),
    st.sampled_from([*HOUSE.freezers, *HOUSE.sensors, BROKER, "mill-house", "heron-lane", "gone"]),
    st.dictionaries(st.sampled_from([*FACT_NAMES, *MORE_NAMES]), ANY_FACT),
)
def test_any_event_has_words(kind: str, what: What, subject: str, facts: Mapping[str, Fact]) -> None:
    """Whatever the facts, there is a title and a body in words, without leftovers of code."""
    title, body = word(Event(3, NOW, subject, kind, what, Priority.LOW, 1, 3, facts=facts), HOUSE)

    assert title.startswith("Heron Lane: ")
    assert "Message 3." in body
    if not any(isinstance(fact, str) for fact in facts.values()):
        assert not re.search(r"None|\{|\}|_|True|False|\bnan\b|\binf\b", title + body)
