"""Say how long the food of a freezer holds, for people, in the words and by the choices of the messages.

What is said comes from the door's answer to `forecast`, from what was known last, or from a recording; all have the
same rows. Early first, one range, and what to go by; the published rule, and why a range is a guess, stand once below.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo
from typing import Any

from gatewayd.message.cause import firm, look, why
from gatewayd.message.left import falls, left, span_of
from gatewayd.message.rule import FULL, FULL_HOURS, HALF_HOURS, HOLDS, SPARSE, Guide, gone, guide, sparse, thawing
from gatewayd.message.script import JUDGE
from gatewayd.message.words import capital, clock, level
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.house import Freezer, House, Kind
from gatewayd.model.moment import HOUR, MINUTE, Moment, between, to_wall
from gatewayd.model.outlook import LEVELS, Cause, Label, Outlook, Span, Sure, Where
from gatewayd.model.priority import Priority
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.thermal.picture import COOLING_DOWN, NOT_HEARD, WARMED_UNHEARD, WARMING
from gatewayd.thermal.prior import FULL as FULL_WEIGHT
from gatewayd.watch.facts import VOLUMES
from gatewayd.watch.left import aged
from gatewayd.watch.left import left as facts_of
from gatewayd.watch.left import why as facts_of_cause

Plain = Mapping[str, Any]

RESERVE_LEVEL = LEVELS[1]  # 15 °F: as far as food counts as well kept; the level by which a reserve is quoted
NO_FORECAST = "There is no forecast of it now."
JUST_STARTED = "gatewayd has just started; the forecast comes in a minute."
UNHEARD = "The forecast comes with its first readings."
SOONER = "Go by the early end, which comes before the government's hours are over."
PROBE_WINS = "Its sensor is warmer than that already, which counts for more than any forecast."
COUNTS = "It counts from when cooling stopped."
UNCOVERED = "It is well below half full, which the government's rule does not cover: go by the early end."
NO_SENSOR = "no sensor"  # of watch/forecast.py
UNCOOLED = (WARMING, COOLING_DOWN, WARMED_UNHEARD)
UNHEARD_OF = (NOT_HEARD, WARMED_UNHEARD)
FRESH = 30 * MINUTE  # heard so lately it is heard, whatever a picture says that has just begun; as thermal/picture.py
FALLING = -1.0  # K per hour; stands for "it gets colder", of which an answer has no figure
KINDS = {kind.value: kind for kind in Kind}


@dataclass(frozen=True, slots=True)
class Case:
    """Hold what is said of one freezer: its `state` in a word of thermal/picture.py, its air (°C).

    `test` is when its test switch-off ends, None where it is in none. `heard` is how long ago it was heard (ms), where
    that is known. `made` says that there has been a forecast at all, `last` that it is what was known last. `emptied`
    says that it is being defrosted and its food was not put back yet: nothing is said of how long it holds then.
    """

    freezer: Freezer
    outlook: Outlook
    now: Moment
    state: str = ""
    air: float | None = None
    cause: Cause = field(default_factory=Cause)
    test: datetime | None = None
    units: TemperatureUnit = TemperatureUnit.C
    zone: tzinfo = UTC
    heard: int | None = None
    made: bool = True
    last: bool = False
    emptied: bool = False

    @property
    def house(self) -> House:
        """Return the freezer's house, as far as the wording asks for it."""
        return House("house", "house", zone=self.zone, units=self.units, freezers={self.freezer.id: self.freezer})

    @property
    def uncooled(self) -> bool:
        """Return whether its food warms, or has warmed and is not cold again: then it counts from now."""
        warms = self.test is not None or self.state in UNCOOLED or self.outlook.since is not None
        return warms and not self.emptied

    @property
    def silent(self) -> bool:
        """Return whether it is not heard now."""
        return self.state in UNHEARD_OF and (self.heard is None or self.heard > FRESH)

    @property
    def event(self) -> Event:
        """Return what is known as an event, which is what the wording reads."""
        facts: dict[str, Fact] = {
            **facts_of_cause(self.cause),
            **facts_of(self.outlook, self.now),
            "full": self.outlook.full,
            "value": self.air,
        }
        if self.outlook.since is not None:
            facts["hours_off"] = max(0, between(self.outlook.since, self.now)) / HOUR
        if self.state == COOLING_DOWN:
            facts["speed"] = FALLING
        return Event(0, self.now, self.freezer.id, "forecast", What.NOTED, Priority.LOW, facts=facts)

    @property
    def thaws(self) -> bool:
        """Return whether its food is to be looked at before all else."""
        event = self.event
        return self.uncooled and firm(event) is not Label.ROOM_AIR and thawing(event)


def case_of(
    found: Plain,
    now: Moment,
    units: TemperatureUnit,
    zone: tzinfo,
    heard: int | None = None,
    *,
    last: bool = False,
) -> Case:
    """Return what there is to say of a freezer of the answer of `watch.forecast.forecast`.

    `heard` is how long ago it was heard (ms); `last` says that the answer is not of now but what was known last.
    """
    kind = KINDS.get(str(found.get("kind")), Kind.CHEST)
    weight, volume = sum((found.get("kg") or {}).values()), found.get("volume_l") or VOLUMES[kind]
    outlook = Outlook(
        at=_moment(found.get("at"), now) or now,
        reserve=spans(found.get("reserve") or ()),
        forecast=spans(found.get("forecast") or ()),
        since=_moment(found.get("since"), now),
        calibrated=bool(found.get("calibrated")),
        full=weight / (FULL_WEIGHT * volume) if found.get("told") else None,
    )
    until = (found.get("test") or {}).get("until")
    return Case(
        Freezer(found["id"], found["name"], kind),
        _counted_off(outlook, now) if last else outlook,
        now,
        str(found.get("state")),
        found.get("air_c"),
        cause_of(found.get("cause"), now),
        datetime.fromisoformat(until) if until else None,
        units,
        zone,
        heard,
        made=found.get("at") is not None,
        last=last,
        emptied=bool(found.get("emptied")),
    )


def _counted_off(outlook: Outlook, now: Moment) -> Outlook:
    """Return what is left now of a forecast that nobody has made anew since."""
    age = max(0, between(outlook.at, now)) / HOUR
    rows = tuple(
        replace(s, early=aged(s.early, age), likely=aged(s.likely, age), late=aged(s.late, age))
        for s in outlook.forecast
    )
    return replace(outlook, at=now, forecast=rows)


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


def told(said_of: Sequence[Case]) -> str:
    """Say how it is with each freezer, a paragraph each, and below them once what counts for all."""
    return "\n\n".join([paragraph(case) for case in said_of] + [below(said_of)])


def below(said_of: Sequence[Case], *, recorded: bool = False) -> str:
    """Say once what counts for all: how to judge food, the published rule, and what makes a range a guess.

    What is only `recorded` cannot be taught.
    """
    parts = [JUDGE] if any(case.thaws for case in said_of) else []
    parts.append(f"{HOLDS} {COUNTS}")
    guessed = next((case for case in said_of if not case.outlook.calibrated and case.state != NO_SENSOR), None)
    if guessed is not None:
        teach = "" if recorded else f" Teach it with: gatewayd freezer test-off {guessed.freezer.id}"
        parts.append(f"A range is a guess until the freezer has been through an outage or a test switch-off.{teach}")
    return "\n".join(parts)


def paragraph(case: Case) -> str:
    """Say in a few sentences how it is with a freezer and how long its food holds."""
    event, house = case.event, case.house
    if case.state == NO_SENSOR:
        return f"{case.freezer.name} has no sensor, so nothing is known of it."
    if case.emptied:
        air = "" if case.air is None else f" {'It was' if case.silent else 'It is'} at {case.units.show(case.air)}."
        return f"{case.freezer.name} is being defrosted, so how long it would hold food is not told now.{air}"
    said = [_now(case), why(event, house)]
    said += _left(case, event) if case.uncooled else _reserve(case)
    advice = look(event, house, shut=not case.thaws)
    if case.thaws:
        advice = f"{advice} Look at the food now."
    elif case.uncooled:
        advice = advice or "Keep it shut."
    return " ".join(part.strip() for part in (*said, advice) if part)


def short(case: Case) -> str:
    """Say in a few words how long the food of a freezer holds, nothing where that is not known."""
    if case.state == NO_SENSOR or case.emptied:
        return ""
    if case.uncooled:
        event = case.event
        text = "" if firm(event) is Label.ROOM_AIR else left(event, case.house, unheard=case.silent or case.last)
        return text or capital(_none(case))
    row = _quoted(case)
    if row is None:
        return _none(case)
    shown, guess = level(RESERVE_LEVEL, case.house), "" if case.outlook.calibrated else " (a guess)"
    guess += ", as far as it was last heard" if case.silent else ""
    if row.early is None:
        return f"Without power more than 9 days to {shown}{guess}"
    if row.early == 0:
        return f"Its warmest food may be at {shown} already{guess}"
    return f"Without power about {span_of(row.early, row.late)} to {shown}{guess}"


def _quoted(case: Case) -> Span | None:
    """Return the row by which the reserve of a freezer that cools is quoted, None where there is none."""
    rows = (s for s in case.outlook.reserve if s.where is Where.FOOD and s.level == RESERVE_LEVEL)
    return next(rows, None)


def _now(case: Case) -> str:
    name, air = case.freezer.name, f"at {case.units.show(case.air)}" if case.air is not None else ""
    if case.test is not None:
        until = clock(to_wall(case.test), case.now.wall, case.zone)
        return f"{name} is switched off for a test until {until}{f', and is {air} now' * bool(air)}."
    since = case.outlook.since
    if case.silent:
        return f"{name} is not heard{f'; it was {air} when it was heard last' * bool(air)}."
    if since is not None:
        lasted = show_span(max(0, case.now.wall - since.wall))
        return f"{name} has not cooled for {lasted}{f' and is {air}' * bool(air)}."
    if not air:
        return f"{name}: how warm it is now is not known."
    return f"{name} is {air}{f' and {case.state}' * case.uncooled}."


def _none(case: Case) -> str:
    """Say why there is no forecast."""
    if case.made or case.last:
        return NO_FORECAST
    return JUST_STARTED if case.air is not None and not case.silent else UNHEARD


def _left(case: Case, event: Event) -> list[str]:
    """Say how long is left of a freezer that warms."""
    if firm(event) is Label.ROOM_AIR:
        return ["A sensor in the room's air tells nothing of the food."]
    text = left(event, case.house, unheard=case.silent or case.last)
    if not text:
        cools = firm(event) is Label.LID_OR_LOAD and falls(event)
        return ["It gets colder again." if cools else _none(case), gone(event, "the government's hours")]
    # the warmest probe wins: what it has passed is passed, whatever a forecast says of the food
    reached = event.facts.get("left_level")
    wins = case.air is not None and isinstance(reached, float) and case.air >= reached
    return [text, PROBE_WINS if wins else "", *_rule(event)]


def _rule(event: Event) -> list[str]:
    """Say what of the government's rule is left for a freezer that warms, and which of the two to go by."""
    chosen = guide(event)
    if sparse(event):
        return [UNCOVERED if chosen is not Guide.SENSOR else UNCOVERED.partition(":")[0] + "."]
    used = gone(event, "the government's hours")
    if chosen is Guide.EARLY:
        return [used, SOONER]
    return [used, "Go by the government's rule, which is shorter." if chosen is Guide.RULE else ""]


def _reserve(case: Case) -> list[str]:
    """Say how long the food would hold without power, of a freezer that cools."""
    row, shown = _quoted(case), level(RESERVE_LEVEL, case.house)
    if row is None:
        return [_none(case)]
    guess = "" if case.outlook.calibrated else " (a guess)"
    if row.early is None:
        text = f"Without power the warmest food would not reach {shown} within 9 days{guess}."
    elif row.early == 0:
        text = f"Its warmest food may be at {shown} already{guess}."
    else:
        text = f"Without power it takes {span_of(row.early, row.late)} until the warmest food is at {shown}{guess}."
    return [text, _beside(row, case.outlook.full)]


def _beside(row: Span, full: float | None) -> str:
    """Say which of range and rule to go by in a power cut that is still to come."""
    if full is not None and full < SPARSE:
        return UNCOVERED
    rule = FULL_HOURS if full is not None and full >= FULL else HALF_HOURS
    if row.early is None or row.early > rule:
        return "Go by the government's rule, which is shorter."
    return SOONER
