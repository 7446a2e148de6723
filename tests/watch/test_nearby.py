"""What is heard nearby: bounded, understood where the format is open, and only shown otherwise."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.format import Format, Saying
from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.moment import Moment
from gatewayd.watch.nearby import BTHOME, Nearby, Sighting, pointers, understand


def at(ms: int) -> Moment:
    """Return a moment."""
    return Moment(1_795_600_000_000 + ms, ms)


def seen(way: str, elements: dict[str, bytes], channel: str = "C0:00:5E:00:53:01") -> Nearby:
    """Return what is nearby after one sighting."""
    nearby = Nearby()
    nearby.see(Sighting(way, "garage", channel, elements, at(0), signal=-61))
    return nearby


@pytest.mark.parametrize(
    ("way", "elements", "form", "words", "payload"),
    [
        ("air", {BTHOME: bytes.fromhex("4002c409")}, "bthome", "25 °C", Saying(Format.BTHOME)),
        ("air", {BTHOME: b"\x41" + bytes(14)}, "bthome, encrypted", "it needs its key",
         Saying(Format.BTHOME, encrypted=True)),
        ("broker", {"": b"-18.4"}, "number", "-18.4 °C", PayloadRule()),
        ("broker", {"": b'{"battery": 40, "air": {"temp": -18.4}}'}, "json", "-18.4 °C",
         PayloadRule(PayloadForm.JSON, "/air/temp")),
        ("broker", {"": b"online"}, "no number in it", "the message is not a number", None),
        ("air", {"maker 0499": b"\x05\x01"}, "not an open format", "see its bytes with --bytes", None),
    ],
)  # fmt: skip
def test_formats_are_recognised(
    way: str, elements: dict[str, bytes], form: str, words: str, payload: PayloadRule | Saying | None
) -> None:
    """Open formats, bare numbers and JSON are recognised; the rest says what can be done."""
    (neighbour,) = seen(way, elements)
    found = understand(neighbour)

    assert (found.format, found.words(), found.payload) == (form, words, payload)


def test_flood_keeps_memory_and_the_frequent_one() -> None:
    """Ten thousand random addresses stay within the bound and do not push out one that keeps sending."""
    nearby = Nearby(most=100)
    for n in range(10_000):
        nearby.see(Sighting("air", "garage", f"{n:012x}", {"maker ffff": b"x"}, at(n)))
        if n % 10 == 0:
            nearby.see(Sighting("air", "garage", "steady", {BTHOME: bytes.fromhex("4002c409")}, at(n)))

    assert len(list(nearby)) == 100
    found = nearby.find("STEADY")
    assert found is not None
    assert found.count == 1000
    assert found.every() == 10


@given(st.binary(max_size=60), st.sampled_from(["air", "broker", "wire"]))
def test_any_bytes_are_understood_or_shown(data: bytes, way: str) -> None:
    """Whatever is heard gets a row in words."""
    for element in (BTHOME, "service feaa", ""):
        (neighbour,) = seen(way, {element: data})
        assert understand(neighbour).format


def test_deep_and_wide_json_is_bounded() -> None:
    """Hostile JSON neither raises nor takes long."""
    assert pointers(b"[" * 100_000) == []
    assert len(pointers(json.dumps(list(range(50)) * 1000).encode())) <= 200


@pytest.mark.parametrize(
    ("payload", "first"),
    [
        (b'{"rssi": -45, "t": -18.5}', "/t"),
        (b'{"battery_temp_ok": 1, "room": {"temp": 21.5}, "freezer": {"temp": -18.5}}', "/room/temp"),
        (b'{"id": 7, "airTemperature": -18.5, "humidity": 40}', "/airTemperature"),
    ],
)
def test_likeliest_number_comes_first(payload: bytes, first: str) -> None:
    """Signal, battery and numbers of things are never offered as a temperature before one that says so."""
    assert pointers(payload)[0][0] == first


def test_name_from_the_air_holds_no_controls() -> None:
    """What a device calls itself cannot move the cursor or clear the screen."""
    nearby = Nearby()
    nearby.see(Sighting("air", "garage", "C0:00:5E:00:53:01", {}, at(0), name="\x1b[2J[/x]probe\n"))

    assert next(iter(nearby)).name == "[2J[/x]probe"
