"""What follows from one step of the watch."""

from dataclasses import dataclass, field

from gatewayd.model.chore import Chore
from gatewayd.model.event import Decision, Event, Notice
from gatewayd.model.reading import Reading


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer an order. `done` says whether it was carried out; `text` is for the person who gave it."""

    done: bool
    text: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Restamp:
    """Shift what this boot wrote between two wall stamps (ms) by `delta` ms."""

    boot: str
    first: int
    last: int
    delta: int


@dataclass(slots=True)
class Effects:
    """Hold rows to keep, events, notices, the answer to an order, and what the store must do besides.

    `dropped` are the first event numbers of alarms whose unsent notices are void. `counters` are the last ones of
    encrypted sensors, to be kept with the readings they came with. `decisions` say why people were told or not.
    `chores` are what was done for a freezer, as the watch saw it done.
    `fits` are what is to be computed for a freezer (its id, what thermal/ wants), `recall` asks for the stored past.
    """

    rows: list[Reading] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    answer: Answer | None = None
    restamp: Restamp | None = None
    dropped: list[int] = field(default_factory=list)
    counters: dict[str, int] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)
    fits: list[tuple[str, object]] = field(default_factory=list)
    chores: list[Chore] = field(default_factory=list)
    recall: bool = False

    @property
    def urgent(self) -> bool:
        """Return whether this must be committed at once."""
        return bool(self.events or self.notices or self.answer or self.restamp)
