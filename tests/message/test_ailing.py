"""What ails a sensor."""

from gatewayd.message.wording import word
from gatewayd.model.event import What
from tests.message.scene import HOUSE, event, turn


def test_silent_and_stuck_say_for_how_long() -> None:
    """A silent sensor is told with its reason, a stuck one with the value that never moves."""
    silent = word(turn("silent", What.RAISED, why="messages arrive but cannot be read"), HOUSE)[1]
    stuck = word(turn("stuck", What.RAISED), HOUSE)[1]

    assert "Nothing has been heard from the sensor Shed chest probe for 40 min. Messages arrive but" in silent
    assert "has said exactly −18.2 °C for 1 day" in stuck


def test_a_fault_tells_what_the_sensor_says() -> None:
    """A sensor at fault is told with what it says and how often."""
    body = word(turn("sensor-fault", What.RAISED), HOUSE)[1]

    assert "has said nothing usable for 30 min: probe disconnected, 6 times." in body


def test_a_battery_tells_its_level_in_its_unit() -> None:
    """A level is told in percent or volts, and left out where the unit is not known."""
    assert "it shows 41 %" in word(turn("battery", What.RAISED), HOUSE)[1]
    assert "it shows 2.61 V" in word(turn("battery", What.RAISED, level=2.61, unit="V"), HOUSE)[1]
    assert "it shows" not in word(turn("battery", What.RAISED, unit=None), HOUSE)[1]
    assert "good again, 98 %" in word(turn("battery", What.OVER), HOUSE)[1]


def test_a_weak_signal_gives_one_advice() -> None:
    """The share that is lost is told in percent, and the advice is the one that came with it, or a common one."""
    body = word(turn("weak-signal", What.RAISED), HOUSE)[1]
    bare = word(event("weak-signal", What.RAISED, "shed-air"), HOUSE)[1]

    assert "62 % does not arrive" in body
    assert "What to do now: The signal is very weak. Go nearer." in body
    assert "What to do now: Bring the gateway nearer" in bare
