"""One sentence for the house: all well, or the worst first with what to do."""

from typing import Any

import pytest

from gatewayd.message.house import by_harm, headline, held, holding, holds, trend
from gatewayd.message.wording import SCRIPTS
from gatewayd.model.event import Event, What
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority
from tests.days.player import house
from tests.message.scene import FORECAST

IDS = ("shed-chest", "cellar-upright", "porch-chest", "barn-chest")


def row(who: str, celsius: float | None = -18.4, ago: int | None = MINUTE, **more: Any) -> dict[str, Any]:
    """Return a freezer as the status has it."""
    return {
        "id": who, "name": who.replace("-", " ").capitalize(), "celsius": celsius, "heard_ago": ago,
        "state": "cold enough", "defrost": None, "test": None, "quiet_until": None, **more,
    }  # fmt: skip


def alarm(kind: str, subject: str = "shed-chest", **more: Any) -> dict[str, Any]:
    """Return an alarm as the status has it."""
    return {
        "number": 9, "subject": subject, "kind": kind, "state": "unacknowledged", "priority": "medium",
        "since": "2026-11-25T10:00:00+00:00", "hidden": False, "facts": {"value": -11.4, "limit": -12.0}, **more,
    }  # fmt: skip


def said(count: int, rows: list[dict[str, Any]], *alarms: dict[str, Any]) -> Any:
    """Return the headline of a house of some freezers."""
    return headline(house(count), rows, alarms, {})


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (1, "Shed chest is holding"),
        (2, "Both freezers are holding"),
        (3, "All three freezers are holding"),
        (4, "All four freezers are holding"),
    ],
)
def test_all_is_well(count: int, words: str) -> None:
    """Where every freezer is heard and cold enough, one sentence says so and asks for nothing."""
    found = said(count, [row(who) for who in IDS[:count]])

    assert (found.text, found.todo, found.how) == (words, "", "good")


def test_worst_alarm_comes_first() -> None:
    """The worst alarm is the sentence, with what its message advises; how the others are comes after it."""
    rows = [row("shed-chest", -11.4), row("cellar-upright"), row("porch-chest")]
    lid, high = alarm("lid-open", "porch-chest"), alarm("high", priority="high", number=12)
    found = said(3, rows, lid, high)

    assert found.text == "Shed chest is too warm, −11.4 °C"
    assert "lid, plug and breaker" in found.todo
    assert (found.others, found.how, found.alarm) == ("The other two freezers are holding", "bad", 12)


def test_present_figures_replace_those_of_the_alarm() -> None:
    """An alarm of an hour ago is told with the temperature of now."""
    now = Event(
        0, Moment(0, 0), "shed-chest", "forecast", What.NOTED, Priority.LOW, facts={"value": -8.2, "full": None}
    )
    found = headline(house(1), [row("shed-chest", -8.2)], [alarm("high")], {"shed-chest": now})

    assert found.text == "Shed chest is too warm, −8.2 °C"


def test_advice_does_not_speak_of_a_range_that_is_not_there() -> None:
    """A page has no message above its advice: what is early there is told with its hours and its level."""
    warms = alarm("high", facts={"value": -11.4, **FORECAST})

    for one in (warms, alarm("rising", facts=FORECAST), alarm("mains-out", facts=FORECAST)):
        found = said(1, [row("shed-chest", -11.4)], one)
        assert "early end" not in found.todo
        assert "It may be only 4 h until the warmest food" in found.todo


@pytest.mark.parametrize("kind", sorted(SCRIPTS))
def test_every_kind_of_alarm_has_its_sentence(kind: str) -> None:
    """Whatever stands, the sentence has words for it, and none of them is a command for a terminal."""
    found = said(1, [row("shed-chest")], alarm(kind))

    assert found.text
    assert kind == "test" or "gatewayd check" not in found.todo


def test_food_waits_for_a_check() -> None:
    """An alarm that is over and latched says that the food is to be looked at, and never that it is safe."""
    found = said(1, [row("shed-chest")], alarm("highhigh", state="latched", facts={"peak": 1.5}))

    assert found.text == "Shed chest is cold again, but was at 1.5 °C: check the food"
    assert "Never taste food" in found.todo
    assert "safe" not in found.todo.replace("food-safety", "")


@pytest.mark.parametrize(
    "quiet",
    [
        alarm("battery", priority="low"),
        alarm("test"),
        alarm("high", hidden=True),
        alarm("high", hidden=True, until="2026-11-25T11:00:00+00:00", suppressed_by="shed-plug"),
        alarm("lid-open", hidden=True, until="2026-11-25T11:00:00+00:00"),
        alarm("high", state="returned to normal"),
    ],
)
def test_what_is_only_listed(quiet: dict[str, Any]) -> None:
    """What is low, hidden, over, or the monthly test does not take the place of a good sentence."""
    assert by_harm([quiet]) == []
    assert said(1, [row("shed-chest")], quiet).how == "good"


def test_somebody_at_the_freezer_takes_no_advice_away() -> None:
    """While somebody keeps a freezer quiet, what is wrong with it is told as before, and what to do about it."""
    shed = row("shed-chest", -8.0)
    before = said(1, [shed], alarm("high", priority="high"))
    at_it = said(1, [shed], alarm("high", priority="high", hidden=True, until="2026-11-25T11:00:00+00:00"))

    assert at_it == before
    assert at_it.how == "bad"


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (row("shed-chest", -11.0), "Shed chest is warmer than it should be, −11.0 °C"),
        (row("shed-chest", ago=4 * HOUR), "Shed chest has not been heard for 4 h"),
        (row("shed-chest", None, None), "Shed chest has not been heard yet"),
        (row("shed-chest", None, None, state="no sensor"), "Shed chest has no sensor, so nothing is known of it"),
        (row("shed-chest", defrost={"ended": None}, state="being defrosted"), "Shed chest is being defrosted"),
    ],
)
def test_without_an_alarm_nothing_is_glossed_over(one: dict[str, Any], words: str) -> None:
    """A freezer that is not known to be cold is said so before any alarm is due, and the others are not forgotten."""
    found = said(2, [one, row("cellar-upright")])

    assert (found.text, found.others, found.how) == (words, "Cellar upright is holding", "warn")


def test_a_freezer_at_its_limit_holds() -> None:
    """At its limit a freezer holds, beyond it and after 35 minutes of silence it is not known to."""
    here = house(1)

    assert holds(row("shed-chest", -12.0), here)
    assert not holds(row("shed-chest", -11.9), here)
    assert not holds(row("shed-chest", ago=36 * MINUTE), here)


def test_some_hold() -> None:
    """Of several others it is said which do not hold."""
    rows = [row("shed-chest"), row("cellar-upright", None, None), row("porch-chest")]

    assert holding(house(3), rows, others=True) == "Two are holding; Cellar upright is not known to be cold"


def test_what_somebody_has_begun_is_said_by_its_name() -> None:
    """A freezer that is being defrosted is not one of which nothing is known."""
    busy = row("cellar-upright", defrost={"ended": None}, state="being defrosted")
    rows = [row("shed-chest"), busy, row("porch-chest", None, None)]

    assert holding(house(3), rows[:2], others=False) == "One is holding; Cellar upright is being defrosted"
    assert holding(house(3), rows, others=False) == (
        "One is holding; Cellar upright is being defrosted; Porch chest is not known to be cold"
    )


def test_no_freezer_yet() -> None:
    """A house without a freezer is told where to begin."""
    assert headline(House("x", "X"), [], [], {}).todo == "Begin with its sensor."


@pytest.mark.parametrize(
    ("speed", "words"),
    [(1.24, "rising by 1.2 °C an hour"), (-0.5, "falling by 0.5 °C an hour"), (0.1, "steady"), (None, "")],
)
def test_trend_in_words(speed: float | None, words: str) -> None:
    """How a temperature moves is said in words, nothing where it is not known."""
    assert trend(speed, house(1)) == words


def test_held_alarms_say_until_when() -> None:
    """Alarms that are held say why, and until when."""
    test = {"ended": None, "until": "2026-11-25T18:30:00+00:00", "quiet_until": None}
    one = row("shed-chest", quiet_until="2026-11-25T17:05:00+00:00", test=test)

    assert held(one) == [
        "somebody is at it; its alarms are quiet until 17:05",
        "switched off for a test until 18:30, its alarms are held",
    ]
