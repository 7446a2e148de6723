"""Passive listening: what the Bluetooth service must be asked to let through, and for whom it is not enough.

BlueZ lets a passive listener hear only advertisements that hold one of its patterns. A pattern for service data is
compared with the whole element up to BlueZ 5.68, and with the bytes after the UUID from 5.69 on (commit bc2ab4ba3);
lists of UUIDs match only before. So both forms are given. Where the first byte after the UUID is not known, the flags
element helps: nearly every device sends it. Equal bytes are let through only once, whatever is asked for.
"""

from collections.abc import Sequence
from typing import TypeAlias

from gatewayd.model.format import Format, Saying
from gatewayd.model.house import Sensor
from gatewayd.sources.advert import BASE, full_uuid

# Core Specification Supplement, Part A: types of elements
FLAGS, SOME_UUIDS, ALL_UUIDS, SERVICE_16, SERVICE_32, SERVICE_128, MAKER = 0x01, 0x02, 0x03, 0x16, 0x20, 0x21, 0xFF

Pattern: TypeAlias = tuple[int, int, bytes]  # offset in the element, type of the element, bytes that must stand there

# Low energy only; discoverable for everybody, or not at all, as beacons say (Core Specification Supplement A 1.3).
ANYBODY: tuple[Pattern, ...] = ((0, FLAGS, b"\x06"), (0, FLAGS, b"\x04"))
BTHOME: tuple[Pattern, ...] = (
    (0, SERVICE_16, b"\xd2\xfc"),
    *((0, SERVICE_16, bytes((info,))) for info in (0x40, 0x41, 0x44, 0x45)),  # version 2: encrypted bit, irregular bit
)
TLM: tuple[Pattern, ...] = ((0, SERVICE_16, b"\xaa\xfe"), (0, SERVICE_16, b"\x20"))
READABLE: tuple[Pattern, ...] = ((0, SOME_UUIDS, b"\x1a\x18"), (0, ALL_UUIDS, b"\x1a\x18"), *ANYBODY)


def patterns(sensors: Sequence[Sensor], *, anybody: bool = False) -> list[Pattern]:
    """Return the patterns for these sensors, each once; with `anybody`, or for no sensors, also those for strangers."""
    found = [pattern for sensor in sensors for pattern in _of(sensor)]
    if anybody or not found:
        found.extend(ANYBODY)
    return list(dict.fromkeys(found))


def unsure(sensors: Sequence[Sensor]) -> list[Sensor]:
    """Return the sensors whose bytes need not change from frame to frame: heard passively, steady means silent."""
    return [sensor for sensor in sensors if isinstance(sensor.payload, Saying) and _may_repeat(sensor.payload)]


def _may_repeat(saying: Saying) -> bool:
    if saying.format is Format.BYTES:
        return True
    return saying.format is Format.BTHOME and not saying.encrypted  # a packet id is not required of a plain frame


def _of(sensor: Sensor) -> tuple[Pattern, ...]:
    saying = sensor.payload
    if not isinstance(saying, Saying):
        return ()
    if saying.format is Format.BTHOME:
        return BTHOME
    if saying.format is Format.TLM:
        return TLM
    if saying.format is Format.READ:
        return READABLE
    rule = saying.rule
    if rule is None:
        return ()
    if rule.service is not None:
        return (_service(full_uuid(rule.service)), *ANYBODY)
    return ((0, MAKER, (rule.maker or 0).to_bytes(2, "little")),)


def _service(uuid: str) -> Pattern:
    """Return the pattern of a service's data by its UUID, which stands low byte first."""
    number = bytes.fromhex(uuid.replace("-", ""))[::-1]
    if not uuid.endswith(BASE):
        return (0, SERVICE_128, number)
    if uuid.startswith("0000"):
        return (0, SERVICE_16, number[12:14])
    return (0, SERVICE_32, number[12:16])
