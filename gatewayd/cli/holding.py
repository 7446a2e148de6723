"""Say how long the food of a freezer holds, for people, in the words and by the choices of the messages.

What is said comes from the door's answer to `forecast`, or from a recording; both have the same rows. Early first, one
range, the published rule beside it, and a guess until an outage or a test switch-off has shown how the freezer warms.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from gatewayd.message.cause import firm, look, why
from gatewayd.message.left import left, span_of
from gatewayd.message.rule import HOLDS, holds
from gatewayd.message.words import clock, level
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.house import Freezer, House, Kind
from gatewayd.model.moment import Moment, to_wall
from gatewayd.model.outlook import LEVELS, Cause, Label, Outlook, Span, Sure, Where
from gatewayd.model.priority import Priority
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.thermal.prior import FULL
from gatewayd.watch.left import beyond_rule
from gatewayd.watch.left import left as facts_of
from gatewayd.watch.left import why as facts_of_cause

Plain = Mapping[str, Any]

RESERVE_LEVEL = LEVELS[1]  # 15 °F: as far as food counts as well kept; the level by which a reserve is quoted
NO_FORECAST = "There is no forecast of it now: that takes some hours of readings."
PROBE_WINS = "Its sensor is warmer than that already, which counts for more than any forecast."
GUESS = "a guess until a test switch-off"
WARMING, NOT_HEARD = "warming", "not heard"  # and the rest: words of thermal/picture.py
NO_SENSOR = "no sensor"  # of watch/forecast.py
UNCOOLED = (WARMING, "cooling down")
KINDS = {kind.value: kind for kind in Kind}


@dataclass(frozen=True, slots=True)
class Case:
    """Hold what is said of one freezer: its `state` in a word of thermal/picture.py, its air (°C).

    `test` is when its test switch-off ends, None where it is in none.
    """

    freezer: Freezer
    outlook: Outlook
    now: Moment
    state: str = ""
    air: float | None = None
    cause: Cause = field(default_factory=Cause)
    test: datetime | None = None
    units: TemperatureUnit = TemperatureUnit.C

    @property
    def house(self) -> House:
        """Return the freezer's house, as far as the wording asks for it."""
        return House("house", "house", units=self.units, freezers={self.freezer.id: self.freezer})

    @property
    def uncooled(self) -> bool:
        """Return whether its food warms, or has warmed and is not cold again: then it counts from now."""
        return self.test is not None or self.state in UNCOOLED or self.outlook.since is not None

    @property
    def event(self) -> Event:
        """Return what is known as an event, which is what the wording reads."""
        facts: dict[str, Fact] = {**facts_of_cause(self.cause), **facts_of(self.outlook, self.now)}
        return Event(0, self.now, self.freezer.id, "forecast", What.NOTED, Priority.LOW, facts=facts)


def case_of(found: Plain, units: TemperatureUnit, now: Moment) -> Case:
    """Return what there is to say of a freezer of the door's answer."""
    weight, volume = sum((found.get("kg") or {}).values()), found.get("volume_l")
    outlook = Outlook(
        at=_moment(found.get("at"), now) or now,
        reserve=spans(found.get("reserve") or ()),
        forecast=spans(found.get("forecast") or ()),
        since=_moment(found.get("since"), now),
        calibrated=bool(found.get("calibrated")),
        full=weight / (FULL * volume) if found.get("told") and volume else None,
    )
    freezer = Freezer(found["id"], found["name"], KINDS.get(str(found.get("kind")), Kind.CHEST))
    until = (found.get("test") or {}).get("until")
    test = datetime.fromisoformat(until) if until else None
    return Case(
        freezer,
        outlook,
        now,
        str(found.get("state")),
        found.get("air_c"),
        cause_of(found.get("cause"), now),
        test,
        units,
    )


def cause_of(found: Plain | None, now: Moment) -> Cause:
    """Return the cause of an answer; `cannot tell` where there is none."""
    if not found:
        return Cause()
    since = _moment(found.get("since"), now)
    return Cause(Label(found["label"]), Sure(found["sure"]), bool(found["held"]), since=since)


def _moment(stamp: str | None, now: Moment) -> Moment | None:
    """Return a stamp as a moment of this boot: a forecast that outlived a restart is of now by the wall clock."""
    return now.later(to_wall(datetime.fromisoformat(stamp)) - now.wall) if stamp else None


def spans(rows: Iterable[Plain]) -> tuple[Span, ...]:
    """Return the rows of an answer as spans."""
    return tuple(
        Span(Where(row["where"]), row["level_c"], row["early_h"], row["likely_h"], row["late_h"]) for row in rows
    )


def paragraph(case: Case) -> str:
    """Say in a few sentences how it is with a freezer and how long its food holds."""
    event, house = case.event, case.house
    if case.state == NO_SENSOR:
        return f"{case.freezer.name} has no sensor, so nothing is known of it. {HOLDS}"
    said = [_now(case), why(event, house)]
    said += _left(case, event) if case.uncooled else _reserve(case)
    advice = look(event, house) or ("Keep it shut." if case.uncooled else "")
    return " ".join(part for part in (*said, advice) if part)


def _now(case: Case) -> str:
    name, air = case.freezer.name, f"at {case.units.show(case.air)}" if case.air is not None else ""
    if case.test is not None:
        until = clock(to_wall(case.test), case.now.wall, case.test.tzinfo or UTC)
        return f"{name} is switched off for a test until {until}{f', and is {air} now' * bool(air)}."
    since = case.outlook.since
    if case.state == NOT_HEARD:
        return f"{name} is not heard{f'; it was {air} when it was heard last' * bool(air)}."
    if since is not None:
        lasted = show_span(max(0, case.now.wall - since.wall))
        return f"{name} has not cooled for {lasted}{f' and is {air}' * bool(air)}."
    if not air:
        return f"{name}: how warm it is now is not known."
    return f"{name} is {air}{f' and {case.state}' * case.uncooled}."


def _left(case: Case, event: Event) -> list[str]:
    """Say how long is left of a freezer that warms."""
    if firm(event) is Label.ROOM_AIR:
        return ["A sensor in the room's air tells nothing of the food.", holds(event)]
    text, reached = left(event, case.house), event.facts.get("left_level")
    if not text:
        return [NO_FORECAST, holds(event)]
    # the warmest probe wins: what it has passed is passed, whatever a forecast says of the food
    wins = case.air is not None and isinstance(reached, float) and case.air >= reached
    return [text, PROBE_WINS if wins else "", holds(event)]


def _reserve(case: Case) -> list[str]:
    """Say how long the food would hold without power, of a freezer that cools."""
    rows = [s for s in case.outlook.reserve if s.where is Where.FOOD and s.level == RESERVE_LEVEL]
    if not rows:
        return [NO_FORECAST, HOLDS]
    row, shown = rows[0], level(RESERVE_LEVEL, case.house)
    guess = "" if case.outlook.calibrated else f" ({GUESS})"
    if row.early is None:
        text = f"Without power the warmest food would not reach {shown} within 9 days{guess}."
    elif row.early == 0:
        text = f"Its warmest food may be at {shown} already{guess}."
    else:
        text = f"Without power it takes {span_of(row.early, row.late)} until the warmest food is at {shown}{guess}."
    beyond = beyond_rule(row, case.outlook, case.now)
    return [text, HOLDS, "Go by that rule, which is shorter." if beyond else ""]
