"""What happened: an event is a row in the house's log and never changes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

Fact = str | int | float | bool | None


class What(Enum):
    """Name the turn an event records."""

    RAISED = "raised"
    WORSE = "worse"  # the same alarm, now of a higher priority
    REPEATED = "repeated"  # re-alarm: still standing, nobody answered or not for long
    ACKNOWLEDGED = "acknowledged"
    CONFIRMED = "confirmed"
    OVER = "over"
    RESET = "reset"  # a latched alarm ended by a person, with a decision
    SILENCED = "silenced"  # sound off, nothing else
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"  # by the house's own rules, never by a person
    UNSUPPRESSED = "unsuppressed"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"
    CLOSED = "closed"  # ended by a change of the settings, not by the freezer
    NOTED = "noted"  # a line for the log that is no alarm


@dataclass(frozen=True, slots=True)
class Event:
    """Hold one turn of one alarm.

    `number` is house-wide and what people see. (`subject`, `kind`) names the alarm, `occurrence` counts its
    spells, `first` is the number of the event that raised this spell. `facts` are plain values for the wording.
    """

    number: int
    at: Moment
    subject: str
    kind: str
    what: What
    priority: Priority
    occurrence: int = 0
    first: int = 0
    who: str = ""
    why: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)
    settings: str = ""


class Stage(Enum):
    """Name the stage of an alarm a notice tells of; one notice per event, person and stage."""

    NEW = "new"
    WORSE = "worse"
    REPEAT = "repeat"
    ANSWERED = "answered"  # somebody is on it, for the others who were told
    OVER = "over"


@dataclass(frozen=True, slots=True)
class Decision:
    """Hold why one person was told of an event or not; kept, so that people can ask.

    `reason` is the name of a reason of message/plan.py, `person` an id, or empty where it holds for everyone.
    `until` (wall ms) is when that changes, where it does: a message that waits for the morning.
    """

    event: int
    person: str
    reason: str
    at: Moment
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Notice:
    """Hold one message to one person, ready to send; the outbox finds the route.

    `made` is when it was decided. `routes` are ids in the order in which they are tried.
    """

    event: int
    person: str
    stage: Stage
    priority: Priority
    title: str
    body: str
    made: Moment
    routes: tuple[str, ...]
    subject: str = ""
    kind: str = ""
