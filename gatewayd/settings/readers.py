"""Readers: turn the text of one setting into its type, or raise ValueError with the reason."""

import difflib
import ipaddress
import re
import unicodedata
import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from typing import Generic, TypeVar

from gatewayd.decode.payload import parts
from gatewayd.model import units
from gatewayd.model.house import Kind, PayloadForm, check_id
from gatewayd.model.priority import Priority, parse_priority
from gatewayd.model.reading import Quantity
from gatewayd.model.units import Celsius, Kelvin, TemperatureUnit

T = TypeVar("T")

_ADVICE = re.compile(r"; (?:write it like|use|allowed are) ")
TOPIC_BYTES = 65_535  # longest string of MQTT (3.1.1 and 5, section 1.5.3 / 1.5.4)


@dataclass(frozen=True, slots=True)
class Reader(Generic[T]):
    """Pair the function that reads one setting with the words for what it takes.

    `longest` bounds the text (in characters) before it is looked at, so that no fault quotes a novel.
    """

    parse: Callable[[str], T]
    allowed: str
    longest: int = 200


def check_characters(text: str) -> None:
    """Refuse characters that no setting may hold: control characters and halves of surrogate pairs.

    MQTT forbids NUL and surrogates and advises against the rest (5.0, section 1.5.4); in a mail they could forge
    a header.
    """
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cs"):
            raise ValueError(f"holds the control character U+{ord(character):04X}")


# Bidirectional classes of the signs that begin and end an override, an embedding or an isolate (Unicode Annex 9): one
# that is left open turns the rest of the line round. Letters that run from right to left need none of them.
_TURNING = frozenset({"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})


def without_advice(wrong: ValueError) -> str:
    """Return why a value is refused, without the model's words for what `allowed` says already."""
    return _ADVICE.split(str(wrong))[0]


def choice(options: dict[str, T]) -> Callable[[str], T]:
    """Return a reader's function that takes the texts in `options`, whatever their case and spaces."""

    def parse(text: str) -> T:
        key = " ".join(text.split()).lower()
        if key in options:
            return options[key]
        near = difflib.get_close_matches(key, options, n=1)
        raise ValueError("is not one of them" + (f" (did you mean {near[0]!r}?)" if near else ""))

    return parse


def span(least: str, most: str, *, zero: str = "", like: str = "45 min or 2 h") -> Reader[int]:
    """Return a reader of spans from `least` to `most`, as ms; `zero` says what 0 means, if it may be written, and
    `like` gives examples."""
    low, high = units.parse_span(least), units.parse_span(most)

    def parse(text: str) -> int:
        ms = units.parse_span(text)
        if not (low <= ms <= high or (zero and ms == 0)):
            raise ValueError(f"{text!r} is out of range")
        return ms

    return Reader(parse, f"a span from {least} to {most}, like {like}" + (f"; 0 = {zero}" if zero else ""))


def whole(low: int, high: int) -> Reader[int]:
    """Return a reader of whole numbers from `low` to `high`."""

    def parse(text: str) -> int:
        if not re.fullmatch(r"\d{1,9}", text, re.ASCII) or not low <= int(text) <= high:
            raise ValueError("is not such a number")
        return int(text)

    return Reader(parse, f"a whole number from {low} to {high}")


def _within(parse: Callable[[str], float], low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = parse(text)
        if not low <= value <= high:
            raise ValueError(f"{text!r} is out of range")
        return value

    return read


def _filled(text: str) -> str:
    if not text.strip():
        raise ValueError("is empty")
    return text.strip()


def _name(text: str) -> str:
    for character in text:
        if unicodedata.bidirectional(character) in _TURNING:
            raise ValueError(f"holds the sign U+{ord(character):04X}, which turns the letters after it round")
    return _filled(text)


def _clock_time(text: str) -> int:
    found = re.fullmatch(r"(\d{1,2}):(\d{2})", text, re.ASCII)
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        raise ValueError("is not a time of day")
    return int(found[1]) * 60 + int(found[2])


def _zone(text: str) -> tzinfo:
    try:
        return zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        names = {name.lower(): name for name in zoneinfo.available_timezones()}
        near = difflib.get_close_matches(text.lower().replace(" ", "_"), names, n=1)
        hint = f" (did you mean {names[near[0]]}?)" if near else ""
        raise ValueError(f"is not a time zone that this computer knows{hint}") from None


def _host(text: str) -> str:
    try:
        return str(ipaddress.ip_address(text.strip("[]")))
    except ValueError:
        pass  # not an address, so it must be a name
    if "://" in text:
        raise ValueError("holds a scheme; write the name alone")
    if re.search(r":\d+$", text):
        raise ValueError("holds a port; write it under `port`")
    # RFC 1123, 2.1: letters, digits and hyphens between dots; underscores are seen in home networks
    if len(text) > 253 or not all(re.fullmatch(r"(?!-)[\w-]{1,63}(?<!-)", label) for label in text.split(".")):
        raise ValueError("is not a host name")
    return text


def is_loopback(host: str) -> bool:
    """Say whether what is sent to `host` stays inside this computer (RFC 6761 6.3 for names, RFC 1122 for 127/8)."""
    if host.lower() == "localhost" or host.lower().endswith(".localhost"):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _topic_name(text: str) -> str:
    """Check a topic name by MQTT 3.1.1 and 5: MQTT-4.7.1-1 and 4.7.3-1 to -3, in the order of the checks below."""
    if not text:
        raise ValueError("is empty")
    if "\0" in text:
        raise ValueError("holds a NUL character")
    if len(text.encode("utf-8", "surrogatepass")) > TOPIC_BYTES:
        raise ValueError(f"is longer than {TOPIC_BYTES} bytes")
    if "#" in text or "+" in text:
        raise ValueError("holds a wildcard (# or +); one sensor has one topic")
    return text


def _sensor_topic(text: str) -> str:
    if text.startswith("$share/"):
        raise ValueError("is a shared subscription, which would give some messages to somebody else")
    return _topic_name(text)


def _own_topic(text: str) -> str:
    if text.startswith("$"):
        raise ValueError("begins with $, which is the broker's own")
    return _topic_name(text)


def _pointer(text: str) -> str:
    parts(text)
    return text


def _mail_address(text: str) -> str:
    # enough to catch a slip; the mail server judges the rest. One person, one address: no comma
    if not re.fullmatch(r"[^\s@,;<>]+@[^\s@,;<>]+", text) or len(text) > 254:  # RFC 5321 4.5.3.1.3, less the brackets
        raise ValueError("is not one mail address")
    return text


def _url(text: str) -> str:
    if not re.match(r"[A-Za-z][A-Za-z0-9+.\-]*://\S", text) or re.search(r"\s", text):
        raise ValueError("is not a URL")
    return text


def _client_id(text: str) -> str:
    if not text.strip() or len(text.encode("utf-8", "surrogatepass")) > TOPIC_BYTES:
        raise ValueError("is empty or too long")
    return text


def _plain(text: str) -> str:
    return text


def _difference_or_off(text: str) -> Kelvin:
    return Kelvin(0.0) if text.strip() == "0" else units.parse_difference(text)


_PRIORITIES = {level.word: level for level in Priority}
_YES_NO = {
    **dict.fromkeys(("yes", "true", "on"), True),
    **dict.fromkeys(("no", "false", "off"), False),
}
_SCALES = {
    **dict.fromkeys(("°c", "c", "celsius"), TemperatureUnit.C),
    **dict.fromkeys(("°f", "f", "fahrenheit"), TemperatureUnit.F),
}
_MEASURES = (Quantity.TEMPERATURE, Quantity.LID, Quantity.POWER, Quantity.MAINS)
_PAYLOAD_UNITS = {**{key: scale.value for key, scale in _SCALES.items()}, "k": "K", "kelvin": "K"}

yes_no: Reader[bool] = Reader(choice(_YES_NO), "yes or no")
identity: Reader[str] = Reader(check_id, "small letters, digits and hyphens, 40 at most, like shed-chest")
name: Reader[str] = Reader(_name, "a name of up to 80 characters", 80)
scale: Reader[TemperatureUnit] = Reader(choice(_SCALES), "°C or °F")
payload_unit: Reader[str] = Reader(choice(_PAYLOAD_UNITS), "°C, °F or K")
measures: Reader[Quantity] = Reader(
    choice({quantity.value: quantity for quantity in _MEASURES}), ", ".join(quantity.value for quantity in _MEASURES)
)
kind: Reader[Kind] = Reader(choice({kind.value: kind for kind in Kind}), ", ".join(kind.value for kind in Kind))
form: Reader[PayloadForm] = Reader(
    choice({form.value: form for form in PayloadForm}), "number (the payload is a bare number) or json"
)
priority: Reader[Priority] = Reader(parse_priority, "low, medium or high")
# for one freezer, by kind; what the food hangs on may be made louder, never silent
level: Reader[Priority | None] = Reader(choice({"off": None, **_PRIORITIES}), "off, low, medium or high")
loud_level: Reader[Priority | None] = Reader(
    choice({word: level for word, level in _PRIORITIES.items() if level > Priority.LOW}),
    "medium or high; this one tells of food in danger, so it cannot be off or low",
)
security: Reader[str] = Reader(choice({"starttls": "starttls", "tls": "tls"}), "tls or starttls")
temperature: Reader[Celsius] = Reader(units.parse_temperature, "a temperature with its unit, like -12 °C or 10 °F")
difference: Reader[Kelvin] = Reader(units.parse_difference, "a difference with its unit, like 1 °C or 2 °F")
difference_or_off: Reader[Kelvin] = Reader(
    _difference_or_off, "a difference with its unit, like 8 °C or 15 °F; 0 = never"
)
# what the freezer model takes (thermal/facts.py); beyond it the unit is wrong: no household freezer is like that
volume: Reader[float] = Reader(
    _within(units.parse_volume, 20.0, 2000.0),
    "a volume from 20 to 2000 L with its unit, like 400 L or 14 cu ft",
)
weight: Reader[float] = Reader(
    _within(units.parse_weight, 0.0, 1000.0), "a weight up to 1000 kg with its unit, like 40 kg or 20 lb"
)
room: Reader[float] = Reader(
    _within(units.parse_temperature, -30.0, 60.0),
    "a temperature from -30 to 60 °C with its unit, like 18 °C or 65 °F",
)
zone: Reader[tzinfo] = Reader(_zone, "a name of the time zone database, like Europe/Berlin or America/Chicago")
clock_time: Reader[int] = Reader(_clock_time, "a time of day from 00:00 to 23:59, like 03:30")
host: Reader[str] = Reader(_host, "a host name or address, like broker.lan or 192.168.1.10", 300)
port: Reader[int] = whole(1, 65_535)
window: Reader[int] = whole(1, 65_535)  # Receive Maximum is two bytes and never 0 (MQTT 5, section 3.1.2.11.3)
copies: Reader[int] = whole(0, 365)
on_delay: Reader[int] = span("0 s", "1 day")  # an alarm that waits longer comes after the food is lost
on_delay_or_off: Reader[int] = span("1 min", "1 day", zero="never")
join: Reader[int] = span(
    "0 s", "10 min", like="30 s or 2 min"
)  # a message that waits longer is late; model/telling.py refuses more
next_after: Reader[int] = span("1 min", "1 day")
again: Reader[int] = span("1 min", "7 days")
dark_span: Reader[int] = span("1 min", "7 days")
interval: Reader[int] = span("1 s", "1 day")
keepalive: Reader[int] = span(
    "5 s", "65535 s", like="30 s"
)  # two bytes of seconds (MQTT 3.1.2.10); 0 would find no dead link
# four bytes of seconds, all ones = never (MQTT 5, section 3.1.2.11.2); below a minute a restart would lose messages
session: Reader[int] = span("1 min", "36500 days", like="7 days")
keep_every: Reader[int] = span("1 s", "1 h", zero="every reading", like="1 min")
commit_every: Reader[int] = span(
    "1 s", "10 min", like="30 s"
)  # what a power cut loses of a payload the broker has let go
keep_raw: Reader[int] = span("1 day", "36500 days", zero="for ever", like="400 days")
sensor_topic: Reader[str] = Reader(_sensor_topic, "a topic like shed/chest/air, without # and +", TOPIC_BYTES)
own_topic: Reader[str] = Reader(_own_topic, "a topic like gatewayd/heron-lane, without # and +", TOPIC_BYTES)
client_id: Reader[str] = Reader(_client_id, "a text that no other client of this broker uses", 200)
pointer: Reader[str] = Reader(_pointer, "a JSON Pointer (RFC 6901), like /air/temperature")
path: Reader[str] = Reader(_filled, "the path of a file", 4096)  # PATH_MAX of Linux (linux/limits.h)
user: Reader[str] = Reader(_plain, "a user name, or ${NAME}", 1000)
password: Reader[str] = Reader(_plain, "a password, best as ${NAME}", 1000)
url: Reader[str] = Reader(_url, "a URL like matrixs://…, best with ${NAME} for its secret", 4000)
mail_address: Reader[str] = Reader(_mail_address, "one mail address, like anna@example.org", 300)
