"""Notice a freezer that is far colder than it ever is: its thermostat hangs, or somebody turned the knob."""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.alarm.limit import Limit, Rule, Turn
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, Moment

HOURS = 7 * 24  # of habit: a week has both its working days and its weekend
LEARNT = 24  # hours before a habit is believed: a whole day with its openings
YOUNG = 6  # the newest hours do not count yet, so that the habit cannot follow a fault while it begins
DEADBAND = 1.0  # K, as for the other limits


@dataclass(slots=True)
class Cold:
    """Hold the hourly means (°C) of a week, and where the limit below them stands.

    `odd` counts the hours spent below it: after a week of them that is how the freezer is now, and it is learnt anew.
    """

    means: deque[float] = field(default_factory=lambda: deque(maxlen=HOURS))
    hour: int = -1  # of steady time
    count: int = 0
    total: float = 0.0
    habit: float | None = None
    limit: Limit = field(default_factory=Limit)
    odd: int = 0

    def take(self, value: float, now: Moment, limits: Limits, gap: int) -> Turn | None:
        """Take one reading (°C); `gap` (ms) is the longest distance of two that counts as seeing."""
        hour = now.steady // HOUR
        if hour != self.hour:
            self._learn(hour, limits.high)
        self.count += 1
        self.total += value
        if self.habit is None or not limits.too_cold:
            return self._nothing_to_compare()
        floor = self.habit - limits.too_cold
        if value >= floor and self.limit.began is None:
            return None
        # a low limit is a high one seen in a mirror
        return self.limit.step(-value, now, Rule(-floor, DEADBAND, limits.too_cold_on_delay, limits.off_delay), gap)

    def _nothing_to_compare(self) -> Turn | None:
        """Give up a spell that ran, since it was switched off or became the habit."""
        if self.limit.active:
            self.limit.active = False
            return Turn.OFF
        if self.limit.began is not None:
            self.limit = Limit()
        return None

    def _learn(self, hour: int, high: float) -> None:
        """Learn the hour that is over, unless it was out of habit or too warm for a freezer that works."""
        mean = self.total / self.count if self.count else None
        self.hour, self.count, self.total = hour, 0, 0.0
        if mean is None or mean > high:  # a probe on the table, a freezer that thaws or is cleaned
            return
        self.odd = self.odd + 1 if self.limit.began is not None else 0
        if self.odd >= HOURS:
            self.means.clear()
        elif self.odd:
            return
        self.means.append(round(mean, 2))
        old = list(self.means)[:-YOUNG]
        self.habit = sum(old) / len(old) if len(old) >= LEARNT else None

    def forget_steady(self) -> None:
        """Forget the hour that runs, counted by the clock of another boot, and that readings follow one another."""
        self.hour, self.count, self.total = -1, 0, 0.0
        self.limit.last = None
