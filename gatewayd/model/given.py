"""What is given to the watch, one at a time: bytes heard, ticks, orders, news of sources and of the clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatewayd.model.chore import Chore, Due
from gatewayd.model.contents import Contents
from gatewayd.model.house import House
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Heard, Quantity, Reading


@dataclass(frozen=True, slots=True)
class Tick:
    """Only time has passed. `trusted` says whether something keeps the wall clock right."""

    trusted: bool = True


@dataclass(frozen=True, slots=True)
class Start:
    """Begin watching. `alive` is the last moment at which the watcher is known to have been awake."""

    alive: Moment | None = None
    trusted: bool = True


@dataclass(frozen=True, slots=True)
class SourceNews:
    """A source came up or went down, and why, in the owner's words."""

    source: str
    up: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock was set by `delta` ms. `trusted` tells whether it was believed before the step."""

    delta: int
    trusted: bool


@dataclass(frozen=True, slots=True)
class Order:
    """A person orders something.

    `verb` is what; `alarm` the number people see, 0 for all; `who` the person or the socket's user; `why` free text,
    which is the decision where one is asked for; `key` makes a repeat of the same order harmless. `subject` is the
    freezer an order is about that names no alarm, `span` (ms) how long it holds.
    """

    verb: str
    alarm: int = 0
    who: str = ""
    why: str = ""
    key: str = ""
    subject: str = ""
    span: int = 0


@dataclass(frozen=True, slots=True)
class Rewired:
    """The keeper's settings changed."""

    house: House


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A sensor was checked: `offset` is to be added to its readings from now on."""

    sensor: str
    quantity: Quantity
    offset: float


@dataclass(frozen=True, slots=True)
class Aside:
    """A thermometer is out of its place on purpose: what it says is judged by nobody for `span` ms at most.

    `returning` says that it goes back now; its first reading as cold as its freezer should be ends it. 0 ends it.
    """

    sensor: str
    span: int
    who: str = ""
    returning: bool = False


@dataclass(frozen=True, slots=True)
class Chored:
    """What was done: `newest` is the last of each kind of work for each subject, `new` what is only now done.

    `began` is since when this house is known, `copied` when its data was last copied (wall ms, None: not known). `more`
    is what is due besides, found by others.
    """

    newest: Sequence[Chore] = ()
    new: Chore | None = None
    began: int | None = None
    copied: int | None = None
    more: Sequence[Due] = ()


@dataclass(frozen=True, slots=True)
class Condition:
    """Something of the gateway itself is wrong (`on`) or right again; `text` says what, in the owner's words."""

    kind: str
    on: bool
    text: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something worth a line in the log, that is no alarm. From medium `priority` on people are told of it."""

    subject: str
    kind: str
    text: str
    priority: Priority = Priority.LOW


@dataclass(frozen=True, slots=True)
class Beat:
    """Another household's gateway gave a sign of life (`up`), or its broker says that it is gone."""

    neighbour: str
    up: bool = True


@dataclass(frozen=True, slots=True)
class Played:
    """A reading out of the store, played again; it moves what a live one moves."""

    reading: Reading


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fit that the watch had asked for is done: `result` is what came of it, None where it failed."""

    freezer: str
    result: object | None


@dataclass(frozen=True, slots=True)
class Recalled:
    """The stored past of thermometers: by the sensor's id, (wall ms, °C) of good live readings in order of time."""

    readings: Mapping[str, Sequence[tuple[int, float]]]


@dataclass(frozen=True, slots=True)
class Stocked:
    """What the freezers hold as the stock's list has it (kg by group), by the freezer's id.

    A freezer that is not in it has no list to go by.
    """

    contents: Mapping[str, Contents]


Given = (
    Heard
    | Tick
    | Start
    | SourceNews
    | ClockStep
    | Order
    | Rewired
    | Calibrated
    | Aside
    | Chored
    | Condition
    | Remark
    | Beat
    | Played
    | Fitted
    | Recalled
    | Stocked
)
