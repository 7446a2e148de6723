"""What is not being watched: a freezer, a source, a neighbour's house."""

from dataclasses import replace

from gatewayd.message.wording import word
from gatewayd.model.event import What
from gatewayd.model.format import Saying
from gatewayd.model.moment import HOUR
from tests.message.scene import BROKER, HOUSE, event, turn


def test_an_unwatched_freezer_tells_what_it_was() -> None:
    """A freezer nobody hears is told with its last temperature, whether it rose, and that now is not known."""
    title, body = word(turn("unwatched", What.RAISED, rising=True, why="the sensor's frames are refused"), HOUSE)

    assert title == "Heron Lane: Shed chest is not being watched"
    assert "since 02:24 (48 min). It was at −18.2 °C and rising then. The sensor's frames are refused." in body
    assert "cannot be seen from here" in body


def test_a_freezer_never_heard_was_never_warm() -> None:
    """Without any reading no temperature is invented."""
    body = word(event("unwatched", What.RAISED, value=None, since=None, lasted=HOUR), HOUSE)[1]

    assert "Nothing has been heard from Shed chest (shed) for 1 h, since the watch began." in body
    assert "It was at" not in body


def test_worse_and_over_of_an_unwatched_freezer() -> None:
    """After hours it could have warmed unseen; heard again, the time between stays unknown."""
    worse = word(event("unwatched", What.WORSE, lasted=4 * HOUR), HOUSE)
    over = word(turn("unwatched", What.OVER), HOUSE)

    assert worse[0] == "Heron Lane: Shed chest has not been watched for 4 h"
    assert "could have warmed unseen" in worse[1]
    assert over[0] == "Heron Lane: Shed chest is watched again, −18.2 °C"
    assert "how warm it was in between is not known" in over[1]


def test_lost_source_names_what_is_not_heard() -> None:
    """A lost broker is told with its reason and the freezers that depend on it."""
    title, body = word(turn("source-down", What.RAISED), HOUSE)

    assert title == "Heron Lane: Home broker is not reachable"
    assert "The password was refused." in body
    assert "nothing is heard from Shed chest, Cellar upright and Porch chest" in body
    assert "look at user and password" in body


def test_a_deaf_radio_is_not_its_sensors_fault() -> None:
    """A radio hears nothing, where a broker is not reached; its stick is looked at and not the sensors."""
    radio = Saying("bthome")
    house = replace(HOUSE, sensors={i: replace(s, payload=radio) for i, s in HOUSE.sensors.items()})
    title, body = word(event("source-down", What.RAISED, BROKER), house)

    assert title.endswith("Home broker hears nothing")
    assert "The sensors and their batteries are not to blame." in body
    assert "Bluetooth stick" in body
    assert "hears again" in word(event("source-down", What.OVER, BROKER), house)[1]


def test_a_silent_neighbour_is_called() -> None:
    """A neighbour's silence is told by the neighbour's name, with a call to make, and whether it was ever heard."""
    title, body = word(turn("neighbour-silent", What.RAISED), HOUSE)
    never = word(turn("neighbour-silent", What.RAISED, heard=False), HOUSE)[1]
    gone = word(turn("neighbour-silent", What.RAISED, gone=True), HOUSE)[1]

    assert title == "Heron Lane: Mill House's gateway is silent"
    assert "no sign of life since 02:24 (48 min)" in body
    assert "Call them: has the power failed there, or the network?" in body
    assert "Nothing has been heard from Mill House's gateway yet, after 48 min of waiting." in never
    assert "settings of either house" in never
    assert "has broken off" in gone
