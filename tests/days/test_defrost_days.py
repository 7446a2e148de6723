"""Whole defrosts of a simulated chest: done well, the plug forgotten, the lid left open, a restart in the middle.

The plant has no ice in it: what is warmed is air, liner and what food is left. A real one stays cold a little longer.
"""

from collections.abc import Iterator

from gatewayd.model.event import What
from gatewayd.model.given import Order
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.priority import Priority
from tests.days.plants import Lane

WHO = "shed-chest"


def emptied(seed: int = 1) -> Lane:
    """Return a chest that has run for three hours and is being defrosted: food out, plug out, lid wide open."""
    lane = Lane(seed=seed, pace=None)
    lane.live(3 * HOUR)
    order(lane, "begin defrost")
    plant = lane.plants[WHO]
    plant.open(0.6)
    lane.live(6 * MINUTE)
    order(lane, "defrost step", "food-out")
    for lump in plant.lumps:
        lump.mass = 0.3  # what is left behind; the cold packs of the walls
    plant.plugged = False
    plant.open(1.0)
    order(lane, "defrost step", "lid")
    return lane


def order(lane: Lane, verb: str, why: str = "") -> None:
    """Give an order about the defrost, which must be carried out."""
    lane.player.answer = None
    lane.player.give(Order(verb, who="ann", subject=WHO, why=why))
    assert lane.player.answer is not None
    assert lane.player.answer.done, lane.player.answer.text


def stages(lane: Lane) -> list[object]:
    """Return the stages of the defrost that were written down."""
    return [event.facts["stage"] for event in lane.player.events if event.kind == "defrost"]


def high(lane: Lane) -> Iterator[str]:
    """Yield the kinds of the urgent messages, in order."""
    return (n.kind for n in lane.player.notices if n.priority is Priority.HIGH)


def test_done_well_is_quiet_and_written_down() -> None:
    """Fifty minutes of work and on again: one word that it is cold, none of alarm, and a line for the calendar."""
    lane = emptied()
    lane.live(50 * MINUTE)
    lane.plants[WHO].open(0.0)
    lane.plants[WHO].plugged = True
    order(lane, "defrost step", "on")
    lane.live(3 * HOUR)

    assert lane.player.watch.defrosts == {}
    assert stages(lane)[-1] == "cold"
    assert [title for title in lane.player.told() if "too warm" in title or "not cooling" in title] == []
    (chore,) = lane.player.chores
    assert isinstance(chore.facts["warmest"], float)
    assert chore.facts["warmest"] > 5
    lane.live(8 * HOUR)
    assert "highhigh" not in set(high(lane))
    assert not any(alarm.listed for alarm in lane.player.watch.alarms.all.values())


def test_plug_forgotten_is_urgent_20_minutes_after_the_end() -> None:
    """The lid is shut, the work said to be done, the plug forgotten: an urgent message, again after an hour, and its
    end when somebody has plugged it in."""
    lane = emptied()
    lane.live(50 * MINUTE)
    lane.plants[WHO].open(0.0)
    order(lane, "end defrost", "2 kg")
    done = lane.player.now.steady
    lane.live(90 * MINUTE)
    turns = [e for e in lane.player.events if e.kind == "not-cooling"]

    assert [(e.what, e.at.steady - done) for e in turns[:2]] == [
        (What.RAISED, 20 * MINUTE),
        (What.REPEATED, 80 * MINUTE),
    ]
    body = next(n.body for n in lane.player.notices if n.kind == "not-cooling")
    assert "Is it switched on?" in body
    lane.plants[WHO].plugged = True
    lane.live(3 * HOUR)
    assert lane.player.turns("not-cooling")[-1] == f"{WHO} over"
    assert stages(lane)[-1] == "cold"


def test_left_open_and_running_arms_itself_again() -> None:
    """Plugged in again and the lid left wide open: nobody said anything, and all is told within the limit of quiet."""
    lane = emptied()
    begun = next(e.at.steady for e in lane.player.events if e.kind == "defrost")
    lane.live(50 * MINUTE)
    lane.plants[WHO].plugged = True
    lane.live(3 * HOUR)

    urgent = [(n.kind, n.made.steady - begun) for n in lane.player.notices if n.priority is Priority.HIGH]
    assert {"not-cooling", "highhigh"} & {kind for kind, _ in urgent}
    assert min(after for kind, after in urgent if kind != "defrost") <= 150 * MINUTE
    assert not any(alarm.suppressed for alarm in lane.player.watch.alarms.all.values())


def test_restart_in_the_middle_changes_nothing_that_is_told() -> None:
    """The gateway restarts in the middle, or loses its power for a quarter of an hour: the forgotten plug is told."""
    for boot in (None, "boot-b"):
        lane = emptied()
        lane.live(30 * MINUTE)
        lane.player.restart(15 * MINUTE, boot)
        lane.live(20 * MINUTE)
        lane.plants[WHO].open(0.0)
        order(lane, "end defrost")
        done = lane.player.now.steady
        lane.live(40 * MINUTE)
        raised = next(e for e in lane.player.events if e.kind == "not-cooling")
        assert raised.at.steady - done == 20 * MINUTE
        assert "highhigh" not in set(high(lane))


def test_watched_as_always_on_the_day_after() -> None:
    """What was learnt of the freezer is not spoilt: a plug pulled on the next day is told as on any."""
    lane = emptied()
    lane.live(45 * MINUTE)
    plant = lane.plants[WHO]
    plant.open(0.0)
    plant.plugged = True
    order(lane, "end defrost")
    lane.live(2 * HOUR)
    for lump in plant.lumps:
        lump.mass = 20.0
    lane.live(10 * HOUR)
    before = len(lane.player.notices)
    plant.plugged = False
    pulled = lane.player.now.steady
    lane.live(16 * HOUR)
    told = [n for n in lane.player.notices[before:] if n.kind in ("rising", "high")]
    assert told
    assert told[0].made.steady - pulled < 8 * HOUR


def test_lid_shut_alone_is_not_cooling_and_a_compressor_is() -> None:
    """Open for 20 to 90 minutes and shut: without power each is told after 20 minutes, with power none is."""
    for plugged in (False, True):
        for seed, minutes in enumerate((20, 50, 90), 1):
            lane = emptied(seed)
            lane.live(minutes * MINUTE)
            plant = lane.plants[WHO]
            plant.open(0.0)
            plant.plugged = plugged
            order(lane, "end defrost")
            lane.live(2 * HOUR)
            assert bool(lane.player.turns("not-cooling")) is not plugged, (plugged, minutes)
