"""Whether an event is told, and the named reason."""

import pytest

from gatewayd.message.plan import STAGES, Reason, decide
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.priority import Priority
from tests.message.scene import NOW


def event(kind: str, what: What, priority: Priority = Priority.HIGH, who: str = "", **facts: Fact) -> Event:
    """Return an event."""
    return Event(5, NOW, "shed-chest", kind, what, priority, 1, 5, who, facts=facts)


@pytest.mark.parametrize(
    ("happened", "standing", "reason"),
    [
        (event("high", What.RAISED), (), Reason.NEW),
        (event("high", What.RAISED), ("highhigh",), Reason.WORSE_STANDS),
        (event("high", What.REPEATED), ("high", "highhigh"), Reason.WORSE_STANDS),
        (event("high", What.OVER), ("highhigh",), Reason.WORSE_STANDS),
        (event("high", What.OVER), ("rising",), Reason.OVER),
        (event("highhigh", What.RAISED), ("high",), Reason.NEW),
        (event("highhigh", What.OVER), ("high",), Reason.STILL_WARM),
        (event("highhigh", What.OVER), (), Reason.OVER),
        (event("rising", What.RAISED), ("high",), Reason.WORSE_STANDS),
        (event("rising", What.RAISED), ("highhigh",), Reason.WORSE_STANDS),
        (event("rising", What.OVER), ("high",), Reason.WORSE_STANDS),
        (event("rising", What.OVER), (), Reason.OVER),
        (event("warm-long", What.RAISED, Priority.LOW), ("high",), Reason.WORSE_STANDS),
        (event("warm-long", What.OVER, Priority.LOW), ("high",), Reason.OVER),
        (event("unwatched", What.WORSE), ("high",), Reason.WORSE),
        (event("unwatched", What.REPEATED), (), Reason.REPEAT),
        (event("silent", What.RAISED, suppressed_by="home"), (), Reason.SUPPRESSED),
        (event("high", What.OVER, suppressed_by="shed-mains"), (), Reason.SUPPRESSED),
        (event("high", What.RAISED, hidden="shelved for a time"), (), Reason.SHELVED),
        (event("high", What.RAISED, hidden="out of service"), (), Reason.OUT_OF_SERVICE),
        (event("high", What.ACKNOWLEDGED), ("high",), Reason.ANSWERED),
        (event("high", What.CLOSED), (), Reason.SETTINGS),
        (event("high", What.SUPPRESSED, suppressed_by="shed-mains"), (), Reason.SUPPRESSED),
        (event("high", What.UNSUPPRESSED), (), Reason.BY_ITSELF),
        (event("high", What.UNSHELVED, who="the house"), (), Reason.BY_ITSELF),
        (event("high", What.UNSHELVED, who="ann"), (), Reason.BY_A_PERSON),
        (event("high", What.SHELVED, who="ann"), (), Reason.BY_A_PERSON),
        (event("highhigh", What.RESET, who="ann"), (), Reason.BY_A_PERSON),
        (event("test", What.OVER, Priority.MEDIUM), (), Reason.BY_A_PERSON),
        (event("test", What.NOTED, Priority.MEDIUM), (), Reason.NOTE),
        (event("start", What.NOTED, Priority.LOW), (), Reason.LOW),
        (event("dark", What.NOTED, Priority.MEDIUM), (), Reason.NOTE),
    ],
)
def test_reasons(happened: Event, standing: tuple[str, ...], reason: Reason) -> None:
    """Each turn is told or kept quiet for its named reason."""
    assert decide(happened, lambda _subject, kind: kind in standing) is reason


def test_every_turn_has_a_reason() -> None:
    """Whatever happens to whatever kind of alarm, there is a reason, and each reason has words of its own."""
    for what in What:
        for kind in ("high", "highhigh", "rising", "silent", "test", "never-heard-of"):
            assert decide(event(kind, what), lambda _subject, _kind: False) in Reason

    assert len({reason.value for reason in Reason}) == len(Reason)
    assert set(STAGES) <= set(Reason)
