"""Decide whether an event is told, and why or why not. The reason is a value with a name, kept and shown."""

from collections.abc import Callable
from enum import Enum

from gatewayd.model.event import Event, Stage, What
from gatewayd.model.priority import Priority


class Reason(Enum):
    """Name why somebody was told of an event or not, in the owner's words."""

    NEW = "something new"
    FIRST = "first in the order"
    NEXT_PERSON = "nobody before had answered"
    ALL = "nobody had answered, so all are told"
    WORSE = "it became worse"
    REPEAT = "it is still going on"
    ANSWERED = "somebody is on it"
    OVER = "it is over"
    NOTE = "worth knowing"
    MORNING = "it waited for the end of the quiet hours"
    WAITS_FOR_MORNING = "it waits for the end of the quiet hours"
    OVER_BEFORE_MORNING = "it was over before the end of the quiet hours"
    WORSE_BEFORE_MORNING = "it became worse before the end of the quiet hours"
    ANSWERED_BEFORE_MORNING = "somebody had answered before the end of the quiet hours"
    REPLACED = "a newer message of the same alarm took its place"
    SUPPRESSED = "another message speaks for it"
    SHELVED = "somebody is at the freezer"
    OUT_OF_SERVICE = "it is out of service"
    WORSE_STANDS = "a worse alarm of the same freezer stands"
    STILL_WARM = "the milder alarm still stands"
    KEEPS_COMING = "it keeps coming and going"
    LOW = "only for the page and the weekly note"
    NOT_WANTED = "this person does not want to be told of this priority"
    NO_ROUTE = "there is no way to reach this person"
    NOT_TOLD_BEFORE = "this person was not told of its beginning"
    BY_A_PERSON = "a person did it"
    BY_ITSELF = "the house did it by its own rules"
    SETTINGS = "the settings changed"


STAGES = {
    Reason.NEW: Stage.NEW,
    Reason.WORSE: Stage.WORSE,
    Reason.REPEAT: Stage.REPEAT,
    Reason.OVER: Stage.OVER,
    Reason.NOTE: Stage.NEW,
    Reason.ANSWERED: Stage.ANSWERED,
}
WARMTH = ("rising", "high", "highhigh")  # of one freezer, the mildest first: each worse one speaks for the milder
HOUSE = "the house"  # who acts where no person does; what the alarms write
_PERSONS = (What.CONFIRMED, What.RESET, What.SILENCED, What.SHELVED, What.OUT_OF_SERVICE, What.IN_SERVICE)

Standing = Callable[[str, str], bool]  # (subject, kind) -> whether that alarm stands now


def decide(event: Event, standing: Standing) -> Reason:
    """Return the reason for telling of an event or staying quiet."""
    match event.what:
        case What.ACKNOWLEDGED:
            return Reason.ANSWERED
        case What.CLOSED:
            return Reason.SETTINGS
        case What.SUPPRESSED:
            return Reason.SUPPRESSED
        case What.UNSUPPRESSED:
            return Reason.BY_ITSELF
        case What.UNSHELVED:
            return Reason.BY_A_PERSON if event.who not in ("", HOUSE) else Reason.BY_ITSELF
        case what if what in _PERSONS:
            return Reason.BY_A_PERSON
    if event.facts.get("suppressed_by"):
        return Reason.SUPPRESSED
    hidden = event.facts.get("hidden")
    if hidden:
        return Reason.OUT_OF_SERVICE if hidden == What.OUT_OF_SERVICE.value else Reason.SHELVED
    if event.what is What.NOTED:
        return Reason.NOTE if event.priority > Priority.LOW else Reason.LOW
    if event.kind == "test" and event.what is What.OVER:
        return Reason.BY_A_PERSON  # somebody tapped, or the note about it follows
    return _turn(event, standing)


def _turn(event: Event, standing: Standing) -> Reason:
    """Decide on a turn of an alarm that nothing hides."""
    if any(standing(event.subject, kind) for kind in _worse(event)):
        return Reason.WORSE_STANDS
    match event.what:
        case What.OVER:
            warm = event.kind == "highhigh" and standing(event.subject, "high")
            return Reason.STILL_WARM if warm else Reason.OVER
        case What.WORSE:
            return Reason.WORSE
        case What.REPEATED:
            return Reason.REPEAT
        case _:
            return Reason.NEW


def _worse(event: Event) -> tuple[str, ...]:
    """Return the kinds that speak for this one while they stand; the end of a long warm spell is told all the same."""
    if event.kind in WARMTH:
        return WARMTH[WARMTH.index(event.kind) + 1 :]
    return WARMTH[1:] if event.kind == "warm-long" and event.what is not What.OVER else ()
