"""The note of the week, as it is read on a phone."""

from dataclasses import replace

import pytest

from gatewayd.message.ageing import leak
from gatewayd.message.weekly import RULE, FreezerWeek, Reserve, Week, write_note
from gatewayd.model.moment import DAY, HOUR
from gatewayd.model.units import TemperatureUnit
from tests.message.scene import HOUSE, ago

SHED = FreezerWeek("Shed chest", -20.1, -16.4, -18.0, at_lowest=ago(2 * DAY))
CELLAR = FreezerWeek("Cellar upright", -19.5, -12.0)
PORCH = FreezerWeek("Porch chest", watched=False)


def test_quiet_week() -> None:
    """A quiet week says that all is well, how cold each freezer was, what sensors say and what is due."""
    week = Week(
        (SHED, CELLAR, PORCH),
        sensors=("Shed chest probe: battery 41 %",),
        due=("Defrost the porch chest",),
        since=ago(7 * DAY),
        until=ago(0),
    )

    title, body = write_note(week, HOUSE)

    assert title == "all is well this week"
    assert body.splitlines() == [
        "All is well: no alarm stands, and every freezer with a sensor is heard.",
        "",
        "Lowest and highest of the air since Tue 17 Nov 03:12:",
        "  Shed chest: −20.1 °C (Sun 22 Nov 03:12) to −16.4 °C, now −18.0 °C",
        "  Cellar upright: −19.5 °C to −12.0 °C",
        "  Porch chest: no sensor",
        "",
        "Sensors:",
        "  Shed chest probe: battery 41 %",
        "",
        "Due:",
        "  Defrost the porch chest",
    ]


def test_worst_stands_first() -> None:
    """What is wrong stands in the title, the worst first, and before all else in the text."""
    week = Week((SHED, FreezerWeek("Cellar upright")), alarms=("Shed chest: too warm, since yesterday 14:05.",))

    title, body = write_note(week, HOUSE)

    assert title == "the week: Shed chest: too warm, since yesterday 14:05 (and 1 more)"
    assert body.startswith(
        "To look at:\n  Shed chest: too warm, since yesterday 14:05\n  Cellar upright has not been heard\n\n"
    )
    assert "Cellar upright: not heard" in body
    assert "All is well" not in body


def test_one_thing_alone_is_the_title() -> None:
    """One thing to look at is named in the title without a count."""
    assert write_note(Week(alarms=("Home broker: not reachable",)), HOUSE)[0] == "the week: Home broker: not reachable"


def test_household_units() -> None:
    """A house that counts in Fahrenheit reads Fahrenheit."""
    _, body = write_note(Week((CELLAR,)), replace(HOUSE, units=TemperatureUnit.F))

    assert "Cellar upright: −3.1 °F to 10.4 °F" in body
    assert "°C" not in body


def test_many_things_stay_short() -> None:
    """A long list is cut, with how many are left out and where they stand; every freezer keeps its line."""
    freezers = [replace(SHED, name=f"Freezer {n}") for n in range(20)]
    week = Week(freezers, sensors=[f"Probe {n}: battery {n} %" for n in range(30)])

    _, body = write_note(week, HOUSE)

    assert "  and 22 more. See: gatewayd status" in body
    assert "Probe 7: " in body
    assert "Probe 8: " not in body
    assert all(f"Freezer {n}: " in body for n in range(20))


def test_house_without_freezers() -> None:
    """A house that has no freezer yet gets a note without an empty list."""
    _, body = write_note(Week(since=ago(HOUR), until=ago(0)), HOUSE)

    assert body == "All is well: no alarm stands, and every freezer with a sensor is heard."


def test_the_note_tells_how_long_each_would_hold() -> None:
    """The reserve stands as a range, called a guess until it was taught, with the government's rule beside it."""
    shed = replace(SHED, reserve=Reserve(-9.4, 14.3, 39.1))
    cellar = replace(CELLAR, reserve=Reserve(-9.4, 20.0, 30.0, guess=False))

    title, body = write_note(Week((shed, cellar, PORCH)), replace(HOUSE, units=TemperatureUnit.F))

    assert title == "all is well this week"
    assert body.endswith(
        "\n\nWithout power, kept shut:\n"
        "  Shed chest: about 14 to 40 h to 15 °F, a guess\n"
        "  Cellar upright: about 20 to 30 h to 15 °F\n"
        "  By the government's rule it holds about 48 hours full, 24 half full. Where that is shorter, go by it."
    )
    assert RULE in body


@pytest.mark.parametrize(
    ("early", "late", "words"),
    [
        (14.0, None, "about 14 h or much longer to −9.4 °C, a guess"),
        (None, None, "more than a week to −9.4 °C, a guess"),
        (40.0, 120.0, "about 40 h to 5 days to −9.4 °C, a guess"),
    ],
)
def test_a_reserve_that_outlasts_the_forecast(early: float | None, late: float | None, words: str) -> None:
    """What lies beyond the forecast is said in words."""
    assert (
        f"  Shed chest: {words}\n" in write_note(Week((replace(SHED, reserve=Reserve(-9.4, early, late)),)), HOUSE)[1]
    )


def test_what_ages_has_one_line_and_no_alarm() -> None:
    """A gasket that may leak has one line, to be looked at by day, and the week is well all the same."""
    shed = replace(SHED, ageing=leak("Shed chest", "lid", 0.18, 6))

    title, body = write_note(Week((shed, CELLAR), due=("Defrost the porch chest",)), HOUSE)

    assert title == "all is well this week"
    assert (
        "To look at by day:\n  The gasket or the lid of Shed chest may leak: it works 18 % more than 6 weeks ago in "
        "the same room\n\nDue:\n  Defrost the porch chest"
    ) in body


def test_a_note_without_a_reserve_has_no_rule() -> None:
    """Where no reserve is known nothing is said of it."""
    body = write_note(Week((SHED, CELLAR)), HOUSE)[1]

    assert "Without power" not in body
    assert RULE not in body
