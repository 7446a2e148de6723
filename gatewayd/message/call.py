"""What the teller remembers of one alarm: whom it called, what waits for the morning, how often it came and went."""

from dataclasses import dataclass, field

from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority


@dataclass(slots=True)
class Call:
    """Hold one alarm that people are being told of.

    `event`, `stage`, `title` and `body` are what the next one is told. `round` are those of the order called since the
    last turn, and when; `step` counts how often, `stepped` is when last. `told` are all who know of this spell (or
    whose message waits). `open`: somebody should answer, and nobody has.
    """

    subject: str
    kind: str
    event: int
    stage: Stage
    priority: Priority
    title: str
    body: str
    stepped: Moment
    step: int = 0
    round: dict[str, Moment] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    open: bool = True


@dataclass(slots=True)
class Held:
    """Hold one notice until a wall stamp (ms): the end of a person's quiet hours."""

    notice: Notice
    until: int


@dataclass(slots=True)
class Often:
    """Hold the wall stamps (ms) at which an alarm began lately, when it last came or went, and whether it is muted."""

    began: list[int] = field(default_factory=list)
    last: int = 0
    muted: bool = False
