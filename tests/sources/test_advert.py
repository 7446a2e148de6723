"""Which part of an advertisement is taken, and what a passive listener asks for."""

import dataclasses

import pytest

from gatewayd.model.format import ByteRule, Format, Saying
from gatewayd.model.house import PayloadRule, Sensor
from gatewayd.sources.advert import BASE, full_uuid, picker
from gatewayd.sources.pattern import ANYBODY, BTHOME, TLM, patterns, unsure

LONG = "12345678-9abc-def0-1234-56789abcdef0"
SERVICES = {f"0000fcd2{BASE}": b"b", f"0000feaa{BASE}": b"e", f"0000181a{BASE}": b"s", LONG: b"l"}
MAKERS = {0xFFFF: b"m"}


def rule(**where: object) -> Saying:
    """Build a byte rule for two bytes."""
    return Saying(Format.BYTES, rule=ByteRule(least=2, **where))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("saying", "taken"),
    [
        (Saying(Format.BTHOME), b"b"),
        (Saying(Format.TLM), b"e"),
        (rule(service="181a"), b"s"),
        (rule(service=f"0000181a{BASE}"), b"s"),
        (rule(service=LONG), b"l"),
        (rule(service="1234"), None),
        (rule(maker=0xFFFF), b"m"),
        (rule(maker=0), None),
    ],
)
def test_the_part_a_format_speaks_in(saying: Saying, taken: bytes | None) -> None:
    """Each format, and each rule of the keeper's own, has one part of the advertisement."""
    pick = picker(saying)
    assert pick is not None
    assert pick(SERVICES, MAKERS) == taken


def test_read_sensors_speak_in_no_advertisement() -> None:
    """A sensor that is connected to has no part."""
    assert picker(Saying(Format.READ)) is None


@pytest.mark.parametrize(
    ("text", "uuid"),
    [("181A", f"0000181a{BASE}"), ("0x181a", f"0000181a{BASE}"), ("1234abcd", f"1234abcd{BASE}"), (LONG, LONG)],
)
def test_short_uuids_are_written_out(text: str, uuid: str) -> None:
    """Four and eight digits stand for a full UUID."""
    assert full_uuid(text) == uuid


SENSOR = Sensor("shed-air", "Shed chest", "air", "C0:00:5E:00:53:11", Saying(Format.BTHOME))


@pytest.mark.parametrize(
    ("saying", "expected"),
    [
        (Saying(Format.BTHOME), BTHOME),
        (Saying(Format.TLM), TLM),
        (rule(maker=0x1234), ((0, 0xFF, b"\x34\x12"),)),
        (rule(service="181a"), ((0, 0x16, b"\x1a\x18"), *ANYBODY)),
        (rule(service=f"1234abcd{BASE}"), ((0, 0x20, b"\xcd\xab\x34\x12"), *ANYBODY)),
        (rule(service=LONG), ((0, 0x21, bytes.fromhex(LONG.replace("-", ""))[::-1]), *ANYBODY)),
    ],
)
def test_both_forms_are_asked_for(saying: Saying, expected: object) -> None:
    """Service data are asked for by UUID and by first byte, or by UUID and flags where the first byte is unknown."""
    assert tuple(patterns([dataclasses.replace(SENSOR, payload=saying)])) == expected


def test_patterns_are_never_empty_nor_double() -> None:
    """Without sensors anybody is asked for, since no pattern at all is refused; equal patterns are asked for once."""
    assert tuple(patterns([])) == ANYBODY
    assert tuple(patterns([SENSOR, SENSOR])) == BTHOME
    assert tuple(patterns([SENSOR], anybody=True)) == (*BTHOME, *ANYBODY)
    assert tuple(patterns([dataclasses.replace(SENSOR, payload=PayloadRule())])) == ANYBODY


def test_who_may_seem_silent_passively() -> None:
    """Frames with a counter change each time; a plain frame and one by the keeper's own rule need not."""
    sayings = {
        "plain": Saying(Format.BTHOME),
        "sealed": Saying(Format.BTHOME, encrypted=True),
        "tlm": Saying(Format.TLM),
        "bytes": rule(maker=1),
        "read": Saying(Format.READ),
    }
    sensors = [dataclasses.replace(SENSOR, id=id_, payload=saying) for id_, saying in sayings.items()]
    assert [sensor.id for sensor in unsure(sensors)] == ["plain", "bytes"]
