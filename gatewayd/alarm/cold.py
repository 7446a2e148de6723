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
    """Hold the hourly means (°C) of a week, and where the limit below them stands."""

    means: deque[float] = field(default_factory=lambda: deque(maxlen=HOURS))
    hour: int = -1  # of steady time
    count: int = 0
    total: float = 0.0
    habit: float | None = None
    limit: Limit = field(default_factory=Limit)

    def take(self, value: float, now: Moment, limits: Limits, gap: int) -> Turn | None:
        """Take one reading (°C); `gap` (ms) is the longest distance of two that counts as seeing."""
        self._learn(value, now.steady // HOUR)
        if self.habit is None or not limits.too_cold:
            return None
        # a low limit is a high one seen in a mirror
        rule = Rule(-(self.habit - limits.too_cold), DEADBAND, limits.too_cold_on_delay, limits.off_delay)
        return self.limit.step(-value, now, rule, gap)

    def _learn(self, value: float, hour: int) -> None:
        if hour != self.hour:
            if self.count and self.limit.began is None:  # what is out of habit teaches none
                self.means.append(self.total / self.count)
                old = list(self.means)[:-YOUNG]
                self.habit = sum(old) / len(old) if len(old) >= LEARNT else None
            self.hour, self.count, self.total = hour, 0, 0.0
        self.count += 1
        self.total += value

    def forget_steady(self) -> None:
        """Forget the hour that runs; it was counted by the clock of another boot."""
        self.hour, self.count, self.total = -1, 0, 0.0
        self.limit.last = None
