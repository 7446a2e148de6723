"""What is computed away from the event loop: fit, forecast, reserve, and the habit of days."""

from dataclasses import dataclass, field, replace

from gatewayd.model.outlook import Cycles, Span
from gatewayd.thermal.cycles import cycles
from gatewayd.thermal.habit import Habit, learn
from gatewayd.thermal.holdover import Frame, forecast, reserve
from gatewayd.thermal.prior import Belief


@dataclass(frozen=True, slots=True)
class Wanted:
    """Hold the inputs of one computation, and which parts of it are wanted."""

    frame: Frame
    beyond: bool
    standing: bool = False  # the reserve
    coming: bool = False  # the forecast
    learn: bool = False  # the habit and the day's cycles too
    lesson: bool = False  # an outage that is over: only what it teaches counts


@dataclass(frozen=True, slots=True)
class Fitted:
    """Hold what a computation found; empty where it was not wanted."""

    wanted: Wanted
    reserve: tuple[Span, ...] = ()
    forecast: tuple[Span, ...] = ()
    taught: Belief = field(default_factory=Belief)
    top: float | None = None  # °C of the warmest layer and of the bulk, as the fit has them
    bulk: float | None = None
    habit: Habit | None = None
    cycles: Cycles | None = None


def compute(wanted: Wanted) -> Fitted:
    """Fit and roll on; pure, the same inputs give the same answer. Takes 0.1 to 0.4 s: not for the event loop."""
    frame = wanted.frame
    found = Fitted(wanted)
    if wanted.standing:
        found = replace(found, reserve=reserve(frame).spans)
    if wanted.coming or wanted.lesson:
        held = forecast(frame)
        found = replace(found, forecast=held.spans, taught=held.taught, top=held.top, bulk=held.bulk)
    if wanted.learn:
        ordinary = frame.since if wanted.beyond and frame.since is not None else frame.end
        habit = None if wanted.beyond else learn(frame.course, frame.end, frame.facts.kind)
        found = replace(found, habit=habit, cycles=cycles(frame.course, ordinary))
    return found
