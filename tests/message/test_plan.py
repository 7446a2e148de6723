"""Whether an event is told, and the named reason."""

from dataclasses import replace

import pytest

from gatewayd.message.plan import Reason, decide, notices
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.priority import Priority
from tests.days.player import BEGIN, house


def event(kind: str, what: What, priority: Priority = Priority.HIGH, **facts: Fact) -> Event:
    """Return an event."""
    return Event(5, BEGIN, "shed-chest", kind, what, priority, 1, 5, facts=facts)


@pytest.mark.parametrize(
    ("happened", "standing", "reason"),
    [
        (event("high", What.RAISED), (), Reason.NEW),
        (event("high", What.RAISED), ("highhigh",), Reason.WORSE_STANDS),
        (event("highhigh", What.RAISED), ("high",), Reason.NEW),
        (event("highhigh", What.OVER), ("high",), Reason.STILL_WARM),
        (event("highhigh", What.OVER), (), Reason.OVER),
        (event("unwatched", What.WORSE), (), Reason.WORSE),
        (event("silent", What.RAISED, suppressed_by="home"), (), Reason.SUPPRESSED),
        (event("high", What.ACKNOWLEDGED), ("high",), Reason.BY_A_PERSON),
        (event("high", What.CLOSED), (), Reason.SETTINGS),
        (event("start", What.NOTED, Priority.LOW), (), Reason.LOW),
        (event("dark", What.NOTED, Priority.MEDIUM), (), Reason.NOTE),
    ],
)
def test_reasons(happened: Event, standing: tuple[str, ...], reason: Reason) -> None:
    """Each turn is told or kept quiet for its named reason."""
    assert decide(happened, lambda _subject, kind: kind in standing) is reason


def test_each_person_gets_what_they_want() -> None:
    """A person hears of priorities from their own on, by their own routes in order, and without a route not at all."""
    ann = house().people["ann"]
    people = {
        "ann": replace(ann, routes=("chat", "mail")),
        "ben": replace(ann, id="ben", told_from=Priority.HIGH),
        "cat": replace(ann, id="cat", routes=(), told_from=Priority.LOW),
    }
    medium = event("unwatched", What.RAISED, Priority.MEDIUM)
    made = notices(medium, house(people=people), Reason.NEW, ("title", "body"))

    assert [(n.person, n.routes) for n in made] == [("ann", ("chat", "mail"))]
