"""Units: what a person writes and reads, and what the house counts in.

Inside, a temperature is °C, a difference is K, a span is whole ms, a volume is litres, a weight is kg.
A temperature and a difference are two types: `2 °F` as a deadband is 1.11 K, not -16.7 °C.
"""

import re
from enum import Enum
from typing import NewType

from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND

Celsius = NewType("Celsius", float)
Kelvin = NewType("Kelvin", float)

MINUS = "−"  # the sign of print; people paste it, so it is read too
ABSOLUTE_ZERO_C = -273.15  # exact by definition of the kelvin (SI brochure, 9th edition)
LITRES_PER_CUBIC_FOOT = 28.316846592  # exact: (0.3048 m)^3
LITRES_PER_US_GALLON = 3.785411784  # exact: 231 cubic inches
KG_PER_POUND = 0.45359237  # exact: the international yard and pound agreement of 1959

_NUMBER = re.compile(r"([+\-−]?\d{1,12}(?:\.\d{1,12})?)\s*(\S.*)?")

_SPANS = {
    **dict.fromkeys(("ms",), 1),
    **dict.fromkeys(("s", "sec", "second", "seconds"), SECOND),
    **dict.fromkeys(("min", "minute", "minutes"), MINUTE),
    **dict.fromkeys(("h", "hour", "hours"), HOUR),
    **dict.fromkeys(("d", "day", "days"), DAY),
}


class TemperatureUnit(Enum):
    """Name the scale in which a household reads and writes temperatures."""

    C = "°C"
    F = "°F"

    def show(self, celsius: float, places: int = 1) -> str:
        """Write a temperature for people: `-18.4 °C` with a true minus sign."""
        value = celsius if self is TemperatureUnit.C else celsius * 9 / 5 + 32
        return f"{_signed(value, places)} {self.value}"

    def show_difference(self, kelvin: float, places: int = 1) -> str:
        """Write a temperature difference for people, in degrees of this scale."""
        value = kelvin if self is TemperatureUnit.C else kelvin * 9 / 5
        return f"{_signed(value, places)} {self.value}"


def _signed(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def _refuse_comma(text: str) -> None:
    """Refuse `-12,5`: half of the world writes it so and the other half means thousands, so it is not guessed at."""
    if re.search(r"\d\s*,\s*\d", text):
        raise ValueError(f"{text!r} has a comma in its number; a decimal point is expected, as in 12.5")


def _split(text: str, what: str, allowed: str) -> tuple[float, str]:
    _refuse_comma(text)
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text!r} is not {what}; write it like {allowed}")
    return float(found[1].replace(MINUS, "-")), (found[2] or "").strip()


def parse_temperature(text: str) -> Celsius:
    """Read `-12 °C`, `20 °F` or `255 K` as °C.

    Raise ValueError for a missing or unknown unit and for less than absolute zero.
    """
    value, unit = _split(text, "a temperature", "-12 °C or 10 °F")
    match unit.replace(" ", "").upper().removeprefix("°"):
        case "C":
            celsius = value
        case "F":
            celsius = (value - 32) * 5 / 9
        case "K":
            celsius = value + ABSOLUTE_ZERO_C
        case "":
            raise ValueError(f"{text!r} has no unit; write it like -12 °C or 10 °F")
        case _:
            raise ValueError(f"{text!r} has an unknown unit {unit!r}; allowed are °C, °F and K")
    if celsius < ABSOLUTE_ZERO_C:
        raise ValueError(f"{text!r} is colder than absolute zero (-273.15 °C)")
    return Celsius(celsius)


def parse_difference(text: str) -> Kelvin:
    """Read a temperature difference, `1 °C`, `1 K` or `2 °F` (= 1.11 K), as K; refuse one below zero."""
    value, unit = _split(text, "a temperature difference", "1 °C or 2 °F")
    match unit.replace(" ", "").upper().removeprefix("°"):
        case "C" | "K":
            kelvin = value
        case "F":
            kelvin = value * 5 / 9
        case "":
            raise ValueError(f"{text!r} has no unit; write it like 1 °C or 2 °F")
        case _:
            raise ValueError(f"{text!r} has an unknown unit {unit!r}; allowed are °C, °F and K")
    if kelvin < 0:
        raise ValueError(f"{text!r} is below zero; a difference has no sign")
    return Kelvin(kelvin)


def parse_span(text: str) -> int:
    """Read a span of time, `45 min`, `1 h 30 min` or `0`, as whole ms; refuse one below zero."""
    _refuse_comma(text)
    total = 0.0
    parts = re.findall(r"[+\-−]?[\d.]+\s*[A-Za-z]*", text)
    if not parts or "".join(parts).replace(" ", "") != text.replace(" ", ""):
        raise ValueError(f"{text!r} is not a span of time; write it like 30 s, 45 min, 1 h 30 min or 400 days")
    for part in parts:
        value, unit = _split(part, "a span of time", "30 s, 45 min, 4 h or 400 days")
        if not unit and value == 0:
            continue
        if unit.lower() not in _SPANS:
            raise ValueError(f"{text!r} has no known unit; write it like 30 s, 45 min, 4 h or 400 days")
        if value < 0:
            raise ValueError(f"{text!r} is below zero")
        total += value * _SPANS[unit.lower()]
    return round(total)


def parse_volume(text: str) -> float:
    """Read a volume, `400 L`, `14 cu ft` or `0.4 m3`, as litres; it must be above zero."""
    value, unit = _split(text, "a volume", "400 L or 14 cu ft")
    match unit.lower().replace(" ", "").replace(".", ""):
        case "l" | "liter" | "liters" | "litre" | "litres":
            litres = value
        case "cuft" | "ft3" | "cubicfeet" | "cubicfoot" | "ft³":
            litres = value * LITRES_PER_CUBIC_FOOT
        case "m3" | "m³":
            litres = value * 1000
        case "gal" | "gallons":
            litres = value * LITRES_PER_US_GALLON
        case "":
            raise ValueError(f"{text!r} has no unit; write it like 400 L or 14 cu ft")
        case _:
            raise ValueError(f"{text!r} has an unknown unit {unit!r}; allowed are L, cu ft, m3 and gal")
    if litres <= 0:
        raise ValueError(f"{text!r} must be above zero")
    return litres


def parse_weight(text: str) -> float:
    """Read a weight, `40 kg`, `800 g`, `20 lb` or `12 oz`, as kg; refuse one below zero."""
    value, unit = _split(text, "a weight", "40 kg or 20 lb")
    match unit.lower().replace(".", ""):
        case "kg" | "kilo" | "kilos" | "kilogram" | "kilograms":
            weight = value
        case "g" | "gram" | "grams":
            weight = value / 1000
        case "lb" | "lbs" | "pound" | "pounds":
            weight = value * KG_PER_POUND
        case "oz" | "ounce" | "ounces":
            weight = value * KG_PER_POUND / 16
        case "":
            raise ValueError(f"{text!r} has no unit; write it like 40 kg or 20 lb")
        case _:
            raise ValueError(f"{text!r} has an unknown unit {unit!r}; allowed are kg, g, lb and oz")
    if weight < 0:
        raise ValueError(f"{text!r} is below zero")
    return weight


def show_span(ms: int) -> str:
    """Write a span for people in its two largest units: `45 min`, `9 h 10 min`, `3 days 4 h`."""
    minutes = round(ms / MINUTE)
    if minutes < 1:
        return f"{max(0, round(ms / SECOND))} s"
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 24 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, rest = divmod(round(minutes / 60), 24)
    name = "day" if days == 1 else "days"
    return f"{days} {name} {rest} h" if rest else f"{days} {name}"
