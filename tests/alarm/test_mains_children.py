"""Whose alarms an outage hides, and until when."""

from gatewayd.alarm.kinds import HIGH, HIGHHIGH, RISING, UNWATCHED, WARM_LONG
from gatewayd.model.moment import HOUR, MINUTE
from tests.alarm.outage import ALL, CELLAR, HOUSE, MAINS, PORCH, SHED, House, shed_out
from tests.alarm.scene import at

# -- whom it hides -------------------------------------------------------------------------------------------


def test_children_are_hidden_before_they_are_raised() -> None:
    """What follows from an outage is suppressed as it is raised, in covered freezers only, and never High High."""
    house = House()
    shed_out(house)
    for freezer in ALL:
        house.stand(freezer, HIGH, HOUR)
        house.stand(freezer, HIGHHIGH, 2 * HOUR)

    assert house.hidden(SHED) == house.hidden(PORCH) == {"high", "rising", "warm-long", "chattering", "unwatched"}
    assert house.hidden(CELLAR) == set()
    assert house.alarms.get(SHED, HIGH).suppressed_by == "shed-mains"
    assert not house.alarms.get(SHED, HIGHHIGH).hidden


def test_standing_child_is_hidden_too() -> None:
    """One that was told before the outage was known is suppressed from then on."""
    house = House()
    house.stand(SHED, RISING, 0)
    shed_out(house)

    assert house.turns("rising", of=SHED) == ["raised", "suppressed"]


def test_child_that_still_stands_is_told_when_power_is_back() -> None:
    """After the outage a standing child is told as new, one that is over is not."""
    house = House()
    shed_out(house)
    house.stand(SHED, HIGH, HOUR)
    house.stand(PORCH, HIGH, HOUR)
    house.alarms.clear(house.alarms.get(PORCH, HIGH), at(2 * HOUR), {})
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(3 * HOUR))
    house.go(3 * HOUR + MINUTE)

    assert house.turns("high", of=SHED) == ["suppressed", "raised", "unsuppressed", "raised"]
    assert house.turns("high", of=PORCH)[-1] == "unsuppressed"
    assert house.hidden(SHED) == house.hidden(PORCH) == set()
    assert not house.mains.hiding


def test_child_that_came_and_went_is_hidden_again() -> None:
    """The engine shows a child that clears; while the outage lasts the next `suppress` hides its next raise."""
    house = House()
    shed_out(house)
    house.stand(SHED, UNWATCHED, HOUR)
    house.alarms.clear(house.alarms.get(SHED, UNWATCHED), at(2 * HOUR), {})
    assert house.mains.hiding
    house.mains.suppress(house.alarms, at(2 * HOUR))
    house.stand(SHED, UNWATCHED, 3 * HOUR)

    assert house.alarms.get(SHED, UNWATCHED).hidden


def test_suppressing_twice_writes_nothing() -> None:
    """Hiding what is hidden is free of events."""
    house = House()
    shed_out(house)
    before = len(house.events)
    house.mains.suppress(house.alarms, at(HOUR))

    assert len(house.events) == before


def test_one_parent_goes_and_another_still_covers() -> None:
    """Children covered by two parents stay hidden until the last has ended, and its name speaks for them."""
    house = House()
    shed_out(house)
    house.mains.host(False, at(5 * MINUTE))
    house.go(HOUR)
    assert house.hidden(CELLAR)
    house.stand(SHED, HIGH, HOUR)
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(2 * HOUR))
    house.go(3 * HOUR)
    assert house.turns(MAINS, of="shed-mains") == ["raised", "over"]
    assert house.turns("high", of=SHED) == ["suppressed", "raised"]
    assert house.alarms.get(SHED, HIGH).suppressed_by == HOUSE
    house.mains.host(True, at(4 * HOUR))
    house.go(5 * HOUR)

    assert house.turns("high", of=SHED)[-2:] == ["unsuppressed", "raised"]


def test_what_others_hide_is_left_to_them() -> None:
    """A child that something else suppresses is neither taken over nor shown by the mains."""
    house = House()
    house.alarms.suppress(house.alarms.get(SHED, WARM_LONG), at(0), "something else")
    shed_out(house)
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(HOUR))
    house.go(2 * HOUR)

    assert house.alarms.get(SHED, WARM_LONG).suppressed_by == "something else"


def test_parent_out_of_service_hides_nothing() -> None:
    """An outage that a person took out of service speaks for nobody."""
    house = House()
    shed_out(house)
    house.stand(SHED, HIGH, HOUR)
    parent = next(a for a in house.alarms.all.values() if a.kind == MAINS)
    house.alarms.serve(parent, at(HOUR), "ann", "the sensor is being moved", out=True)
    house.mains.suppress(house.alarms, at(HOUR))

    assert house.turns("high", of=SHED)[-1] == "raised"
    assert house.hidden(PORCH) == set()
