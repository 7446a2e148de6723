"""What was beside what would have been."""

from gatewayd.model.event import What
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.upkeep.compare import compare
from tests.upkeep.test_metrics import T0, Log


def verdicts(was: Log, would: Log, since: int = 0) -> list[tuple[str, int]]:
    """Return each verdict with the hour at which the alarm was, or would be, raised."""
    found = compare(was.events, would.events, T0 + since, T0 + 30 * DAY, MINUTE)
    return [(change.verdict.value, (change.spell.raised - T0) // HOUR) for change in found]


def test_the_four_verdicts() -> None:
    """Added, gone, at another time, and as it was, in order of time; each alarm is compared with itself."""
    was, would = Log(), Log()
    was.spell(HOUR, HOUR)
    would.spell(HOUR + 50_000, HOUR)
    was.spell(10 * HOUR, HOUR)
    would.spell(20 * HOUR, HOUR)
    was.spell(30 * HOUR, 5 * HOUR)
    would.spell(33 * HOUR, 5 * HOUR)
    would.spell(33 * HOUR, HOUR, "porch-chest")

    assert verdicts(was, would) == [("same", 1), ("gone", 10), ("added", 20), ("added", 33), ("moved", 33)]


def test_two_in_place_of_one() -> None:
    """An alarm that would have come twice in place of once is the same once, and added once."""
    was, would = Log(), Log()
    was.spell(HOUR, 8 * HOUR)
    would.spell(HOUR, 2 * HOUR)
    would.spell(5 * HOUR, 2 * HOUR)

    assert verdicts(was, would) == [("same", 1), ("added", 5)]


def test_already_on_at_the_start() -> None:
    """What stood when the span began counts: on both sides it is the same, on one it is added or gone."""
    was, would = Log(), Log()
    was.spell(0, 50 * HOUR)
    would.turn(What.RAISED, 20 * HOUR)
    would.turn(What.RAISED, 20 * HOUR, "porch-chest")
    was.spell(0, 30 * HOUR, "cellar-upright")

    assert verdicts(was, would, since=40 * HOUR) == [("added", 20), ("same", 20)]


def test_nothing_shown() -> None:
    """What would be hidden behind another alarm is none that people see."""
    would = Log()
    would.turn(What.RAISED, HOUR, facts={"suppressed_by": "heron-lane"})

    assert verdicts(Log(), would) == []
