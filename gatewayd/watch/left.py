"""What is known of a warming when it is told: why, and how long the food has, as plain facts for the wording."""

from gatewayd.message.rule import FULL, FULL_HOURS, HALF_HOURS
from gatewayd.model.event import Fact
from gatewayd.model.moment import HOUR, MINUTE, Moment, between
from gatewayd.model.outlook import Cause, Label, Outlook, Span, Where

# The levels a message speaks of, the first not reached yet: 15 °F, where quality begins to go; ice melts; 40 °F,
# where the published outage chart of the USDA draws its line.
LEVELS = (-9.4, 0.0, 4.4)
NEAR = 45 * MINUTE  # a rest and some slack: one sees the last low, the other when it left its range. Our choice
OLD = HOUR  # while it warms a forecast is made every 10 min; one older than this has missed what came since. Our choice
CALM_OLD = 3 * HOUR  # in ordinary running one is made each hour; two missed are chance, more are a fault. Our choice


def why(cause: Cause, stopped: Moment | None = None) -> dict[str, Fact]:
    """Return the facts of a cause; none of one that has not held, or that says nothing.

    `stopped` is when the alarms saw it stop cooling, if they did: where the cause says the same of about the same time,
    that is told of both, so that one warming has one beginning.
    """
    if not cause.held or cause.label in (Label.NORMAL, Label.CANNOT_TELL):
        return {}
    facts: dict[str, Fact] = {"cause": cause.label.value, "cause_sure": cause.sure.value}
    if cause.since is not None:
        same = cause.label is Label.POWER and stopped is not None and abs(between(stopped, cause.since)) <= NEAR
        facts["cause_since"] = stopped.wall if stopped is not None and same else cause.since.wall
    return facts


def aged(hours: float | None, age: float) -> float | None:
    """Return hours left (None: not within 9 days) after `age` hours, 0 at least."""
    return None if hours is None else max(0.0, round(hours - age, 2))


def left(outlook: Outlook, now: Moment) -> dict[str, Fact]:
    """Return how long the food has from `now` on if nothing cools; nothing of a forecast that is too old."""
    age = between(outlook.at, now)
    if not 0 <= age <= (CALM_OLD if outlook.since is None else OLD):
        return {}
    span = told(outlook.forecast, age / HOUR)
    if span is None:
        return {}
    hours = {
        "left_early": aged(span.early, age / HOUR),
        "left_likely": aged(span.likely, age / HOUR),
        "left_late": aged(span.late, age / HOUR),
    }
    known: dict[str, float | None] = {
        "hours_off": None if outlook.since is None else round(max(0, between(outlook.since, now)) / HOUR, 2),
        "full": None if outlook.full is None else round(outlook.full, 2),
    }
    return {
        "left_where": span.where.value,
        "left_level": span.level,
        **{name: value for name, value in (hours | known).items() if value is not None},
        "calibrated": outlook.calibrated,
        "beyond_rule": beyond_rule(span, outlook, now),
    }


def told(spans: tuple[Span, ...], age: float) -> Span | None:
    """Return the row to tell after `age` hours: the food's first level not likely reached, else its last."""
    rows = [s for level in LEVELS for s in spans if s.where is Where.FOOD and s.level == level]
    return next((s for s in rows if s.likely is None or s.likely > age), rows[-1] if rows else None)


def beyond_rule(span: Span, outlook: Outlook, now: Moment) -> bool:
    """Return whether even `early` lies behind the end of the 48 or 24 hours that the government's rule gives."""
    if span.early is None:
        return True
    rule = FULL_HOURS if outlook.full is not None and outlook.full >= FULL else HALF_HOURS
    began = outlook.since or now
    return span.early + max(0, between(began, outlook.at)) / HOUR > rule
