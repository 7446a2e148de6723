"""A probe that is out of its place on purpose: nothing rings, nothing is left behind, and nothing is forgotten."""

from dataclasses import replace

import pytest

from gatewayd.model.given import Aside, Heard, Order
from gatewayd.model.house import Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.reading import Quality, Quantity
from gatewayd.watch.view import health, status
from tests.days.player import BROKER, Player, house

PROBE = "shed-chest-air"
ROOM = "shed-room"
FOOD = "shed-chest-food"


def in_ice(day: Player, minutes: int = 20) -> None:
    """Carry the probe through the room into the ice and leave it there."""
    day.give(Aside(PROBE, 2 * HOUR, "ann"))
    day.report(MINUTE, [-8.0, 12.0, 17.0, 9.0, 4.0, 2.0, 1.0])
    day.report(MINUTE, [0.4] * minutes)


def begin() -> Player:
    """Return a house whose one freezer has been cold for a while."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0, -20.2] * 15)
    return day


def aside(day: Player) -> list[float] | None:
    """Return what the probe has said since it was set aside, None if it is not."""
    found = day.watch.posts[PROBE].aside
    return None if found is None else [seen.raw for seen in found.seen]


def test_nothing_rings_and_nothing_latches() -> None:
    """An hour and a half in ice raises no alarm at all, not even one that is hidden, and the probe counts again."""
    day = begin()
    in_ice(day, 90)
    day.give(Aside(PROBE, 30 * MINUTE, "ann", returning=True))
    day.report(MINUTE, [9.0, -2.0, -9.0, -13.0, -17.0, -20.0, -20.1])

    assert [event for event in day.events if event.kind != "start"] == []
    assert day.watch.posts[PROBE].aside is None
    assert day.watch.judges["shed-chest"].value == -20.1
    assert day.watch.weeks.spans["shed-chest"].highest == -13.0
    assert health(day.watch, day.now)[0]["bad"] == {}


def test_rows_say_so() -> None:
    """What it says meanwhile is kept, marked as set aside, so that no sum of warmth counts it."""
    day = begin()
    before = len(day.rows)
    in_ice(day)

    assert {row.quality for row in day.rows[before:]} == {Quality.ASIDE}
    assert {row.quality for row in day.rows[:before]} == {Quality.GOOD}
    assert aside(day) == [17.0, 4.0, 2.0, 1.0] + [0.4] * 20  # the jumps before are not believed


def test_raw_without_the_old_offset() -> None:
    """What is collected is raw: an offset of an earlier check is not in it."""
    day = begin()
    day.watch.posts[PROBE].offsets[Quantity.TEMPERATURE] = 1.5
    in_ice(day)

    assert (aside(day) or [])[-1] == 0.4


def two_probes() -> Player:
    """Return a cold house whose one freezer has a second probe under the food."""
    wired = house(1)
    sensors = {**wired.sensors, FOOD: Sensor(FOOD, "Shed food", BROKER, "air/food")}
    freezers = {"shed-chest": replace(wired.freezers["shed-chest"], sensors=(PROBE, FOOD))}
    day = Player(replace(wired, sensors=sensors, freezers=freezers))
    for _ in range(30):
        day.give(Heard(BROKER, FOOD, b"-19.2", day.now))
        day.report(MINUTE, [-20.0])
    return day


def test_other_probe_goes_on_alone() -> None:
    """A probe that was warm before its check began counts no more: the other one says how its freezer is."""
    day = two_probes()
    day.report(MINUTE, [-8.0, -2.0, 0.3])
    before = day.watch.judges["shed-chest"].value
    day.give(Aside(PROBE, 2 * HOUR, "ann"))
    begun = day.watch.judges["shed-chest"].value
    for _ in range(15):
        day.report(MINUTE, [0.3])
        day.give(Heard(BROKER, FOOD, b"-19.2", day.now))
    shown = status(day.watch, day.now)["freezers"][0]

    assert (before, begun) == (0.3, -19.2)
    assert shown["celsius"] == -19.2
    assert abs(shown["speed"]) < 0.1
    assert shown["state"] == "cold enough"


def test_only_probe_in_ice() -> None:
    """The last word of the only probe is no temperature of its freezer once it lies in ice; it says so instead."""
    day = begin()
    day.report(MINUTE, [-8.0, -2.0, 0.3])
    day.give(Aside(PROBE, 2 * HOUR, "ann"))
    day.report(MINUTE, [0.3] * 5)
    out = status(day.watch, day.now)["freezers"][0]
    day.give(Aside(PROBE, 30 * MINUTE, "ann", returning=True))
    day.report(MINUTE, [9.0, -2.0, -20.0, -20.1])
    back = status(day.watch, day.now)["freezers"][0]

    assert (out["celsius"], out["speed"]) == (None, None)
    assert "its probe is in ice since" in out["state"]
    assert (back["celsius"], back["state"]) == (-20.1, "cold enough")


def test_ends_by_itself() -> None:
    """A probe that is forgotten in the ice counts again when its time is up, and its freezer alarms as always."""
    day = begin()
    in_ice(day, 300)

    assert aside(day) is None
    assert "shed-chest raised" in day.turns("highhigh")


def test_end_at_once() -> None:
    """No span ends it at once; going back is nothing for a probe that was not out."""
    day = begin()
    in_ice(day)
    day.give(Aside(PROBE, 0))
    ended = aside(day)
    day.give(Aside(PROBE, MINUTE, returning=True))
    day.give(Aside("no-such-sensor", MINUTE))

    assert ended is None
    assert aside(day) is None


def test_going_on_keeps_what_was_said() -> None:
    """Beginning again while it lies in the ice goes on with what it has said; after going back it begins anew."""
    day = begin()
    in_ice(day)
    said = len(aside(day) or [])
    day.give(Aside(PROBE, HOUR, "ben"))
    again = len(aside(day) or [])
    day.give(Aside(PROBE, HOUR, returning=True))
    day.give(Aside(PROBE, HOUR, "ben"))

    assert (said, again) == (24, 24)
    assert aside(day) == []


@pytest.mark.parametrize(("boot", "kept"), [(None, 24), ("boot-b", None)])
def test_restart(boot: str | None, kept: int | None) -> None:
    """A restart of the daemon goes on with the check; after one of the computer nobody knows how long it has been."""
    day = begin()
    in_ice(day)
    day.restart(10_000, boot)
    said = aside(day)

    assert (None if said is None else len(said)) == kept


def test_steady_room_is_no_fault() -> None:
    """A thermometer of a room may stand still for days; one in a freezer that does so is stuck."""
    wired = house(1)
    sensors = {**wired.sensors, ROOM: Sensor(ROOM, "Shed air", BROKER, "air/room")}
    freezers = {"shed-chest": replace(wired.freezers["shed-chest"], room=ROOM)}
    day = Player(replace(wired, sensors=sensors, freezers=freezers))
    for _ in range(2 * DAY // (30 * MINUTE)):
        day.hear(-20.0)
        day.give(Heard(BROKER, ROOM, b"11.0", day.now))
        day.go(30 * MINUTE)

    assert day.turns("stuck") == [f"{PROBE} raised"]
    assert [one["room_of"] for one in health(day.watch, day.now)] == [[], ["shed-chest"]]


def test_true_end_over_a_restart() -> None:
    """However often it is begun anew, and over a restart of the daemon, it is out for two hours from its begin."""
    day = begin()
    in_ice(day)
    began = day.now.wall - 27 * MINUTE
    day.give(Aside(PROBE, 2 * HOUR, "ann"))
    day.restart(10 * MINUTE)
    day.give(Aside(PROBE, 2 * HOUR, "ben"))
    found = day.watch.posts[PROBE].aside

    assert found is not None
    assert found.until - day.now.steady == began + 2 * HOUR - day.now.wall
    day.go(2 * HOUR)
    day.report(MINUTE, [-20.0])
    assert aside(day) is None


def test_status_says_that_nobody_watches() -> None:
    """While its only probe lies in ice a freezer is not called cold enough, and no defrost of it begins."""
    day = begin()
    in_ice(day)
    state = status(day.watch, day.now)["freezers"][0]["state"]
    day.give(Order("begin defrost", who="ann", subject="shed-chest"))

    assert state.startswith("its probe is in ice since ")
    assert "nobody watches it until" in state
    assert day.answer is not None
    assert not day.answer.done
    assert "its probe is in ice since" in day.answer.text
    day.give(Order("begin defrost", who="ann", subject="shed-chest", why="anyway"))
    assert day.answer.done
