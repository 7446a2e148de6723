"""Read BTHome v2, the open advertisement format: service data 0xFCD2, plain or encrypted.

Source: BTHome v2, bthome.io/format and bthome.io/encryption. A frame is a device information byte, then objects: one
byte says what, then its value, low byte first. An object that is not in the table has no known length, so reading
stops there and what came before is kept. An object that comes again is one more sensor of the same device. The
format has no code for "not known"; plausibility, judged later, catches what cannot be.
"""

from collections.abc import Callable
from typing import NamedTuple

from gatewayd.model.format import Saying
from gatewayd.model.reading import Decoded, Quantity, Undecodable, Value

# Called with the device information byte, the four bytes of the counter as sent, and the sealed part (cipher text and
# its 4-byte check); returns the plain objects, or None when the check fails. It knows the key and the address.
Opener = Callable[[bytes, bytes, bytes], bytes | None]

VERSION = 2
LONGEST = 255  # bytes; the length of an advertisement's element is one byte (Core Specification Supplement, Part A)
COUNTER, CHECK = 4, 4  # bytes at the end of an encrypted frame
# A new battery lets the counter begin anew, so a fall is believed only to a number that a device reaches in its first
# minutes (the rule of the format's reference decoder). Too small, a changed battery leaves the sensor unheard; too
# large, more of old recorded frames could be played back. What is left open: a recording of these first frames.
FRESH = 100

EMPTY = Undecodable("the frame is empty")
TOO_LONG = Undecodable("the frame is longer than an advertisement can be")
VERSION_UNKNOWN = Undecodable("the frame is of another version of the format; only version 2 can be read")
NOT_SEALED = Undecodable("the frame is not encrypted although this sensor has a key, so it was not believed")
NO_KEY = Undecodable("the frame is encrypted; give the sensor its key in the settings")
CUT_SHORT = Undecodable("the encrypted frame is cut short")
REPEATED = Undecodable("an old frame again: its number is the one heard last")
REPLAYED = Undecodable("an old frame again: its number is lower than the one heard last, so it was not believed")
NOT_OPENED = Undecodable("the frame does not fit the key: the key is wrong, or the frame was damaged or forged")


class Thing(NamedTuple):
    """Say what an object is.

    Its value is raw * `up` / `down` (a division of whole numbers, so that -1850 / 100 is exactly -18.5) in `unit`.
    `length` is in bytes; 0 means that the value begins with its own length.
    """

    name: str
    length: int
    signed: bool = False
    up: int = 1
    down: int = 1
    unit: str = ""
    quantity: Quantity | None = None


# The object table of bthome.io/format. Left out on purpose: 0x3B (a command), whose length depends on what it holds;
# a length guessed wrong could make a temperature out of thin air.
THINGS: dict[int, Thing] = {
    0x00: Thing("packet", 1),
    0x01: Thing("battery", 1, unit="%", quantity=Quantity.BATTERY),
    0x02: Thing("temperature", 2, True, 1, 100, "°C", Quantity.TEMPERATURE),
    0x03: Thing("humidity", 2, False, 1, 100, "%", Quantity.HUMIDITY),
    0x04: Thing("pressure", 3, False, 1, 100, "hPa"),
    0x08: Thing("dew point", 2, True, 1, 100, "°C"),
    0x09: Thing("count", 1),
    0x0A: Thing("energy", 3, False, 1, 1000, "kWh"),
    0x0B: Thing("power", 3, False, 1, 100, "W", Quantity.POWER),
    0x0C: Thing("voltage", 2, False, 1, 1000, "V", Quantity.VOLTAGE),
    0x0F: Thing("on or off", 1),
    0x10: Thing("mains", 1, quantity=Quantity.MAINS),
    0x11: Thing("opening", 1, quantity=Quantity.LID),
    0x14: Thing("moisture", 2, False, 1, 100, "%"),
    0x15: Thing("battery low", 1),
    0x18: Thing("cold", 1),
    0x19: Thing("connectivity", 1),
    0x1A: Thing("door", 1, quantity=Quantity.LID),
    0x1D: Thing("heat", 1),
    0x20: Thing("wet", 1),
    0x24: Thing("plug", 1, quantity=Quantity.MAINS),
    0x26: Thing("problem", 1),
    0x2B: Thing("tamper", 1),
    0x2D: Thing("window", 1, quantity=Quantity.LID),
    0x2E: Thing("humidity", 1, unit="%", quantity=Quantity.HUMIDITY),
    0x2F: Thing("moisture", 1, unit="%"),
    0x3D: Thing("count", 2),
    0x3E: Thing("count", 4),
    0x43: Thing("current", 2, False, 1, 1000, "A"),
    0x45: Thing("temperature", 2, True, 1, 10, "°C", Quantity.TEMPERATURE),
    0x4A: Thing("voltage", 2, False, 1, 10, "V", Quantity.VOLTAGE),
    0x4D: Thing("energy", 4, False, 1, 1000, "kWh"),
    0x50: Thing("time", 4, unit="s"),
    0x53: Thing("text", 0),
    0x54: Thing("raw", 0),
    0x57: Thing("temperature", 1, True, 1, 1, "°C", Quantity.TEMPERATURE),
    0x58: Thing("temperature", 1, True, 35, 100, "°C", Quantity.TEMPERATURE),
    0x5C: Thing("power", 4, True, 1, 100, "W", Quantity.POWER),
    0x5D: Thing("current", 2, True, 1, 1000, "A"),
    0xF0: Thing("device type", 2),
    0xF1: Thing("firmware", 4),
    0xF2: Thing("firmware", 3),
}
# Objects of no use to a freezer, known only so that they can be stepped over (same table): length, then the ids.
_OTHERS = {
    1: "16 17 1b 1c 1e 1f 21 22 23 25 27 28 29 2a 2c 3a 46 59 60 64 65",
    2: "06 07 0d 0e 12 13 3c 3f 40 41 44 47 48 49 51 52 56 5a 5e 5f 61",
    3: "05 42 4b",
    4: "4c 4e 4f 55 5b 62 63",
}
THINGS.update({id_: Thing("", length) for length, ids in _OTHERS.items() for id_ in bytes.fromhex(ids)})

_SLOTS = {quantity: 1 << place for place, quantity in enumerate(Quantity)}
_WARM = _SLOTS[Quantity.TEMPERATURE]
# The table as the reader walks it, by id: length, the bit of the quantity (0: none), then the rest of the Thing.
_WALK = [
    (t.length, _SLOTS[t.quantity] if t.quantity else 0, t.signed, t.up, t.down, t.quantity)
    if (t := THINGS.get(id_))
    else None
    for id_ in range(256)
]


def decode(
    saying: Saying, payload: bytes, opener: Opener | None = None, last: int | None = None
) -> Decoded | Undecodable:
    """Read one frame; `payload` is the service data without its UUID.

    `last` is the counter of the newest encrypted frame believed so far. Of each quantity the first object counts, of
    temperatures the one that `saying.which` says. An encrypted frame gives its counter, a plain one its packet id.
    """
    if not payload:
        return EMPTY
    if len(payload) > LONGEST:
        return TOO_LONG
    info = payload[0]
    if info >> 5 != VERSION:
        return VERSION_UNKNOWN
    irregular = info & 0x04 != 0  # bit 2; bits 1, 3 and 4 are reserved and may be anything
    if not info & 0x01:
        if saying.encrypted or opener is not None:
            return NOT_SEALED
        values, packet, note = _read(payload, 1, saying.which)
        if note and not values and packet is None:
            return Undecodable(note)
        return Decoded(values, packet, irregular=irregular, note=note)
    if opener is None:
        return NO_KEY
    if len(payload) < 1 + COUNTER + CHECK:
        return CUT_SHORT
    sent = payload[-COUNTER - CHECK : -CHECK]
    counter = int.from_bytes(sent, "little")
    if last is not None and counter <= last:
        # Senders repeat each frame some times; told apart before any arithmetic on the key is done.
        if counter == last:
            return REPEATED
        if counter >= FRESH:
            return REPLAYED
    plain = opener(payload[:1], sent, payload[1 : -COUNTER - CHECK] + payload[-CHECK:])
    if plain is None:
        return NOT_OPENED
    values, _, note = _read(plain, 0, saying.which)
    return Decoded(values, counter, True, irregular, last is not None and counter < last, note)


def _read(data: bytes, at: int, which: int) -> tuple[tuple[Value, ...], int | None, str]:
    """Return the values of the objects from `at` on, the packet id, and what stopped the reading."""
    values: list[Value] = []
    packet: int | None = None
    seen = temperatures = 0
    end = len(data)
    while at < end:
        id_ = data[at]
        entry = _WALK[id_]
        if entry is None:
            return (
                tuple(values),
                packet,
                f"the frame holds something unknown (object 0x{id_:02X}); reading stopped there",
            )
        length, slot, signed, up, down, quantity = entry
        start = at + 1
        at = start + length if length else start + 1 + (data[start] if start < end else 0)
        if at > end:
            return tuple(values), packet, "the frame is cut short"
        if slot:
            if slot == _WARM:
                temperatures += 1
                if temperatures != which:
                    continue
            elif seen & slot:
                continue
            seen |= slot
            if quantity is not None:
                raw = int.from_bytes(data[start:at], "little", signed=signed)
                values.append(Value(quantity, raw * up / down))
        elif id_ == 0 and packet is None:
            packet = data[start]
    if 0 < temperatures < which:
        return (
            tuple(values),
            packet,
            f"the frame holds {temperatures} temperature(s), so there is none with number {which}",
        )
    return tuple(values), packet, ""


def spell(plain: bytes) -> list[tuple[str, float | bytes, str]]:
    """Return every object of a plain frame that has a name: name, value, unit; for a person who looks on.

    `plain` begins with the device information byte. Reading stops where `decode` stops. Texts stay bytes.
    """
    told: list[tuple[str, float | bytes, str]] = []
    at = 1
    while at + 1 < len(plain) and (thing := THINGS.get(plain[at])) is not None:
        start, length = (at + 1, thing.length) if thing.length else (at + 2, plain[at + 1])
        at = start + length
        if at > len(plain):
            break
        raw = plain[start:at]
        if not thing.length:
            told.append((thing.name, raw, ""))
        elif thing.name:
            number = int.from_bytes(raw, "little", signed=thing.signed)
            told.append((thing.name, number * thing.up / thing.down, thing.unit))
    return told
