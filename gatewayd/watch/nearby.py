"""Keep what is heard nearby, known or not, so that somebody can see it and choose a sensor.

Bounded: random addresses and flooded topics push out the one that was silent longest.
"""

import json
import re
from collections import OrderedDict, deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from gatewayd.decode.frame import decode_frame
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Decoded, Quantity, Undecodable, Value

MOST = 500  # channels kept; a flat block of houses has some tens of radios
HISTORY = 60  # frames per element: ten minutes of a sensor that sends every 10 s
ELEMENTS = 6  # of one device; the open formats use one or two
LARGEST = 4096  # bytes looked at of one part: an advertisement has 254 at most, a sensor's message some hundred
LONGEST = 500  # characters of a channel; one that is longer is nobody's sensor and is not kept
LEAVES = 200  # numbers looked at in one JSON message
PLAUSIBLE = (-50.0, 60.0)  # °C; what a freezer's probe can see, room included
BTHOME, TLM = "service fcd2", "service feaa"
_HINTS = ("temp", "temperature", "celsius", "degrees", "fahrenheit", "air", "t")
_NEVER = ("rssi", "signal", "lqi", "battery", "voltage", "humidity", "id", "time", "timestamp", "count")


@dataclass(frozen=True, slots=True)
class Sighting:
    """Hold one thing heard: `way` is air, broker or wire; `channel` an address, a topic or a file.

    `elements` maps the name of a part ("service fcd2", "maker 0499", or "" for a whole payload) to its bytes.
    """

    way: str
    source: str
    channel: str
    elements: Mapping[str, bytes]
    at: Moment
    name: str = ""
    signal: int | None = None


@dataclass(slots=True)
class Neighbour:
    """Hold what is known of one channel."""

    way: str
    source: str
    channel: str
    first: Moment
    last: Moment
    name: str = ""
    signal: int | None = None
    count: int = 0
    history: dict[str, deque[bytes]] = field(default_factory=dict)

    def every(self) -> int | None:
        """Return the mean distance (ms) of two reports, None from fewer than two."""
        return (self.last.steady - self.first.steady) // (self.count - 1) if self.count > 1 else None

    def newest(self) -> dict[str, bytes]:
        """Return the newest bytes of each element."""
        return {key: frames[-1] for key, frames in self.history.items()}


class Nearby:
    """Keep the neighbours, the one heard last at the end."""

    def __init__(self, most: int = MOST, history: int = HISTORY) -> None:
        """Keep up to `most` channels, of each the newest `history` bytes of its parts."""
        self._most = most
        self._history = history
        self._all: OrderedDict[tuple[str, str, str], Neighbour] = OrderedDict()

    def see(self, sighting: Sighting) -> None:
        """Take one thing heard."""
        if len(sighting.channel) > LONGEST:
            return
        key = (sighting.way, sighting.source, sighting.channel)
        found = self._all.pop(key, None)
        if found is None:
            found = Neighbour(*key, first=sighting.at, last=sighting.at)
            if len(self._all) >= self._most:
                self._all.popitem(last=False)
        self._all[key] = found
        found.last, found.count = sighting.at, found.count + 1
        found.name = "".join(char for char in sighting.name if char.isprintable())[:60] or found.name
        found.signal = sighting.signal if sighting.signal is not None else found.signal
        for element, data in sighting.elements.items():
            if element in found.history or len(found.history) < ELEMENTS:
                found.history.setdefault(element, deque(maxlen=self._history)).append(data[:LARGEST])

    def __iter__(self) -> Iterator[Neighbour]:
        """Return the neighbours, the one heard last first."""
        return reversed(self._all.values())

    def get(self, way: str, source: str, channel: str) -> Neighbour | None:
        """Return the neighbour that was heard there."""
        return self._all.get((way, source, channel))

    def find(self, channel: str) -> Neighbour | None:
        """Return the neighbour with this address, topic or file, whatever its letters' case."""
        return next((n for n in self if n.channel.lower() == channel.lower()), None)


@dataclass(frozen=True, slots=True)
class Reading:
    """Say what a neighbour seems to be: its format in words, what it says, or why it cannot be read.

    `payload` is what the settings would have to say of it, None where only a person can know.
    """

    format: str
    values: tuple[Value, ...] = ()
    why_not: str = ""
    payload: PayloadRule | Saying | None = None
    encrypted: bool = False

    def words(self) -> str:
        """Return the values as people read them, or why there are none."""
        return ", ".join(f"{value.value:g} {value.quantity.unit or value.quantity.value}" for value in self.values) or (
            self.why_not
        )


def understand(neighbour: Neighbour) -> Reading:
    """Say what a neighbour's newest bytes are, as far as open formats tell."""
    newest = neighbour.newest()
    if neighbour.way == "broker":
        return _topic(newest.get("", b""))
    if neighbour.way == "wire":
        saying = Saying(Format.ONE_WIRE if "w1" in neighbour.channel else Format.HWMON)
        return _framed(saying.format.value, saying, newest.get("", b""))
    if BTHOME in newest:
        data = newest[BTHOME]
        if data[:1] and data[0] & 1:
            return Reading("bthome, encrypted", (), "it needs its key", Saying(Format.BTHOME, encrypted=True), True)
        return _framed("bthome", Saying(Format.BTHOME), data)
    if TLM in newest:
        return _framed("eddystone-tlm", Saying(Format.TLM), newest[TLM])
    return Reading("not an open format", (), "see its bytes with --bytes" if newest else "it only says its name")


def _framed(form: str, saying: Saying, data: bytes) -> Reading:
    found = decode_frame(saying, data)
    if isinstance(found, Undecodable):
        return Reading(form, (), found.reason, saying)
    return Reading(form, found.values, found.note, saying)


def _topic(payload: bytes) -> Reading:
    rule = PayloadRule()
    found = decode_frame(rule, payload)
    if isinstance(found, Decoded):
        return Reading("number", found.values, "", rule)
    leaves = pointers(payload)
    if not leaves:
        return Reading("no number in it", (), found.reason)
    pointer, number = leaves[0]
    rule = PayloadRule(PayloadForm.JSON, pointer, unit=unit_at(pointer))
    read = decode_frame(rule, payload)
    values = read.values if isinstance(read, Decoded) else (Value(Quantity.TEMPERATURE, number),)
    return Reading("json", values, "", rule)


def unit_at(pointer: str) -> str:
    """Return the unit of the temperature at a JSON Pointer, as far as its words tell."""
    return "°F" if "fahrenheit" in pointer.lower() else "°C"


def pointers(payload: bytes) -> list[tuple[str, float]]:
    """Return (JSON Pointer, number) for what could be a temperature in a message, the likeliest first."""
    try:
        document = json.loads(str(payload, "utf-8"), parse_int=float)
    except (ValueError, RecursionError):
        return []
    found = [
        (pointer, number)
        for pointer, number in _leaves(document)
        if (PLAUSIBLE[0] <= number <= PLAUSIBLE[1] or "fahrenheit" in pointer.lower())
        and not any(word in _NEVER for word in _last_words(pointer))
    ]
    return sorted(found, key=lambda leaf: not any(word in _HINTS for word in _last_words(leaf[0])))


def _last_words(pointer: str) -> list[str]:
    """Return the words of a pointer's last part: `/room/air_temp` has `air` and `temp`."""
    return re.findall(r"[a-z]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", pointer.rsplit("/", 1)[-1]).lower())


def _leaves(document: Any) -> list[tuple[str, float]]:
    """Return the numbers of a document with their pointers, breadth first and bounded."""
    found: list[tuple[str, float]] = []
    waiting: deque[tuple[str, Any]] = deque([("", document)])
    looked = 0
    while waiting and looked < LEAVES:
        looked += 1
        pointer, here = waiting.popleft()
        match here:
            case dict():
                for key, value in here.items():
                    waiting.append((f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}", value))
            case list():
                waiting.extend((f"{pointer}/{place}", value) for place, value in enumerate(here[:LEAVES]))
            case float():
                found.append((pointer, here))
    return found
