"""What becomes of an outage in a dark spell, a restart, and with new settings."""

from gatewayd.alarm.kinds import HIGH
from gatewayd.alarm.mains import Mains
from gatewayd.model.event import What
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from tests.alarm.outage import ALL, HOUSE, MAINS, PORCH, SHED, House, cycles, shed_out
from tests.alarm.scene import at

# -- dark spells, restarts, settings -------------------------------------------------------------------------


def test_dark_spell_satisfies_no_delay() -> None:
    """A supply that was off when the watch went dark has its delay anew, a sensor is what it says next."""
    house = House()
    house.mains.host(False, at(0))
    house.mains.sensor("shed-mains", (SHED,), "shed", False, at(0))
    house.mains.dark(at(9 * HOUR))
    house.go(9 * HOUR + 2 * MINUTE - 1)
    assert house.events == []
    house.go(10 * HOUR)

    assert house.turns(MAINS) == ["raised"]
    assert house.told(MAINS)["how"] == "host"


def test_outage_goes_on_through_a_dark_spell() -> None:
    """What was out stays out until something says that it is on."""
    house = House()
    shed_out(house)
    house.mains.dark(at(9 * HOUR))
    house.go(10 * HOUR)
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(10 * HOUR))
    house.go(10 * HOUR + MINUTE)

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.told(MAINS, What.OVER)["lasted"] == 10 * HOUR


def test_guess_waits_after_a_dark_spell() -> None:
    """After a dark spell freezers are not sure of anything; a guess is not taken back before they can be."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    house.mains.dark(at(9 * HOUR))
    for minute in range(0, 120, 10):
        house.turn_at(9 * HOUR + minute * MINUTE, shed_chest=None, porch_chest=None)
    assert house.turns(MAINS) == ["raised"]
    house.turn_at(11 * HOUR, shed_chest=None, porch_chest=None)

    assert house.turns(MAINS) == ["raised", "over"]


def test_restart_in_another_boot_goes_on() -> None:
    """Packed and unpacked in another boot, the outage stands and hides, and ends when the sensor says so."""
    house = House()
    shed_out(house)
    house.mains = unpack(Mains, pack(house.mains))
    house.mains.forget_steady()
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", False, at(HOUR, "later"))
    house.go(2 * HOUR, "later")
    assert house.turns(MAINS) == ["raised"]
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(3 * HOUR, "later"))
    house.go(4 * HOUR, "later")

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.told(MAINS, What.OVER)["lasted"] == 3 * HOUR
    assert house.hidden(SHED) == set()


def test_restart_without_a_memory_ends_and_shows() -> None:
    """Where only the alarms survived, the sensor's next word goes on or ends it, and the children are shown."""
    house = House()
    shed_out(house)
    house.mains = Mains(HOUSE)
    house.mains.fit(ALL, ("shed-mains",))
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(HOUR, "later"))
    house.go(2 * HOUR, "later")

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.hidden(SHED) == set()


def test_alarm_of_the_house_that_nothing_speaks_for_ends() -> None:
    """A guess of which nothing is known after a restart is over after two hours of looking."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    house.mains = Mains(HOUSE)
    house.mains.fit(ALL, ())
    for hour in range(2, 4):
        house.mains.look(at(hour * HOUR), house.alarms)
    assert house.turns(MAINS) == ["raised"]
    house.mains.look(at(4 * HOUR), house.alarms)

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.hidden(SHED) == set()


def test_removed_sensor_hides_nobody() -> None:
    """A sensor that leaves the settings lets its freezers be told of again."""
    house = House()
    shed_out(house)
    house.stand(SHED, HIGH, HOUR)
    house.alarms.close(next(a for a in house.alarms.all.values() if a.kind == MAINS), at(HOUR), "removed")
    house.mains.fit(ALL, ("cellar-mains",))
    house.mains.look(at(HOUR), house.alarms)

    assert house.turns("high", of=SHED)[-2:] == ["unsuppressed", "raised"]
    assert house.mains.due(house.alarms) is None


def test_mains_can_be_packed() -> None:
    """All that is known of the mains survives being packed."""
    house = House()
    cycles(house, 0, DAY, until=DAY + 3 * HOUR)
    shed_out(house, DAY + 3 * HOUR)
    house.mains.look(at(DAY + 4 * HOUR), house.alarms)

    assert unpack(Mains, pack(house.mains)) == house.mains
