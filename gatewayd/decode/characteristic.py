"""Read characteristics of the Bluetooth SIG, as a connectable sensor answers them.

The payload is a sequence of records, one for each characteristic that was read:

    uuid    2 bytes, high byte first (0x2A6E is 2a 6e)
    length  1 byte
    value   `length` bytes, as the sensor answered

`record` builds one. Several records of temperatures are several probes, in the order of the records.
Sources: Bluetooth SIG GATT Specification Supplement (characteristics, 2020-2026) and, for the FLOAT of 0x2A1C,
ISO/IEEE 11073-20601:2014. Values are low byte first. The codes for "not known" are numbers beyond all range
(-327.68 °C, 63.5 °C, 655.35 %, 255 %, 1023.98 V) and are passed on, since plausibility judges them.
"""

from collections.abc import Callable

from gatewayd.model.format import Saying
from gatewayd.model.reading import Decoded, Quantity, Undecodable, Value

TEMPERATURE, TEMPERATURE_8, HUMIDITY = 0x2A6E, 0x2B0D, 0x2A6F
BATTERY_LEVEL, VOLTAGE, INTERVAL = 0x2A19, 0x2B18, 0x2A21
THERMOMETER, INTERMEDIATE = 0x2A1C, 0x2A1E  # Temperature Measurement, Intermediate Temperature: one layout
LONGEST = 4096  # bytes; a sensor has some ten characteristics of some ten bytes

EMPTY = Undecodable("the sensor was read but answered nothing")
TOO_LONG = Undecodable("the sensor answered far more than a reading can hold")
NOTHING = Undecodable("the sensor answered nothing that is a measurement")
CUT_SHORT = "an answer of the sensor is cut short"
WRONG_LENGTH = "an answer of the sensor has the wrong length"
NO_NUMBER = "the thermometer says that it has no number"

# FLOAT values that are no numbers: +infinity, not a number, not at this resolution, reserved, -infinity. All have the
# exponent 0, so the 32 bits are compared before anything is made of them.
_NO_NUMBERS = {0x007FFFFE, 0x007FFFFF, 0x00800000, 0x00800001, 0x00800002}


def record(uuid: int, value: bytes) -> bytes:
    """Return the record of one characteristic; a value beyond 255 bytes is cut, since none read here has over 13."""
    value = value[:255]
    return uuid.to_bytes(2, "big") + bytes((len(value),)) + value


def decode(saying: Saying, payload: bytes) -> Decoded | Undecodable:
    """Read all records; of each quantity the first counts, of temperatures the one that `saying.which` says."""
    if not payload:
        return EMPTY
    if len(payload) > LONGEST:
        return TOO_LONG
    values: dict[Quantity, Value] = {}
    note = ""
    temperatures = at = 0
    while at < len(payload):
        start = at + 3
        at = start + payload[start - 1] if start <= len(payload) else start
        if at > len(payload):
            note = note or CUT_SHORT
            break
        known = _READERS.get(int.from_bytes(payload[start - 3 : start - 1], "big"))
        if known is None:
            continue
        quantity, reader = known
        if quantity is Quantity.TEMPERATURE:
            temperatures += 1
            if temperatures != saying.which:
                continue
        elif quantity in values:
            continue
        found = reader(payload[start:at])
        if isinstance(found, str):
            note = note or found
        else:
            values[quantity] = Value(quantity, found)
    if not note and 0 < temperatures < saying.which:
        note = f"the sensor has {temperatures} temperature(s), so there is none with number {saying.which}"
    if not values:
        return Undecodable(note) if note else NOTHING
    return Decoded(tuple(values.values()), note=note)


def interval(value: bytes) -> int | None:
    """Return the milliseconds between two measurements (0x2A21): 0 for none by the clock, None if malformed."""
    return int.from_bytes(value, "little") * 1000 if len(value) == 2 else None


def _fixed(width: int, down: int, *, signed: bool = False) -> Callable[[bytes], float | str]:
    """Return a reader of a whole number of `width` bytes, to be divided by `down`."""

    def read(value: bytes) -> float | str:
        if len(value) != width:
            return WRONG_LENGTH
        return int.from_bytes(value, "little", signed=signed) / down

    return read


def _thermometer(value: bytes) -> float | str:
    """Read flags, FLOAT, [time stamp], [type]; return °C.

    The stamp has no time zone and the type names a part of the body, so both are stepped over.
    """
    if len(value) < 5:
        return WRONG_LENGTH
    flags = value[0]
    if len(value) != 5 + (7 if flags & 0x02 else 0) + (1 if flags & 0x04 else 0):
        return WRONG_LENGTH
    if int.from_bytes(value[1:5], "little") in _NO_NUMBERS:
        return NO_NUMBER
    top = int.from_bytes(value[1:4], "little", signed=True)
    exponent = int.from_bytes(value[4:5], "little", signed=True)
    # Whole numbers above and below the line, divided once: -185 / 10 is exactly -18.5, in °F as well.
    bottom = 1
    if exponent < 0:
        bottom = 10**-exponent
    else:
        top *= 10**exponent
    if flags & 0x01:
        return (top - 32 * bottom) * 5 / (9 * bottom)
    return top / bottom


_READERS: dict[int, tuple[Quantity, Callable[[bytes], float | str]]] = {
    TEMPERATURE: (Quantity.TEMPERATURE, _fixed(2, 100, signed=True)),
    TEMPERATURE_8: (Quantity.TEMPERATURE, _fixed(1, 2, signed=True)),
    THERMOMETER: (Quantity.TEMPERATURE, _thermometer),
    INTERMEDIATE: (Quantity.TEMPERATURE, _thermometer),
    HUMIDITY: (Quantity.HUMIDITY, _fixed(2, 100)),
    BATTERY_LEVEL: (Quantity.BATTERY, _fixed(1, 1)),
    VOLTAGE: (Quantity.VOLTAGE, _fixed(2, 64)),
}
