"""Word the note of the week: is all well, how cold was it, what needs a look, what is due."""

from collections.abc import Sequence
from dataclasses import dataclass

from gatewayd.message.left import span_of
from gatewayd.message.words import capital, clock, level
from gatewayd.model.house import House

MOST = 8  # lines of one part; a phone shows about twenty without scrolling twice (our choice)


# The same figures as in every message of a freezer that warms (USDA and FDA on power outages).
RULE = "By the government's rule it holds about 48 hours full, 24 half full. Where that is shorter, go by it."


@dataclass(frozen=True, slots=True)
class Reserve:
    """Hold how long the warmest food stays colder than `level` (°C) without power: hours, None: beyond 9 days.

    `guess` says that neither an outage nor a test switch-off has taught it yet.
    """

    level: float
    early: float | None
    late: float | None
    guess: bool = True


@dataclass(frozen=True, slots=True)
class FreezerWeek:
    """Hold one freezer's week: lowest and highest air (°C, None: not heard), what it is now, whether it is watched.

    `at_lowest` is the wall stamp (ms) of the lowest, where it is known. `reserve` is how long it holds without power,
    `ageing` a line in household words, empty where nothing ages.
    """

    name: str
    lowest: float | None = None
    highest: float | None = None
    now: float | None = None
    watched: bool = True
    at_lowest: int | None = None
    reserve: Reserve | None = None
    ageing: str = ""


@dataclass(frozen=True, slots=True)
class Week:
    """Hold what the note says. `alarms`, `sensors` and `due` are lines in the owner's words, the worst first.

    `since` and `until` are the wall stamps (ms) between which the freezers were watched, where they are known.
    """

    freezers: Sequence[FreezerWeek] = ()
    alarms: Sequence[str] = ()
    sensors: Sequence[str] = ()
    due: Sequence[str] = ()
    since: int | None = None
    until: int | None = None


def write_note(week: Week, house: House) -> tuple[str, str]:
    """Return title (without the house's name) and body of the note."""
    unheard = [f"{freezer.name} has not been heard" for freezer in week.freezers if freezer.watched and _deaf(freezer)]
    bad = [line.rstrip(".") for line in (*week.alarms, *unheard)]
    if bad:
        more = f" (and {len(bad) - 1} more)" if len(bad) > 1 else ""
        title, first = f"the week: {bad[0]}{more}", _part("To look at", bad)
    else:
        title = "all is well this week"
        first = "All is well: no alarm stands, and every freezer with a sensor is heard."
    parts = [first]
    if week.freezers:
        parts.append(_part(_heading(week, house), [_row(f, week, house) for f in week.freezers], len(week.freezers)))
    held = [f"{f.name}: {_held(f.reserve, house)}" for f in week.freezers if f.reserve is not None]
    if held:
        parts.append(f"{_part('Without power, kept shut', held, len(held))}\n  {RULE}")
    ageing = [capital(f.ageing.strip().rstrip(".")) for f in week.freezers if f.ageing.strip()]
    lists = (("To look at by day", ageing), ("Sensors", week.sensors), ("Due", week.due))
    parts += [_part(name, lines) for name, lines in lists if lines]
    return title, "\n\n".join(parts)


def _part(heading: str, lines: Sequence[str], most: int = MOST) -> str:
    """Write a heading and its lines; what is beyond `most` is counted, and found where everything stands."""
    left = len(lines) - most
    shown = [*lines[:most], f"and {left} more. See: gatewayd status"] if left > 0 else lines
    return f"{heading}:\n" + "\n".join(f"  {line}" for line in shown)


def _heading(week: Week, house: House) -> str:
    since = f" since {clock(week.since, week.until, house.zone)}" if week.since and week.until else ""
    return capital(f"lowest and highest of the air{since}")


def _held(reserve: Reserve, house: House) -> str:
    """Say the standing reserve: `about 14 to 40 h to 15 °F, a guess`."""
    guess = ", a guess" if reserve.guess else ""
    if reserve.early is None:
        return f"more than a week to {level(reserve.level, house)}{guess}"
    return f"about {span_of(reserve.early, reserve.late)} to {level(reserve.level, house)}{guess}"


def _deaf(freezer: FreezerWeek) -> bool:
    return freezer.lowest is None or freezer.highest is None


def _row(freezer: FreezerWeek, week: Week, house: House) -> str:
    if not freezer.watched:
        return f"{freezer.name}: no sensor"
    if freezer.lowest is None or freezer.highest is None:
        return f"{freezer.name}: not heard"
    show, at = house.units.show, freezer.at_lowest
    when = f" ({clock(at, week.until, house.zone)})" if at is not None and week.until is not None else ""
    now = f", now {show(freezer.now)}" if freezer.now is not None else ""
    return f"{freezer.name}: {show(freezer.lowest)}{when} to {show(freezer.highest)}{now}"
