"""Play whole days through the pure watch: inputs at their times, ticks when the watch asked for them."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from gatewayd.model.chore import Chore
from gatewayd.model.effect import Answer, Restamp
from gatewayd.model.event import Event, Notice, What
from gatewayd.model.given import Fitted, Given, Recalled, SourceNews, Start, Tick
from gatewayd.model.house import Freezer, House, Kind, Person, Sensor
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Heard, Quantity, Reading
from gatewayd.model.telling import Telling
from gatewayd.thermal.computing import Wanted, compute
from gatewayd.watch.known import Pace
from gatewayd.watch.memory import restore, save
from gatewayd.watch.watch import Watch

BEGIN = Moment(1_795_600_000_000, 3_600_000, "boot-a")  # some afternoon; the computer had been up for an hour
BROKER = "home"
OVERLAYS = (What.SUPPRESSED, What.UNSUPPRESSED, What.SHELVED, What.UNSHELVED)


def house(freezers: int = 3, **changes: object) -> House:
    """Return a house of some freezers with one probe each, told to Ann."""
    names = ["shed-chest", "cellar-upright", "porch-chest", "barn-chest"][:freezers]
    fields: dict[str, object] = {
        "id": "heron-lane",
        "name": "Heron Lane",
        "freezers": {n: Freezer(n, n.replace("-", " ").capitalize(), Kind.CHEST, sensors=(f"{n}-air",)) for n in names},
        "sensors": {f"{n}-air": Sensor(f"{n}-air", f"{n} probe", BROKER, f"air/{n}") for n in names},
        "sources": {BROKER: "Home broker"},
        "people": {"ann": Person("ann", "Ann", ("ann-mail",), Priority.MEDIUM)},
        "telling": Telling(note=None, test=None),
    }
    return House(**(fields | changes))  # type: ignore[arg-type]


@dataclass
class Player:
    """Drive one watch and remember what came of it."""

    house: House = field(default_factory=house)
    now: Moment = BEGIN
    begun: bool = True
    pace: Pace | None = None  # how often fits are computed, None: never
    events: list[Event] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    rows: list[Reading] = field(default_factory=list)
    restamps: list[Restamp] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    answer: Answer | None = None
    chores: list[Chore] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start the watch, and its broker with it."""
        self.watch = Watch(self.house, self.now)
        self.watch.pace = self.pace
        if self.begun:
            self.give(Start())
            self.give(SourceNews(BROKER, up=True, reason="it answers"))

    def give(self, given: Given) -> None:
        """Give one input now."""
        effects = self.watch.step(given, self.now)
        self.events += effects.events
        self.notices += effects.notices
        self.rows += effects.rows
        self.dropped += effects.dropped
        self.chores += effects.chores
        self.answer = effects.answer or self.answer
        if effects.restamp:
            self.restamps.append(effects.restamp)
        for freezer, wanted in effects.fits:
            assert isinstance(wanted, Wanted)
            self.give(Fitted(freezer, compute(wanted)))

    def go(self, ms: int) -> None:
        """Let time pass, with a tick at each wake the watch asks for."""
        end = self.now.steady + ms
        while (wake := self.watch.next_wake()) is not None and wake <= end:
            self.now = self.now.later(max(0, wake - self.now.steady))
            self.give(Tick())
        self.now = self.now.later(end - self.now.steady)

    def hear(self, celsius: float | bytes, freezer: str = "shed-chest", **more: object) -> None:
        """Hear a temperature from a freezer's probe."""
        payload = celsius if isinstance(celsius, bytes) else f"{celsius}".encode()
        self.give(Heard(BROKER, f"{freezer}-air", payload, self.now, **more))  # type: ignore[arg-type]

    def report(self, every: int, celsius: Iterable[float], *freezers: str) -> None:
        """Hear one temperature after another, `every` ms apart, from all freezers or those named."""
        for value in celsius:
            for freezer in freezers or self.house.freezers:
                self.hear(value, freezer)
            self.go(every)

    def restart(self, away: int, boot: str | None = None, wall: int | None = None, *, trusted: bool = True) -> None:
        """Stop the watch for `away` ms and start a new one from its snapshot; `boot` names another boot."""
        kept, alive = save(self.watch, self.now), self.now
        if boot is None:
            self.now = self.now.later(away)
        else:
            self.now = Moment(self.now.wall + away if wall is None else wall, 20_000, boot)
        self.watch = Watch(self.house, self.now)
        self.watch.pace = self.pace
        restore(self.watch, kept, self.now)
        self.give(Start(alive, trusted=trusted))
        self.give(SourceNews(BROKER, up=True, reason="it answers"))

    def recall(self) -> None:
        """Give the watch what was kept of every thermometer, as the daemon does after a start."""
        past: dict[str, list[tuple[int, float]]] = {}
        for row in self.rows:
            if row.quantity is Quantity.TEMPERATURE and row.good and row.arrival is Arrival.LIVE:
                past.setdefault(row.sensor, []).append((row.heard.wall, row.value))
        self.give(Recalled(past))

    def facts(self, kind: str, what: What = What.RAISED) -> dict[str, object]:
        """Return the facts of the last event of a kind."""
        return dict(next(e.facts for e in reversed(self.events) if e.kind == kind and e.what is what))

    def told(self) -> list[str]:
        """Return the titles of the messages, without the house's name."""
        return [notice.title.removeprefix(f"{self.house.name}: ") for notice in self.notices]

    def turns(self, kind: str) -> list[str]:
        """Return what happened to the alarms of one kind, in order; who speaks in whose place is left out."""
        shown = [event for event in self.events if event.kind == kind and event.what not in OVERLAYS]
        return [f"{event.subject} {event.what.value}" for event in shown]
