"""A teller with its alarms: events in, notices and decisions out, time moved by the test."""

from dataclasses import dataclass, field, replace

from gatewayd.message.teller import Teller, Told
from gatewayd.model.event import Decision, Event, Fact, Notice, What
from gatewayd.model.house import House, Person
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.telling import Telling
from tests.message.scene import HOUSE, NOW

NIGHT = (22 * 60, 7 * 60)  # the scene is at 03:12 UTC, in the middle of it
PEOPLE = (Person("ann", "Ann", ("ann-mail",)), Person("ben", "Ben", ("ben-chat",)), Person("cat", "Cat", ("cat-mail",)))


def household(*people: Person, **changes: object) -> House:
    """Return Heron Lane with these people in order, three who never sleep where none are named."""
    fields: dict[str, object] = {"people": {p.id: p for p in people or PEOPLE}, "telling": Telling(), **changes}
    return replace(HOUSE, **fields)  # type: ignore[arg-type]


@dataclass
class Rig:
    """Drive one teller and remember what came of it."""

    house: House = field(default_factory=household)
    now: Moment = NOW
    number: int = 11
    notices: list[Notice] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin with nothing standing."""
        self.teller = Teller(self.house)
        self.stands: dict[tuple[str, str], int] = {}  # the number of the event that raised each

    def happen(
        self, what: What, kind: str = "high", priority: Priority = Priority.MEDIUM, subject: str = "shed-chest",
        *, asks: bool = True, who: str = "", why: str = "", anew: bool = False, **facts: Fact,
    ) -> Event:  # fmt: skip
        """Let something happen now; `anew` raises what stood all along."""
        self.number += 1
        key = (subject, kind)
        first = self.stands.get(key, self.number)
        if what is What.RAISED:
            first = first if anew else self.number
            self.stands[key] = first
        elif what in (What.OVER, What.CLOSED):
            self.stands.pop(key, None)
        event = Event(self.number, self.now, subject, kind, what, priority, 1, first, who, why, facts)
        self.take(self.teller.hear(event, asks, lambda *alarm: alarm in self.stands))
        return event

    def take(self, told: Told) -> None:
        """Remember what came of a step."""
        self.notices += told.notices
        self.decisions += told.decisions

    def go(self, ms: int) -> None:
        """Let time pass, waking when the teller asked for it."""
        end = self.now.steady + ms
        while (wake := self.teller.next_wake(self.now)) is not None and wake <= end:
            self.now = self.now.later(max(0, wake - self.now.steady))
            self.take(self.teller.due(self.now))
        self.now = self.now.later(end - self.now.steady)

    def told(self) -> list[tuple[str, str, int]]:
        """Return person, stage, and minutes since the scene began of each notice."""
        return [(n.person, n.stage.value, (n.made.wall - NOW.wall) // MINUTE) for n in self.notices]

    def why(self, event: Event) -> list[tuple[str, str]]:
        """Return person and reason of each decision about an event."""
        return [(d.person, d.reason) for d in self.decisions if d.event == event.number]
