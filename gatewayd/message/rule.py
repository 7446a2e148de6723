"""Say what the published rule of hours still gives, and what to go by: always the earliest of rule, range and sensor.

The rule is that of the USDA and FDA on power outages: shut, a full freezer holds about 48 h and a half-full one about
24, counted from when cooling stopped. It speaks of food that spoils, not of food that softens, and not of a freezer
that is far below half full.
"""

import math
from enum import Enum

from gatewayd.message.cause import found
from gatewayd.message.left import hours_of, rounded, told, warmed
from gatewayd.message.words import capital, level
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR
from gatewayd.model.outlook import LEVELS, Label

FULL_HOURS, HALF_HOURS = 48.0, 24.0
FULL = 0.75  # from here on it is nearer to full than to half full
SPARSE = 0.35  # below it the rule's "half full" is too kind: our choice, a third full and a little
SOFT, LIMIT = LEVELS[2], LEVELS[4]  # °C: air in which food softens, 20 °F; food beyond the limit of the outage chart
# Kinds of which `since` is the moment at which cooling, or the power, stopped.
_STOPPED = frozenset({"rising", "not-cooling", "mains-out"})
_LONGEST = 60 * 24.0  # h; beyond it a clock is wrong, or nobody is waiting for an answer (our choice)

HOLDS = "Kept shut, a full freezer stays cold for about 48 hours, a half-full one for about 24 (government rule)."
_GO_BY = "Go by the government's rule: shut, a full freezer holds about 48 hours, a half-full one 24."
# Beside a range in a message whose advice does not hold the rule: much of the rule's time may be gone already.
_BESIDE = "The government's 48 hours, 24 if half full, count from when cooling stopped."
_HOURS = "the government's 48 hours (24 if half full)"
_SENSOR = "Go by its sensor, which is past that already"
_UNCOVERED = "It is well below half full, which the government's rule does not cover."


class Guide(Enum):
    """Name what comes first and is to go by."""

    SENSOR = "sensor"
    EARLY = "early"
    RULE = "rule"
    OVER = "over"  # the rule's time is used up: the food is to be looked at


def off_for(event: Event) -> float | None:
    """Return for how many hours it has not been cooled, None where that is not known."""
    given = _number(event.facts.get("hours_off"))
    if given is None:
        name = "since" if event.kind in _STOPPED else "cause_since" if found(event) is Label.POWER else ""
        began = event.facts.get(name)
        given = (event.at.wall - began) / HOUR if isinstance(began, int) and not isinstance(began, bool) else None
    return given if given is not None and 0 <= given <= _LONGEST else None


def sparse(event: Event) -> bool:
    """Return whether it is known to be so far below half full that the rule does not speak of it."""
    full = _number(event.facts.get("full"))
    return full is not None and full < SPARSE


def over(event: Event) -> bool:
    """Return whether the rule's time is used up; half full is taken where nobody said how full it is."""
    off = off_for(event)
    return off is not None and off >= _hours(event)


def remaining(event: Event) -> float | None:
    """Return how many hours the rule still gives, from now on, None where it does not speak of this freezer."""
    return None if sparse(event) else max(0.0, _hours(event) - (off_for(event) or 0.0))


def thawing(event: Event) -> bool:
    """Return whether the food is to be looked at: the rule is over, or it may be soft or beyond the limit."""
    value = _number(event.facts.get("value"))
    lost = told(event) and event.facts.get("left_level") == LIMIT and not rounded(_early(event))
    return over(event) or lost or (value is not None and value > SOFT)


def guide(event: Event) -> Guide | None:
    """Return what to go by, None where no range is told."""
    if not told(event):
        return None
    value, level, off = _number(event.facts.get("value")), event.facts.get("left_level"), off_for(event)
    if over(event):
        return Guide.OVER
    if value is not None and isinstance(level, float | int) and value >= level:
        return Guide.SENSOR
    if sparse(event) or not rounded(_early(event)):
        return Guide.EARLY
    if off is None:
        return Guide.RULE if event.facts.get("beyond_rule") is True else Guide.EARLY
    return Guide.RULE if _hours(event) - off < _early(event) else Guide.EARLY


def holds(event: Event, house: House, who: str = "") -> str:
    """Return the rule, what of it is gone and what to go by, for advice; in a reminder only what is short.

    `who` is the freezer of the range in a message of several. Where the event is a note, which is what a page shows,
    no range stands above the advice, so that its early end is told here.
    """
    chosen = guide(event)
    if event.what is What.REPEATED:
        return _reminder(event, chosen)
    if event.what is What.NOTED and chosen in (Guide.SENSOR, Guide.EARLY):
        return _alone(event, house, chosen, who)
    if sparse(event) and not who:
        return _uncovered(event)
    if chosen in (Guide.SENSOR, Guide.EARLY):
        return _sooner(chosen, who)
    if over(event):
        return gone(event)
    return _joined(_GO_BY if chosen is Guide.RULE else HOLDS, gone(event))


def beside(event: Event) -> str:
    """Return the rule in short for a message whose advice does not hold it, nothing without a range."""
    chosen = guide(event)
    if chosen is None:
        return ""
    if event.what is What.REPEATED:
        return _reminder(event, chosen)
    if sparse(event):
        return _uncovered(event)
    if chosen in (Guide.SENSOR, Guide.EARLY):
        return _sooner(chosen)
    if chosen is Guide.OVER:
        return gone(event)
    return _joined(_BESIDE, gone(event), "Go by them." if chosen is Guide.RULE else "")


def gone(event: Event, whose: str = "them") -> str:
    """Say how many of the rule's hours are used, nothing where that is not known or not an hour yet."""
    off = off_for(event)
    if off is None or off < 1:
        return ""
    if not over(event):
        return f"{off:.0f} of {whose} {'is' if round(off) == 1 else 'are'} gone."
    if off >= FULL_HOURS:
        return "The government's 48 hours, 24 if half full, are over."
    more = " (a full one has 48)" if _number(event.facts.get("full")) is None else ""
    return f"The government's 24 hours for a half-full freezer are over{more}."


def _sooner(chosen: Guide, who: str = "") -> str:
    """Say what comes before the rule's end, and to go by that."""
    if chosen is Guide.SENSOR:
        return f"{_SENSOR}, and not by {_HOURS}."
    of = f" for {who}" if who else ""
    return f"Go by the early end{of}, which comes before {_HOURS} are over."


def _alone(event: Event, house: House, chosen: Guide, who: str) -> str:
    """Say the same, with the level and the early end of the range themselves."""
    shown, early = level(event.facts.get("left_level"), house), rounded(_early(event))
    uncovered = sparse(event) and not who
    begin = f"{_UNCOVERED} " if uncovered else ""
    if chosen is Guide.SENSOR:
        return f"{begin}Go by its sensor, which is past {shown} already{'' if uncovered else f', and not by {_HOURS}'}."
    when = f"It may be only {early} until {warmed(event, who)} is at {shown}"
    if not early:
        when = f"{capital(warmed(event, who))} may be at {shown} already"
    return f"{begin}{when}{'' if uncovered else f', sooner than {_HOURS}'}: go by that."


def _uncovered(event: Event) -> str:
    match guide(event):
        case Guide.SENSOR:
            return f"{_UNCOVERED} {_SENSOR}."
        case Guide.EARLY:
            return f"{_UNCOVERED} Go by the early end."
    return _UNCOVERED


def _reminder(event: Event, chosen: Guide | None) -> str:
    if chosen is Guide.RULE:
        return "The government's rule is shorter: go by it."
    return "The government's hours are over." if over(event) else ""


def _hours(event: Event) -> float:
    full = _number(event.facts.get("full"))
    return FULL_HOURS if full is not None and full >= FULL else HALF_HOURS


def _early(event: Event) -> float:
    return hours_of(event.facts.get("left_early")) or 0.0


def _number(value: Fact) -> float | None:
    if not isinstance(value, float | int) or isinstance(value, bool) or not math.isfinite(value):
        return None
    return float(value)


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)
