"""Turn what one sensor sent into values, whatever its format. Any bytes of any length never raise.

The two formats of the computer's own probes are short enough to be read here. ONE_WIRE is the text of the kernel's
`w1_slave` file: nine bytes in hex with "crc=xx YES" (or NO), and again nine bytes with "t=" and thousandths of a °C.
HWMON is the text of a `tempN_input` file: thousandths of a °C. Sources: Linux Documentation/w1/slaves/w1_therm.rst and
Documentation/hwmon/sysfs-interface.rst.
"""

import re

from gatewayd.decode import bthome, bytesrule, characteristic, tlm
from gatewayd.decode.bthome import Opener
from gatewayd.decode.payload import decode as decode_payload
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import PayloadRule
from gatewayd.model.reading import Decoded, Quantity, Undecodable, Value

__all__ = ["Opener", "decode_frame"]

LONGEST_TEXT = 256  # bytes; the longer of the two files has about 80
NO_ANSWER = Undecodable("the probe's file is empty: the probe did not answer")
NOT_THE_FILE = Undecodable("the probe's file does not hold what a thermometer's file holds")
GARBLED = Undecodable("the probe's answer was garbled on the wire (its check sum is wrong); look at cable and contacts")
ALL_ZERO = Undecodable("the wire gives only zeros, so nothing was measured; look at cable and contacts")
NOT_MEASURED = "the probe answered without having measured; its supply may be too weak or was just switched on"

_W1 = re.compile(rb"((?:[0-9a-fA-F]{2} ){9}): crc=[0-9a-fA-F]{2} (YES|NO)\s+(?:[0-9a-fA-F]{2} ){9}t=(-?\d{1,7})\s*")
_MILLI = re.compile(rb"-?\d{1,9}")
_UNDONE = (85_000, 127_937)  # 1/1000 °C: the register at power-on, and a measurement without enough power
_UNDONE_MARK = 0x0C  # byte 6 of such an answer, which tells it from a true 85 °C


def decode_frame(
    saying: PayloadRule | Saying, payload: bytes, opener: Opener | None = None, last: int | None = None
) -> Decoded | Undecodable:
    """Read what a sensor sent, by the rule of its settings.

    `opener` opens the encrypted frames of a sensor that has a key; `last` is the counter of its newest frame.
    """
    if isinstance(saying, PayloadRule):
        found = decode_payload(saying, payload)
        return found if isinstance(found, Undecodable) else Decoded(found)
    match saying.format:
        case Format.BTHOME:
            return bthome.decode(saying, payload, opener, last)
        case Format.TLM:
            return tlm.decode(payload, last)
        case Format.READ:
            return characteristic.decode(saying, payload)
        case Format.ONE_WIRE:
            return _one_wire(payload)
        case Format.HWMON:
            return _hwmon(payload)
        case Format.BYTES:
            # Saying refuses this format without a rule; the type checker cannot know.
            return bytesrule.decode(saying.rule, payload) if saying.rule else NOT_THE_FILE


def _one_wire(data: bytes) -> Decoded | Undecodable:
    if not data.strip():
        return NO_ANSWER
    if len(data) > LONGEST_TEXT or (found := _W1.fullmatch(data)) is None:
        return NOT_THE_FILE
    answer = bytes.fromhex(found[1].decode("ascii"))
    # With NO the kernel repeats the former temperature after "t=", so the second line must not be read.
    if found[2] != b"YES" or _crc8(answer[:8]) != answer[8]:
        return GARBLED
    if not any(answer):
        return ALL_ZERO  # the check sum of zeros is zero, so a dead wire passes for a true 0 °C
    thousandths = int(found[3])
    raw = int.from_bytes(answer[:2], "little", signed=True)
    # The kernel cuts sixteenths of a degree to whole thousandths; where the answer is in sixteenths (some chips count
    # otherwise), it gives the exact value.
    celsius = raw / 16 if int(raw * 1000 / 16) == thousandths else thousandths / 1000
    note = NOT_MEASURED if thousandths in _UNDONE and answer[6] == _UNDONE_MARK else ""
    return Decoded((Value(Quantity.TEMPERATURE, celsius),), note=note)


def _hwmon(data: bytes) -> Decoded | Undecodable:
    text = data.strip() if len(data) <= LONGEST_TEXT else data
    if not text:
        return NO_ANSWER
    if _MILLI.fullmatch(text) is None:
        return NOT_THE_FILE
    return Decoded((Value(Quantity.TEMPERATURE, int(text) / 1000),))


def _crc8(data: bytes) -> int:
    """Return the check sum of 1-wire answers: polynomial 0x31, low bit first (0x8C), from 0."""
    rest = 0
    for byte in data:
        rest ^= byte
        for _ in range(8):
            rest = rest >> 1 ^ 0x8C if rest & 1 else rest >> 1
    return rest
