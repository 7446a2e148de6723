"""Say times, temperatures and speeds as a household does."""

from datetime import tzinfo

from gatewayd.model.event import Fact
from gatewayd.model.house import House
from gatewayd.model.moment import from_wall

KINDS = {
    "high": "too warm",
    "highhigh": "much too warm",
    "unwatched": "not watched",
    "silent": "silent",
    "stuck": "shows the same temperature all day",
    "source-down": "not reachable",
    "store": "readings cannot be written",
    "route": "a way to reach people cannot be used",
}
STEADY = 0.3  # K per hour; slower than a probe's 0.1-K step in 20 min shows


def clock(wall: int, now: int, zone: tzinfo) -> str:
    """Write a wall stamp (ms) as people say it on the day of `now`: `14:05`, `yesterday 23:10`, `Mon 23 Nov 14:05`."""
    when, today = from_wall(wall).astimezone(zone), from_wall(now).astimezone(zone)
    text = f"{when:%H:%M}"
    match (today.date() - when.date()).days:
        case 0:
            return text
        case 1:
            return f"yesterday {text}"
        case _:
            return f"{when:%a} {when.day} {when:%b} {text}"


def called(kind: str) -> str:
    """Return what people call a kind of alarm."""
    return KINDS.get(kind, kind.replace("-", " "))


def pace(speed: Fact, house: House) -> str:
    """Say how fast it warms or cools, in degrees an hour; nothing where it is not known."""
    if not isinstance(speed, float):
        return ""
    if abs(speed) < STEADY:
        return "and steady"
    return f"and {'rising' if speed > 0 else 'falling'} by {house.units.show_difference(abs(speed))} an hour"


def degrees(value: Fact, house: House) -> str:
    """Write a temperature in the household's scale, or `not known`."""
    return house.units.show(value) if isinstance(value, float | int) else "not known"


def name(subject: str, house: House) -> str:
    """Return the name people gave to a freezer, sensor or source, the id if it is gone."""
    if subject in house.freezers:
        return house.freezers[subject].name
    if subject in house.sensors:
        return house.sensors[subject].name
    return house.sources.get(subject, subject)


def listed(names: list[str]) -> str:
    """Join names as people do: `a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
