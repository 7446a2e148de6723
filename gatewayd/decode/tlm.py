"""Read Eddystone-TLM: what a beacon tells of itself, in service data 0xFEAA.

Source: github.com/google/eddystone, protocol-specification.md, tlm-plain.md and tlm-encrypted.md (bb8738d7, 2018).
All numbers are high byte first. The same service carries frames that hold no measurement, told by the first byte.
The temperature is mostly that of the beacon's chip, good to a few K.
"""

import struct
from typing import NamedTuple

from gatewayd.model.reading import Decoded, Quantity, Undecodable, Value

PLAIN_LENGTH = 14  # bytes
SEALED_LENGTH = 18
_LAYOUT = struct.Struct(">HhII")  # mV, 1/256 °C, frames since power-on, tenths of a second since power-on

EMPTY = Undecodable("the frame is empty")
MALFORMED = Undecodable("the beacon's frame has not the length it must have")
VERSION_UNKNOWN = Undecodable("the beacon's frame is of an unknown version")
SEALED = Undecodable(
    "the beacon encrypts its measurements and only the service it is registered with can read them; "
    "set it to plain frames if it can"
)
IDENTITY = Undecodable("the frame says who the beacon is and holds no measurement")
ADDRESS = Undecodable("the frame holds a web address and no measurement")
CHANGING = Undecodable("the frame holds a changing name of the beacon and no measurement")
UNKNOWN = Undecodable("the beacon's frame is of an unknown kind")

# First byte of the frames that hold no measurement; the low half must be 0.
_OTHERS = {0x00: IDENTITY, 0x10: ADDRESS, 0x30: CHANGING}


class Telemetry(NamedTuple):
    """Hold the four numbers of a plain frame.

    `millivolts` is 0 when the beacon does not measure its battery, `celsius` -128 when it has no thermometer;
    `frames` and `tenths` (of a second) count from power-on.
    """

    millivolts: int
    celsius: float
    frames: int
    tenths: int


def read(payload: bytes) -> Telemetry | Undecodable:
    """Read the numbers of a plain frame; `payload` is the service data without its UUID."""
    if not payload:
        return EMPTY
    if payload[0] != 0x20:
        return _OTHERS.get(payload[0], UNKNOWN)
    if len(payload) < 2:
        return MALFORMED
    version = payload[1]
    if version == 0x01:
        return SEALED if len(payload) == SEALED_LENGTH else MALFORMED
    if version != 0x00:
        return VERSION_UNKNOWN
    if len(payload) != PLAIN_LENGTH:
        return MALFORMED
    millivolts, raw, frames, tenths = _LAYOUT.unpack_from(payload, 2)
    return Telemetry(millivolts, raw / 256, frames, tenths)


def decode(payload: bytes, last: int | None = None) -> Decoded | Undecodable:
    """Read one frame; `last` is the count of frames heard last, and a fall means that the beacon began anew.

    A temperature of -128 (no thermometer) is passed on, since plausibility knows it.
    """
    found = read(payload)
    if isinstance(found, Undecodable):
        return found
    millivolts, celsius, frames, _ = found
    warm = Value(Quantity.TEMPERATURE, celsius)
    values = (warm, Value(Quantity.VOLTAGE, millivolts / 1000)) if millivolts else (warm,)
    return Decoded(values, frames, rebooted=last is not None and frames < last)
