"""Life and counters: what proves that a sensor lives, and what an old frame may not do."""

from dataclasses import replace

import pytest

from gatewayd.model.format import Format, Saying
from gatewayd.model.given import Rewired, SourceNews
from gatewayd.model.house import House, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard, Quantity
from gatewayd.model.route import Secret
from gatewayd.sources.opener import make_opener
from gatewayd.watch.watch import Watch
from tests.days.player import Player, house

ADDRESS = "54:48:E6:8F:80:A5"
# BTHome v2, bthome.io/encryption, worked example: 25.06 °C, 50.55 %
KEY, PUBLISHED = "231d39c1d7cc1ab1aee224cd096db932", bytes.fromhex("41a47266c95f730011223378237214")
STEADY = bytes.fromhex("4002c6f8")  # -18.50 °C without packet id
NUMBERED = "4000{:02x}02c6f8"


def radio_house(saying: Saying) -> House:
    """Return a house whose one probe speaks Bluetooth."""
    wired = house(1)
    sensor = Sensor("shed-chest-air", "Shed probe", "garage", ADDRESS, saying)
    return replace(wired, sensors={sensor.id: sensor}, sources={"garage": "The gateway's radio"})


def begin(saying: Saying) -> Player:
    """Return a day in that house, its radio up."""
    day = Player(radio_house(saying), begun=True)
    day.give(SourceNews("garage", up=True, reason="it hears"))
    return day


def hear(day: Player, payload: bytes) -> None:
    """Hear one frame."""
    day.give(Heard("garage", "shed-chest-air", payload, day.now, signal=-70))


def test_steady_payload_is_never_silent() -> None:
    """A probe that says the very same bytes for a day, heard once in 15 s with long holes, is not called silent."""
    day = begin(Saying(Format.BTHOME))
    end = day.now.steady + DAY - HOUR
    while day.now.steady < end:
        hear(day, STEADY)
        day.go(15 * SECOND if day.now.steady % (2 * HOUR) > 12 * MINUTE else 9 * MINUTE)

    assert day.turns("silent") == []
    assert day.told() == []


def test_same_packet_is_no_life() -> None:
    """With packet numbers, a frame that comes again and again proves nothing: the sensor is silent."""
    day = begin(Saying(Format.BTHOME))
    for n in range(20):
        hear(day, bytes.fromhex(NUMBERED.format(n)))
        day.go(30 * SECOND)
    for _ in range(60):
        hear(day, bytes.fromhex(NUMBERED.format(19)))
        day.go(30 * SECOND)

    assert day.turns("silent") == ["shed-chest-air raised"]
    assert day.watch.posts["shed-chest-air"].health.repeats == 60


def test_radio_dead_for_an_hour_is_one_message() -> None:
    """An hour without radio is told as the gateway's radio, not as sensors, and the freezer is unwatched after it."""
    day = begin(Saying(Format.BTHOME))
    for n in range(120):
        hear(day, bytes.fromhex(NUMBERED.format(n)))
        day.go(30 * SECOND)
    day.give(SourceNews("garage", up=False, reason="the gateway's radio is switched off"))
    day.go(59 * MINUTE)
    within = list(day.told())
    day.go(10 * MINUTE)

    assert within == ["The gateway's radio hears nothing"]
    assert "not to blame" in day.notices[0].body
    assert day.told() == [*within, "Shed chest is not being watched"]


def test_encrypted_frame_is_opened_and_counted() -> None:
    """The published frame opens; its counter is handed to the store; the same frame again is refused."""
    day = begin(Saying(Format.BTHOME, encrypted=True))
    day.watch.unlock({"shed-chest-air": make_opener(Secret(KEY), ADDRESS)}, {})
    effects = day.watch.step(Heard("garage", "shed-chest-air", PUBLISHED, day.now), day.now)
    hear(day, PUBLISHED)
    post = day.watch.posts["shed-chest-air"]

    assert effects.counters == {f"shed-chest-air@{ADDRESS}": 0x33221100}
    assert post.newest[Quantity.TEMPERATURE].value == pytest.approx(25.06)
    assert (post.health.repeats, post.health.unread) == (1, {})


def test_replay_after_restart_is_refused() -> None:
    """A frame recorded before a restart is refused after it, since the kept counter is handed in."""
    first = begin(Saying(Format.BTHOME, encrypted=True))
    after = Watch(first.house, first.now)
    after.unlock({"shed-chest-air": make_opener(Secret(KEY), ADDRESS)}, {f"shed-chest-air@{ADDRESS}": 0x33221100})
    after.step(Heard("garage", "shed-chest-air", PUBLISHED, first.now), first.now)

    assert after.posts["shed-chest-air"].newest == {}
    assert after.posts["shed-chest-air"].health.repeats == 1


def test_plain_frame_is_refused_with_a_key() -> None:
    """A sensor with a key whose frames come unencrypted is not believed."""
    day = begin(Saying(Format.BTHOME, encrypted=True))
    day.watch.unlock({"shed-chest-air": make_opener(Secret(KEY), ADDRESS)}, {})
    hear(day, STEADY)

    assert day.watch.posts["shed-chest-air"].newest == {}


def test_device_that_sends_on_events_is_not_silent() -> None:
    """A device that says that it sends irregularly has no silence of its own."""
    day = begin(Saying(Format.BTHOME))
    hear(day, bytes.fromhex("4402c6f8"))
    day.go(DAY)

    assert day.turns("silent") == []


def test_replaced_sensor_counts_for_itself() -> None:
    """Another device under the same id is believed although the former one had counted further."""
    day = begin(Saying(Format.BTHOME, encrypted=True))
    day.watch.unlock({}, {f"shed-chest-air@{ADDRESS}": 5091})
    old = day.house.sensors["shed-chest-air"]
    new = replace(old, channel="54:48:E6:8F:80:A6")
    day.give(Rewired(replace(day.house, sensors={old.id: new})))
    day.watch.unlock({}, {f"shed-chest-air@{ADDRESS}": 5091})

    assert day.watch.posts[old.id].counter is None
