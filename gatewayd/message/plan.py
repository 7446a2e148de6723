"""Decide whether an event is told, and why or why not. The reason is a value with a name."""

from collections.abc import Callable
from enum import Enum

from gatewayd.model.event import Event, Notice, Stage, What
from gatewayd.model.house import House
from gatewayd.model.priority import Priority


class Reason(Enum):
    """Name why an event was told or not."""

    NEW = "something new"
    WORSE = "it became worse"
    REPEAT = "still going on and nobody has answered"
    OVER = "it is over"
    NOTE = "worth knowing"
    SUPPRESSED = "another message speaks for it"
    WORSE_STANDS = "a worse alarm of the same freezer stands"
    STILL_WARM = "the milder alarm still stands"
    LOW = "only for the page and the weekly note"
    BY_A_PERSON = "a person did it"
    SETTINGS = "the settings changed"


_STAGES = {
    Reason.NEW: Stage.NEW,
    Reason.WORSE: Stage.WORSE,
    Reason.REPEAT: Stage.REPEAT,
    Reason.OVER: Stage.OVER,
    Reason.NOTE: Stage.NEW,
}

Standing = Callable[[str, str], bool]  # (subject, kind) -> whether that alarm stands now


def decide(event: Event, standing: Standing) -> Reason:
    """Return the reason for telling of an event or staying quiet."""
    if event.facts.get("suppressed_by"):
        return Reason.SUPPRESSED
    match event.what:
        case What.ACKNOWLEDGED:
            return Reason.BY_A_PERSON
        case What.CLOSED:
            return Reason.SETTINGS
        case What.NOTED:
            return Reason.NOTE if event.priority > Priority.LOW else Reason.LOW
        case What.WORSE:
            return Reason.WORSE
        case What.REPEATED:
            return Reason.REPEAT
        case What.RAISED if event.kind == "high" and standing(event.subject, "highhigh"):
            return Reason.WORSE_STANDS
        case What.OVER if event.kind == "highhigh" and standing(event.subject, "high"):
            return Reason.STILL_WARM
        case What.RAISED:
            return Reason.NEW
        case _:
            return Reason.OVER


def notices(event: Event, house: House, reason: Reason, text: tuple[str, str]) -> list[Notice]:
    """Return one notice for each person who wants events of this priority and has a route."""
    stage = _STAGES.get(reason)
    if stage is None:
        return []
    title, body = text
    return [
        Notice(
            event=event.number,
            person=person.id,
            stage=stage,
            priority=event.priority,
            title=title,
            body=body,
            made=event.at,
            routes=person.routes,
            subject=event.subject,
            kind=event.kind,
        )
        for person in house.people.values()
        if person.routes and event.priority >= person.told_from
    ]
