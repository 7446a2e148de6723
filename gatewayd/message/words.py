"""Say times, temperatures and speeds as a household does, and write round what is not known."""

import math
from datetime import tzinfo

from gatewayd.model.event import Event, Fact
from gatewayd.model.house import House, Kind
from gatewayd.model.moment import HOUR, MINUTE, from_wall
from gatewayd.model.units import TemperatureUnit, show_span

KINDS = {
    "high": "too warm",
    "highhigh": "much too warm",
    "rising": "no longer cooling",
    "mains-out": "power is off",
    "lid-open": "lid or door open",
    "warm-long": "warm for long",
    "too-cold": "unusually cold",
    "chattering": "keeps crossing its limit",
    "unwatched": "not watched",
    "not-cooling": "not cooling again",
    "silent": "silent",
    "stuck": "shows the same temperature all day",
    "sensor-fault": "sensor says nothing usable",
    "battery": "battery is low",
    "weak-signal": "radio signal is weak",
    "source-down": "not reachable",
    "store": "readings cannot be written",
    "disk-filling": "disk is filling up",
    "route": "a way to reach people does not work",
    "clock-unset": "computer does not know the time",
    "neighbour-silent": "neighbour's gateway is silent",
    "test": "monthly test",
}
STEADY = 0.3  # K per hour; slower than a probe's 0.1-K step in 20 min shows
LONGEST = 400 * 24 * HOUR  # ms; a span beyond what the store keeps is a mistake of a clock and not worth saying


def clock(wall: int, now: int, zone: tzinfo) -> str:
    """Write a wall stamp (ms) as people say it on the day of `now`: `14:05`, `yesterday 23:10`,
    `tomorrow 02:10`, `Mon 23 Nov 14:05`.
    """
    when, today = from_wall(wall).astimezone(zone), from_wall(now).astimezone(zone)
    text = f"{when:%H:%M}"
    match (today.date() - when.date()).days:
        case 0:
            return text
        case 1:
            return f"yesterday {text}"
        case -1:
            return f"tomorrow {text}"
        case _:
            return f"{when:%a} {when.day} {when:%b} {text}"


def called(kind: str) -> str:
    """Return what people call a kind of alarm."""
    return KINDS.get(kind, kind.replace("-", " "))


def pace(speed: Fact, house: House) -> str:
    """Say how fast it warms or cools, in degrees an hour; nothing where it is not known."""
    if not isinstance(speed, float) or not math.isfinite(speed):
        return ""
    if abs(speed) < STEADY:
        return "and steady"
    return f"and {'rising' if speed > 0 else 'falling'} by {house.units.show_difference(abs(speed))} an hour"


def degrees(value: Fact, house: House) -> str:
    """Write a temperature in the household's scale, nothing where it is not known."""
    if not isinstance(value, float | int) or isinstance(value, bool) or not math.isfinite(value):
        return ""
    return house.units.show(value)


def level(value: Fact, house: House) -> str:
    """Write a level of a forecast: `−9.4 °C`, `0 °C`, and `15 °F`, of which the other is the rounding."""
    if not degrees(value, house) or not isinstance(value, float | int):
        return ""
    return house.units.show(value, 0 if house.units is TemperatureUnit.F or value == round(value) else 1)


def span(value: Fact) -> str:
    """Write a span (ms), nothing where it is not known."""
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= LONGEST:
        return ""
    return show_span(value)


def roughly(value: Fact) -> str:
    """Write a span (ms) that is an estimate: 5-minute steps within the hour, half hours within four, then hours."""
    if not span(value) or not isinstance(value, int):
        return ""
    step = 5 * MINUTE if value < HOUR else 30 * MINUTE if value < 4 * HOUR else HOUR
    return show_span(max(step, round(value / step) * step))


def stamp(value: Fact, event: Event, house: House) -> str:
    """Write a wall stamp (ms) as seen on the event's day, nothing where it is not known or the clock was wrong."""
    if not isinstance(value, int) or isinstance(value, bool) or abs(value - event.at.wall) > LONGEST:
        return ""
    return clock(value, event.at.wall, house.zone)


def at(when: str) -> str:
    """Put a time into a sentence: `at 14:05`, but `yesterday 23:10`."""
    return f"at {when}" if when[:1].isdigit() else when


def spell(event: Event, house: House) -> str:
    """Say since when and for how long: ` since 08:58 (48 min)`, or as much of it as is known."""
    since, lasted = stamp(event.facts.get("since"), event, house), span(event.facts.get("lasted"))
    if since and lasted:
        return f" since {since} ({lasted})"
    return f" since {since}" if since else f" for {lasted}" if lasted else ""


def spent(event: Event, house: House) -> str:
    """Say how long something lasted that is over: ` for 48 min, from 08:58`, or as much of it as is known."""
    since, lasted = stamp(event.facts.get("since"), event, house), span(event.facts.get("lasted"))
    return (
        (f" for {lasted}" if lasted else "") + ("," if since and lasted else "") + (f" from {since}" if since else "")
    )


def sentence(text: Fact) -> str:
    """Make a sentence of what another part wrote, nothing of nothing; a program's name keeps its small letter."""
    plain = text.strip() if isinstance(text, str) else ""
    if not plain:
        return ""
    return (plain if plain.startswith("gatewayd") else capital(plain)) + ("" if plain[-1] in ".!?" else ".")


def name(subject: str, house: House) -> str:
    """Return the name people gave to a freezer, sensor, source or neighbour, the id if it is gone."""
    if subject in house.freezers:
        return house.freezers[subject].name
    if subject in house.sensors:
        return house.sensors[subject].name
    if subject in house.sources:
        return house.sources[subject]
    if subject in house.neighbours:
        return house.neighbours[subject].name
    return house.name if subject == house.id else subject


def person(who: str, house: House) -> str:
    """Return the name of who acted, as it is written where it is no person of the house."""
    return house.people[who].name if who in house.people else who


def place(subject: str, house: House) -> str:
    """Return where a freezer stands, ` (shed)`, nothing where that is not known."""
    freezer = house.freezers.get(subject)
    return f" ({freezer.place})" if freezer and freezer.place else ""


def lid(subject: str, house: House) -> str:
    """Return what is opened at a freezer: the lid of a chest, the door of an upright."""
    freezer = house.freezers.get(subject)
    if freezer is None:
        return "lid or door"
    return "lid" if freezer.kind is Kind.CHEST else "door"


def listed(names: list[str]) -> str:
    """Join names as people do: `a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def capital(text: str) -> str:
    """Begin a sentence with `text`."""
    return text[:1].upper() + text[1:]
