"""What one commit carries."""

from dataclasses import dataclass, field

from gatewayd.model.chore import Chore
from gatewayd.model.delivery import Delivery
from gatewayd.model.event import Decision, Event
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Quantity, Reading


@dataclass(frozen=True, slots=True)
class Calibration:
    """Hold what a check of a sensor found: `offset` (unit of the quantity) is added from `since` (wall ms) on."""

    sensor: str
    quantity: Quantity
    offset: float
    since: int
    who: str = ""


@dataclass(slots=True)
class Batch:
    """Hold everything that becomes durable together.

    `alive` is now: the last moment at which the watcher is known to have been awake. `deliveries` carry their notice
    and id 0; the store gives the ids. `snapshot` is the watch's state, None if it did not change. `settings` are
    (version, text without secrets). `answers` are (key of the order, answer). `dropped` are the first event numbers
    of alarms whose unsent notices are void. `counters` are the last ones of encrypted sensors. `decisions` say why
    people were told of events or not. `chores` are what the watch saw done for a freezer, without a number.

    A batch whose commit failed may be filled further and handed in again. `stored` is set by the store once the
    batch is safe; handing it in again then changes nothing, so what comes later goes into a new batch.
    """

    alive: Moment
    readings: list[Reading] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    snapshot: str | None = None
    settings: tuple[str, str] | None = None
    answers: list[tuple[str, str]] = field(default_factory=list)
    calibrations: list[Calibration] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    counters: dict[str, int] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)
    chores: list[Chore] = field(default_factory=list)
    stored: list[Delivery] | None = None
