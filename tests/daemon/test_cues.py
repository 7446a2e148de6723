"""What a rehearsal reads out of the stored events: restarts, people, sources."""

from dataclasses import replace

from gatewayd.daemon.cues import Cue, cues
from gatewayd.model.event import Event, What
from gatewayd.model.given import Order, SourceNews, Tick
from gatewayd.model.moment import HOUR, MINUTE
from tests.store.make import T0, event


def turn(number: int, wall: int, what: What, kind: str = "high", who: str = "", **facts: object) -> Event:
    """Return one turn of an alarm of the shed chest."""
    return replace(event(number, wall, 1), what=what, kind=kind, who=who, facts=facts)  # type: ignore[arg-type]


def test_people() -> None:
    """Acknowledgements, shelvings, their end and food checks are orders; one shelving of many alarms is one order."""
    until = T0 + HOUR
    found = cues(
        [
            turn(1, T0, What.RAISED),
            turn(2, T0 + 1, What.ACKNOWLEDGED, who="ann", kind="highhigh"),
            *(turn(3, T0 + 2, What.SHELVED, kind, "ann", until=until) for kind in ("high", "highhigh", "rising")),
            turn(6, T0 + 3, What.UNSHELVED, who="ben"),
            replace(turn(7, T0 + 4, What.RESET, who="ann"), why="kept all"),
        ],
        0,
    )

    assert found == [
        Cue(T0, "boot-a", Tick()),
        Cue(T0 + 1, "boot-a", Order("acknowledge", who="ann"), alarm=("shed-chest", "highhigh")),
        Cue(T0 + 2, "boot-a", Order("at the freezer", who="ann", subject="shed-chest", span=HOUR - 2)),
        Cue(T0 + 3, "boot-a", Order("left the freezer", who="ben", subject="shed-chest")),
        Cue(T0 + 4, "boot-a", Order("food checked", who="ann", why="kept all", subject="shed-chest")),
    ]


def test_switch_offs() -> None:
    """A test switch-off was begun and ended by order; one that ended by itself does so again."""
    stages = ("begun", "switch-on", "begun", "ended")
    noted = [turn(n, T0 + n, What.NOTED, "test-off") for n in range(len(stages))]
    found = cues([replace(e, facts={"stage": s, "who": "ann"}) for e, s in zip(noted, stages, strict=True)], 0)

    assert [cue.given for cue in found] == [
        Order("test switch-off", who="ann", subject="shed-chest"),
        Tick(),
        Order("test switch-off", who="ann", subject="shed-chest"),
        Order("end the test", who="ann", subject="shed-chest"),
    ]


def test_the_house_is_nobody() -> None:
    """What the house did by itself it will do by itself again: that is only a sign of its life."""
    by_itself = (What.ACKNOWLEDGED, What.UNSHELVED, What.SUPPRESSED)
    found = cues([turn(n, T0 + n, what, who="the house") for n, what in enumerate(by_itself)], 0)

    assert {cue.given for cue in found} == {Tick()}


def test_sources() -> None:
    """A source went down before its alarm, and came back before the alarm ended."""
    raised = replace(turn(1, T0 + HOUR, What.RAISED, "source-down", since=T0, reason="it hung up"), subject="shed")
    over = replace(turn(2, T0 + 2 * HOUR, What.OVER, "source-down"), subject="shed")

    assert cues([raised, over], 0) == [
        Cue(T0, "boot-a", SourceNews("shed", up=False, reason="it hung up")),
        Cue(T0 + 2 * HOUR - 2 * MINUTE, "boot-a", SourceNews("shed", up=True, reason="it answers")),
    ]


def test_restarts() -> None:
    """A start is a restart, with its note of the dark spell as one; without a start the computer had slept."""
    start = turn(1, T0, What.NOTED, "start")
    dark = turn(2, T0 + 10 * MINUTE, What.NOTED, "dark", since=T0 - HOUR, until=T0)
    slept = turn(3, T0 + 5 * HOUR, What.NOTED, "dark", since=T0 + HOUR, until=T0 + 4 * HOUR)
    found = [cue for cue in cues([start, dark, slept], 0) if cue.restart]

    assert [(cue.wall, cue.slept) for cue in found] == [(T0, False), (T0 + 4 * HOUR, True)]


def test_only_from_the_beginning() -> None:
    """What lies before the beginning is not played."""
    assert cues([turn(1, T0, What.RAISED), turn(2, T0 + HOUR, What.OVER)], T0 + 1) == [Cue(T0 + HOUR, "boot-a", Tick())]


def test_restart_goes_first() -> None:
    """What was written down at the moment of a restart, even before its note, came of the restart."""
    raised = turn(1, T0, What.RAISED, "unwatched")
    slept = turn(2, T0 + 30, What.NOTED, "dark", until=T0)

    assert [cue.restart for cue in cues([raised, slept], 0)] == [True, False]


def test_a_defrost_is_played_again_by_its_orders() -> None:
    """Begun, gone through and ended by order; what it did by itself it does again."""
    stages = ("begun", "step", "over", "ended", "cold")
    more = ({"span": 5_400_000}, {"step": "unplug"}, {}, {"ice": "3 kg"}, {})
    noted = [turn(n, T0 + n, What.NOTED, "defrost") for n in range(len(stages))]
    past = [
        replace(event, facts={"stage": stage, "who": "ann", **facts})
        for event, stage, facts in zip(noted, stages, more, strict=True)
    ]
    assert [cue.given for cue in cues(past, T0)] == [
        Order("begin defrost", who="ann", subject="shed-chest", span=5_400_000),
        Order("defrost step", who="ann", subject="shed-chest", why="unplug"),
        Tick(),
        Order("end defrost", who="ann", subject="shed-chest", why="3 kg"),
        Tick(),
    ]
