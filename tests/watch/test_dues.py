"""What is to be done, as the watch knows it and says it in the note of the week."""

from dataclasses import replace

from gatewayd.model.chore import Chore, Due, Kind
from gatewayd.model.event import What
from gatewayd.model.given import Chored, Heard
from gatewayd.model.house import PayloadForm, PayloadRule, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.telling import Telling
from gatewayd.upkeep.due import OF_FOOD, YEAR
from gatewayd.watch.dues import dues
from tests.days.player import BROKER, Player, house

PROBE = "shed-chest-air"
RULE = PayloadRule(PayloadForm.JSON, value="/t", battery="/b")


def weekly(freezers: int = 1) -> Player:
    """Return a house that gets its note every week."""
    return Player(house(freezers, telling=Telling(test=None)))


def due_part(day: Player) -> list[str]:
    """Let a week pass and return the lines under `Due` of its note, none where there is no such part."""
    before = len(day.notices)
    day.report(30 * MINUTE, [-20.0] * (7 * 24 * 2))
    notes = [notice.body for notice in day.notices[before:] if "lowest and highest" in notice.body.lower()]
    assert len(notes) == 1
    part = next((part for part in notes[0].split("\n\n") if part.startswith("Due:")), "")
    return [line.strip() for line in part.splitlines()[1:]]


def test_nothing_is_due_before_anybody_said_what_was_done() -> None:
    """A watch that does not know what was done says nothing of what is due."""
    day = weekly()

    assert dues(day.watch, day.now) == []
    assert due_part(day) == []


def test_offers_are_made_once() -> None:
    """A probe that was never checked and a freezer that was never tested are in one note, not in the next."""
    day = weekly()
    day.give(Chored())
    first = due_part(day)
    second = due_part(day)

    assert [line.split(":")[0] for line in first] == [
        "Check shed-chest probe in ice",
        "A test switch-off of Shed chest",
    ]
    assert second == []
    assert [one.what.split()[0] for one in dues(day.watch, day.now)] == ["check", "a"]


def test_few_lines_the_worst_first() -> None:
    """Of many things only four are in the note, the overdue on top and every week, and where the rest is found."""
    day = weekly(3)
    defrost = Due("porch-chest", "defrost Porch chest", day.now.wall - DAY, "the frost is thick", overdue=True)
    day.give(Chored(began=day.now.wall - YEAR - 2 * DAY, more=[defrost]))
    first, second = due_part(day), due_part(day)

    assert [line.split(",")[0] for line in first[:4]] == [
        "Look at the gasket and coils of Shed chest",
        "Look at the gasket and coils of Cellar upright",
        "Look at the gasket and coils of Porch chest",
        "Defrost Porch chest",
    ]
    assert first[4:] == ["and 6 more. See: gatewayd due"]
    assert second[:4] == first[:4]


def test_battery_is_due_until_it_is_changed() -> None:
    """A weak battery is due; a new one ends its alarm at once and forgets what the old one taught."""
    wired = house(1)
    sensor = Sensor(PROBE, "Shed probe", BROKER, "air", payload=RULE)
    day = Player(replace(wired, sensors={PROBE: sensor}))
    done = [Chore(1, PROBE, Kind.ICE_POINT, day.now.wall)]
    day.give(Chored(done))
    for _ in range(3 * 24):
        day.give(Heard(BROKER, PROBE, b'{"t": -20.0, "b": 3}', day.now))
        day.go(HOUR)
    weak = [one.what for one in dues(day.watch, day.now)]
    fresh = Chore(2, PROBE, Kind.BATTERY, day.now.wall)
    day.give(Chored([*done, fresh], fresh))

    assert weak == ["change the battery of Shed probe", "a test switch-off of Shed chest"]
    assert [one.what for one in dues(day.watch, day.now)] == ["a test switch-off of Shed chest"]
    assert [event.what for event in day.events if event.kind == "battery"] == [What.RAISED, What.OVER]
    assert not day.watch.posts[PROBE].battery.days


def test_chore_of_something_unknown_changes_nothing() -> None:
    """A battery of a sensor that is no longer there, or another kind of work, is only remembered."""
    day = weekly()
    for subject, kind in (("gone", Kind.BATTERY), (PROBE, Kind.NOTE)):
        chore = Chore(1, subject, kind, day.now.wall)
        day.give(Chored([chore], chore))

    assert day.watch.chored is not None
    assert [event.kind for event in day.events] == ["start"]


def test_no_test_on_top_of_a_bad_day_and_food_first() -> None:
    """While a freezer's alarm stands or its food is undecided no test of it is offered, and food is the first line."""
    day = weekly(2)
    late = Due("cellar-upright", "defrost Cellar upright", day.now.wall - DAY, "the frost is thick", overdue=True)
    food = Due("shed-chest", f"{OF_FOOD}Shed chest", None, "it was too warm", overdue=True)
    day.give(Chored(more=[late, food]))
    day.report(MINUTE, [-20.0] * 10)
    first = dues(day.watch, day.now)
    day.give(Chored())
    _apart(day, 5.0)
    standing = dues(day.watch, day.now)
    _apart(day, -20.0)
    latched = dues(day.watch, day.now)

    assert [one.what for one in first[:2]] == [food.what, late.what]
    for those in (first, standing, latched):
        assert [one.subject for one in those if one.what.startswith("a test")] == ["cellar-upright"]
    assert latched[0].what == f"{OF_FOOD}Shed chest"
    assert "gatewayd checked shed-chest" in latched[0].reason


def _apart(day: Player, celsius: float) -> None:
    """Let the shed chest be at one temperature for three hours, and the other cold."""
    for _ in range(180):
        day.hear(celsius)
        day.report(MINUTE, [-20.0], "cellar-upright")
