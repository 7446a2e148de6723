"""Turn the bytes of an MQTT payload into values, or say why not. Any bytes of any length never raise."""

import json
import math
import re
from datetime import datetime
from functools import lru_cache

from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.moment import to_wall
from gatewayd.model.reading import Quantity, Undecodable, Value
from gatewayd.model.units import ABSOLUTE_ZERO_C

LONGEST = 65_536  # bytes; a sensor's message has some hundred, so more than this is no reading
_NUMBER = re.compile(r"[+\-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+\-]?\d{1,3})?", re.ASCII)
_INDEX = re.compile(r"0|[1-9]\d{0,8}", re.ASCII)
# Unix stamps: seconds until the year 5138, milliseconds from 1973 on; the two ranges do not meet.
_MS_FROM = 1e11
_MS_UNTIL = 1e14  # ms; also the year 5138
# What contacts and watchers of the mains say, in any case (common practice)
_WORDS = {
    Quantity.LID: {
        **dict.fromkeys(("open", "opened", "1", "true", "on", "yes"), 1.0),
        **dict.fromkeys(("closed", "close", "shut", "0", "false", "off", "no"), 0.0),
    },
    Quantity.MAINS: {
        **dict.fromkeys(("on", "1", "true", "yes", "up", "ok"), 1.0),
        **dict.fromkeys(("off", "0", "false", "no", "down"), 0.0),
    },
}
_SAID = {Quantity.LID: "whether the lid is open", Quantity.MAINS: "whether the mains is there"}


class _Flaw(Exception):
    """Carry the owner's words for what is wrong out of a nested look-up; never leaves this module."""


def decode(rule: PayloadRule, payload: bytes) -> tuple[Value, ...] | Undecodable:
    """Read the values that `rule` points at.

    Temperatures come out in °C, a power in W, a lid as 1 (open) or 0, the mains as 1 (there) or 0. A battery or time
    that cannot be read is left out, since what the sensor is there for matters more; where that cannot be read, the
    whole payload is undecodable.
    """
    if len(payload) > LONGEST:
        return Undecodable("the message is longer than 64 KiB")
    if not payload.strip():
        return Undecodable("the message is empty")
    try:
        text = str(payload, "utf-8")
        if rule.form is PayloadForm.NUMBER:
            return (Value(rule.measures, _measured(text.strip(), rule)),)
        return _read_json(rule, text)
    except UnicodeDecodeError:
        return Undecodable("the message is not text (UTF-8)")
    except _Flaw as flaw:
        return Undecodable(str(flaw))


def _read_json(rule: PayloadRule, text: str) -> tuple[Value, ...]:
    try:
        document = json.loads(text, parse_int=float, parse_constant=_refuse_constant)
    except RecursionError:
        raise _Flaw("the JSON is nested too deeply") from None
    except ValueError:
        raise _Flaw("the message is not JSON") from None
    said = _measured(_find(document, rule.value or ""), rule)
    measured = _optional_time(document, rule.time)
    values = [Value(rule.measures, said, measured)]
    if rule.battery is not None:
        battery = _optional_number(document, rule.battery)
        if battery is not None:
            values.append(Value(Quantity.BATTERY, battery, measured))
    return tuple(values)


def _measured(found: object, rule: PayloadRule) -> float:
    """Return what the sensor is there for, in the unit in which it is kept."""
    words = _WORDS.get(rule.measures)
    if words is not None and isinstance(found, str | bool | float):
        said = words.get(_word(found))
        if said is None:
            raise _Flaw(f"the message does not say {_SAID[rule.measures]}")
        return said
    number = _to_number(found)
    return _celsius(number, rule.unit) if rule.measures is Quantity.TEMPERATURE else number


def _word(found: object) -> str:
    if isinstance(found, str):
        return found.strip().lower()
    return "1" if found == 1 else "0" if found == 0 else ""  # true and 1 say the same, false and 0 too


def _refuse_constant(name: str) -> float:
    raise _Flaw(f"the message says {name}, which is no number")


def _number(text: str) -> float:
    if _NUMBER.fullmatch(text) is None:
        if "," in text and _NUMBER.fullmatch(text.replace(",", ".", 1)):
            raise _Flaw("the number has a comma; a decimal point is expected")
        raise _Flaw("the message is not a number")
    return _finite(float(text))


def _finite(number: float) -> float:
    if not math.isfinite(number):
        raise _Flaw("the number is beyond all measure")
    return number


def _to_number(found: object) -> float:
    match found:
        case bool():
            raise _Flaw("the value is true or false, not a number")
        case float():
            return _finite(found)
        case str():
            # many senders quote their numbers; a quoted number is as plain as a bare one
            return _number(found.strip())
        case None:
            raise _Flaw("the sensor sent no value (null)")
        case list():
            raise _Flaw("the value is a list; point to one entry of it")
        case _:
            raise _Flaw("the value is a group of values; point to one of them")


def _celsius(number: float, unit: str) -> float:
    match unit:
        case "°F":
            return (number - 32) * 5 / 9
        case "K":
            return number + ABSOLUTE_ZERO_C
        case _:
            return number


def _optional_number(document: object, pointer: str) -> float | None:
    try:
        return _to_number(_find(document, pointer))
    except _Flaw:
        return None


def _optional_time(document: object, pointer: str | None) -> int | None:
    """Read a stamp: Unix seconds or milliseconds, or ISO 8601 with a zone; anything else counts as none."""
    if pointer is None:
        return None
    try:
        found = _find(document, pointer)
        if isinstance(found, str) and not _NUMBER.fullmatch(found.strip()):
            when = datetime.fromisoformat(found.strip())
            return None if when.tzinfo is None else to_wall(when)
        number = _to_number(found)
    except (_Flaw, ValueError, OverflowError):
        return None
    if abs(number) >= _MS_UNTIL:
        return None
    return int(number) if abs(number) >= _MS_FROM else round(number * 1000)


@lru_cache(maxsize=1024)  # a house has tens of pointers; the bound is for safety
def parts(pointer: str) -> tuple[str, ...]:
    """Split a JSON Pointer (RFC 6901) into its unescaped reference tokens; raise ValueError for a malformed one."""
    if pointer == "":
        return ()
    if not pointer.startswith("/"):
        raise ValueError(f"{pointer!r} is not a JSON Pointer; write it like /temperature")
    if re.search(r"~(?![01])", pointer):
        raise ValueError(f"{pointer!r} has a ~ that is not ~0 or ~1 (RFC 6901)")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in pointer[1:].split("/"))


def _find(document: object, pointer: str) -> object:
    here = document
    for token in parts(pointer):
        if isinstance(here, dict) and token in here:
            here = here[token]
        elif isinstance(here, list) and _INDEX.fullmatch(token) and int(token) < len(here):
            here = here[int(token)]
        else:
            raise _Flaw(f"there is no {pointer} in the message")
    return here
