"""Follow a battery over weeks. Cold lowers its voltage, so only days of like temperature are compared.

A coin cell reads 0-30 % too low at -20 °C, whatever is left in it; its percentage is a look-up made for 20 °C. So no
single figure says anything: the trend at like temperature does.
"""

from collections import deque
from dataclasses import dataclass, field
from statistics import median

DAYS = 35  # five weeks: four to compare with the last one
LIKE = 4.0  # K; a freezer's daily mean moves by less, a probe taken into the room by far more
WEEK = 7


@dataclass(slots=True)
class Day:
    """Hold one day: its number (steady or wall, as given), readings so far, and their sums."""

    day: int
    count: int = 0
    level: float = 0.0
    warmth: float = 0.0


@dataclass(slots=True)
class Battery:
    """Hold the daily means of a battery's level (%, or V) beside the probe's temperature (°C)."""

    days: deque[Day] = field(default_factory=lambda: deque(maxlen=DAYS))

    def add(self, day: int, level: float, warmth: float) -> None:
        """Take one reading of the day with this number."""
        if not self.days or self.days[-1].day != day:
            self.days.append(Day(day))
        today = self.days[-1]
        today.count, today.level, today.warmth = today.count + 1, today.level + level, today.warmth + warmth

    def trend(self) -> float | None:
        """Return how much the last week's level lies under that of the weeks before, at like temperature.

        The unit is the level's own; a falling battery gives a number below zero. None until there are a full week and
        a week before it to compare.
        """
        means = [(d.day, d.level / d.count, d.warmth / d.count) for d in self.days if d.count]
        if not means:
            return None
        last = means[-1][0]
        recent = [(level, warmth) for day, level, warmth in means if last - day < WEEK]
        usual = median(warmth for _, warmth in recent)
        now = [level for level, warmth in recent if abs(warmth - usual) <= LIKE]
        before = [level for day, level, warmth in means if last - day >= WEEK and abs(warmth - usual) <= LIKE]
        if len(now) < WEEK - 2 or len(before) < WEEK - 2:
            return None
        return median(now) - median(before)
