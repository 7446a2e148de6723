"""A thermometer that is out of its place on purpose, as in ice for a check: what it says is kept and judged by nobody.

So no check raises an alarm, and none leaves a latched one, a warm spell or a warm minute in the food's account behind.
"""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.model.given import Aside
from gatewayd.model.moment import Moment
from gatewayd.upkeep.icepoint import Seen

MOST = 2000  # readings kept; more than an hour of a sensor that reports every two seconds


@dataclass(slots=True)
class SetAside:
    """Hold since when and until which steady time (ms) it is out, by whom, and what it has said raw meanwhile.

    `returning` says that it is on its way back.
    """

    since: Moment
    until: int
    who: str = ""
    returning: bool = False
    seen: deque[Seen] = field(default_factory=lambda: deque(maxlen=MOST))

    def take(self, raw: float, steady: int) -> None:
        """Take one good reading (°C, without any offset) at a steady time (ms)."""
        if not self.returning:
            self.seen.append(Seen(steady, raw))

    def runs(self, steady: int) -> bool:
        """Return whether it is still not judged at a steady time (ms)."""
        return steady < self.until

    def over(self, value: float, high: float | None, steady: int) -> bool:
        """Return whether it counts again: its time is up, or it is back where it is `high` (°C) or colder.

        A thermometer of a room (`high` None) counts again as soon as it goes back.
        """
        return steady >= self.until or (self.returning and (high is None or value <= high))


def set_aside(before: SetAside | None, given: Aside, now: Moment) -> SetAside | None:
    """Return how a thermometer is set aside after an input; one that is out already is not out longer for it."""
    if given.span <= 0:
        return None
    until = now.steady + given.span
    if given.returning:
        return SetAside(now, until, given.who, returning=True) if before is not None else None
    if before is not None and not before.returning and before.runs(now.steady):
        return before
    return SetAside(now, until, given.who)
