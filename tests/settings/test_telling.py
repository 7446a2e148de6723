"""Limits and alarms of a freezer, and how people are told."""

import pytest

from gatewayd.alarm.kinds import OF_FREEZER
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.priority import Priority
from gatewayd.model.telling import Telling, Weekly
from tests.settings.conftest import SMALL, Faults, Load, changed

FREEZER = "    sensors: [shed-air]\n"
PERSON = "    told_by: [anna-mail]\n"


def freezer_with(limits: str) -> str:
    """Return the small house with limits at its freezer."""
    return changed(FREEZER, FREEZER + f"    limits: {{{limits}}}\n")


def test_new_limits_are_read(load_text: Load) -> None:
    """Each limit reaches the freezer in ms, °C and K, and 0 switches off."""
    text = freezer_with(
        "rising_within: 0, too_cold: 0, too_cold_on_delay: 3 h, lid_open: 10 min, warm: -16 °C, "
        "warm_single: 0, warm_total: 24 h"
    )
    limits = load_text(text).house.freezers["shed-chest"].limits

    assert (limits.rising_within, limits.too_cold, limits.too_cold_on_delay) == (0, 0.0, 3 * HOUR)
    assert (limits.lid_open, limits.warm) == (10 * MINUTE, -16.0)
    assert (limits.warm_single, limits.warm_total) == (0, 24 * HOUR)


def test_defaults_are_those_of_the_model(load_text: Load) -> None:
    """What is left out is as the model has it: limits, telling, and no say on any alarm."""
    house = load_text(SMALL).house

    assert house.freezers["shed-chest"].limits == Limits()
    assert house.freezers["shed-chest"].alarms == {}
    assert house.telling == Telling()
    assert house.people["anna"].quiet is None


def test_warm_follows_a_colder_high(load_text: Load) -> None:
    """Where `high` is colder than the usual `warm` and nothing is said of `warm`, it is no warmer than `high`."""
    assert load_text(freezer_with("high: -16 °C")).house.freezers["shed-chest"].limits.warm == -16.0


@pytest.mark.parametrize(
    ("limits", "key", "words"),
    [
        ("high: 0.1 °C, highhigh: 5 °C", "high", "warmer than 0 °C"),
        ("high: 12 °C", "high", "is the minus sign missing?"),
        ("highhigh: 10.1 °C", "highhigh", "warmer than 10 °C"),
        ("warm: -11 °C", "warm", "is warmer than `high`"),
        ("warm_total: 25 h", "warm_total", "out of range"),
        ("too_cold: -2 °C", "too_cold", "8 °C"),
        ("lid_open: 5 s", "lid_open", "0 = never"),
    ],
)
def test_limits_that_cannot_be_meant(limits: str, key: str, words: str, faults_of: Faults) -> None:
    """A limit beyond which the food is lost, or that contradicts another, is one fault at its own key."""
    (found,) = faults_of(freezer_with(limits))

    assert found.key == f"freezers.shed-chest.limits.{key}"
    assert words in str(found)


@pytest.mark.parametrize(
    ("limits", "warned"), [("high: -8.9 °C", True), ("high: -9 °C", False), ("high: 0 °C, highhigh: 10 °C", True)]
)
def test_late_high_warns(limits: str, warned: bool, load_text: Load) -> None:
    """A `high` warmer than -9 °C is allowed with a warning."""
    assert any("its alarm comes late" in line for line in load_text(freezer_with(limits)).warnings) is warned


def test_alarms_have_their_own_priority(load_text: Load) -> None:
    """Each kind of alarm of a freezer may be off, low, medium or high, and those not named are left out."""
    names = [kind.name for kind in OF_FREEZER]
    loud = changed(FREEZER, FREEZER + "    alarms: {" + ", ".join(f"{name}: High" for name in names) + "}\n")
    some = changed(FREEZER, FREEZER + "    alarms: {lid-open: off, rising: low, high: medium}\n")

    assert load_text(loud).house.freezers["shed-chest"].alarms == dict.fromkeys(names, Priority.HIGH)
    assert load_text(some).house.freezers["shed-chest"].alarms == {
        "high": Priority.MEDIUM,
        "rising": Priority.LOW,
        "lid-open": None,
    }


@pytest.mark.parametrize("word", ["off", "low"])
@pytest.mark.parametrize("name", ["high", "highhigh", "unwatched"])
def test_food_in_danger_is_never_silent(name: str, word: str, faults_of: Faults) -> None:
    """What tells of food in danger cannot be switched off or made low."""
    (found,) = faults_of(changed(FREEZER, FREEZER + f"    alarms: {{{name}: {word}}}\n"))

    assert found.key == f"freezers.shed-chest.alarms.{name}"
    assert "cannot be off or low" in str(found)


def test_unknown_alarm_is_named(faults_of: Faults) -> None:
    """A kind of alarm that no freezer has is a fault with the nearest one."""
    (found,) = faults_of(changed(FREEZER, FREEZER + "    alarms: {lid_open: low}\n"))

    assert "did you mean lid-open?" in str(found)


@pytest.mark.parametrize(
    ("written", "quiet"),
    [("22:00-07:00", (1320, 420)), ("1:30 - 5:00", (90, 300)), ("22:00\u201307:00", (1320, 420))],
)
def test_quiet_hours(written: str, quiet: tuple[int, int], load_text: Load) -> None:
    """Quiet hours are minutes after midnight and may go over midnight."""
    assert load_text(changed(PERSON, PERSON + f"    quiet_hours: {written}\n")).house.people["anna"].quiet == quiet


@pytest.mark.parametrize("written", ["22:00-22:00", "22:00", "22:00-24:00", "7-22", "1:00-2:00-3:00"])
def test_quiet_hours_that_are_none(written: str, faults_of: Faults) -> None:
    """Quiet hours without two different times of day are a fault."""
    (found,) = faults_of(changed(PERSON, PERSON + f"    quiet_hours: {written}\n"))

    assert found.key == "people.anna.quiet_hours"
    assert "22:00-07:00" in found.allowed


def test_telling_is_read(load_text: Load) -> None:
    """The section `telling` sets how messages are joined, passed on and repeated."""
    telling = (
        "telling: {join_within: 0 s, next_after: 5 min, again_high: 30 min, again_medium: 8 h, "
        "note: 'mon 7:05', test: OFF}\n"
    )

    assert load_text(SMALL + telling).house.telling == Telling(
        0, 5 * MINUTE, 30 * MINUTE, 8 * HOUR, Weekly(0, 425), None
    )


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("join_within: 11 min", "join_within"),
        ("next_after: 10 s", "next_after"),
        ("again_high: 0", "again_high"),
        ("note: Sonntag 18:00", "note"),
        ("test: Saturday", "test"),
        ("test: Saturday 25:00", "test"),
    ],
)
def test_telling_has_bounds(written: str, key: str, faults_of: Faults) -> None:
    """A span that would send without end, or a time that no week has, is a fault."""
    (found,) = faults_of(SMALL + f"telling: {{{written}}}\n")

    assert found.key == f"telling.{key}"


def test_people_are_told_in_their_order(load_text: Load) -> None:
    """The order of people in the file is the order in which they are told."""
    house = load_text(changed("people:\n", "people:\n  zoe:\n" + PERSON)).house

    assert list(house.people) == ["zoe", "anna"]
