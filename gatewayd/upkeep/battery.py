"""Follow a battery over weeks. Cold lowers its voltage, so only days of like temperature are compared.

A coin cell reads 0-30 % too low at -20 °C, whatever is left in it; its percentage is a look-up made for 20 °C. So no
single figure says much: the trend at like temperature does, and a floor that even the cold does not excuse.
"""

from collections import deque
from dataclasses import dataclass, field
from statistics import median

from gatewayd.model.event import Fact
from gatewayd.upkeep.ailing import Finding, Severity, Turn

DAYS = 35  # five weeks: four to compare with the last one
LIKE = 4.0  # K; a freezer's daily mean moves by less, a probe taken into the room by far more
WEEK = 7

COLD = 0.0  # °C; the figures of cells are given for 20 °C, and fall off below freezing (common practice)
# A lithium coin cell stands level for most of its life (2.7-2.9 V in the cold) and then falls; 0.15 V is half the way
# from there to the floor, far more than daily means of like days scatter. Percentages spread 1 V over 100 (all from
# memory).
FELL = {"V": 0.15, "%": 15.0}
# Of an alkaline cell, which falls evenly, such a fall says only that half a year of it is gone; above half of its level
# nobody need buy one yet. Our choice.
FELL_BELOW = 50.0  # %
FLOOR_VOLTS, URGENT_VOLTS = (
    2.4,
    2.2,
)  # CR cells with a nominal 3.0 V and a cut-off at 2.0 V (makers' sheets); our choice
OTHER_CELL = 1.7  # V; no radio for 3 V cells runs below this (common practice): it is a cell of another kind
FLOOR_WARM, FLOOR_COLD = 15.0, 5.0  # %; in the cold a good cell may read 30 points too low, an empty one reads nothing
BACK = {"V": 0.1, "%": 5.0}  # by so much above what began it: a freezer that warms a little restores that much voltage
WELL_DAYS = 2  # judged once a day on a whole one, so two in a row are 24 h at least


@dataclass(slots=True)
class Day:
    """Hold one day: its number (steady or wall, as given), readings so far, and their sums."""

    day: int
    count: int = 0
    level: float = 0.0
    warmth: float = 0.0


@dataclass(slots=True)
class Battery:
    """Hold the daily means of a battery's level (%, or V) beside the probe's temperature (°C), and what was found.

    `judged` is the day of the last judgement, `unit` that of the levels. While it ails, `least` is its lowest daily
    mean since, `fell` says that it was a fall that began it, `urgent` how bad it is, and `well` counts the days in a
    row on which it was not.
    """

    days: deque[Day] = field(default_factory=lambda: deque(maxlen=DAYS))
    judged: int | None = None
    unit: str = ""
    least: float | None = None
    fell: bool = False
    urgent: bool = False
    well: int = 0

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

    def judge(self, day: int, unit: str | None, *, standing: bool) -> Finding | None:
        """Judge the last whole day, once a day; return what changed, None for nothing.

        `day` is today's number as in `add`, `unit` the level's (% or V; None: not known since the start), `standing`
        whether its alarm stands now.
        """
        if unit is None:
            return None
        if unit != self.unit:  # the sensor speaks otherwise now: volts and percent have no common mean
            if self.unit:
                self.days = deque((d for d in self.days if d.day == day), maxlen=DAYS)
            self.unit, self.least = unit, None
        whole = next((d for d in reversed(self.days) if d.day != day and d.count), None)
        if whole is None or self.judged == day:
            return None
        self.judged = day
        level, warmth = whole.level / whole.count, whole.warmth / whole.count
        if not standing:
            found, why = verdict(level, unit, warmth, self.trend())
            if found is None:
                return None
            self.least, self.well, self.urgent = level, 0, found is Severity.URGENT
            self.fell = verdict(level, unit, warmth, None)[0] is None
            return Finding(Turn.BEGINS, _facts(level, unit, why), urgent=self.urgent)
        if self.least is None:  # the alarm outlived what began it
            self.least = level
        found, why = verdict(level, unit, warmth, self.trend(), held=True)
        back = BACK[unit] if not self.fell else FELL[unit]
        if found is not None or level < self.least + back:
            self.well, self.least = 0, min(self.least, level)
            worse = not self.urgent and verdict(level, unit, warmth, None)[0] is Severity.URGENT
            self.urgent = self.urgent or worse
            return Finding(Turn.WORSE, _facts(level, unit, why), urgent=True) if worse else None
        self.well += 1
        if self.well < WELL_DAYS:
            return None
        self.least, self.fell, self.urgent, self.well = None, False, False, 0
        return Finding(Turn.ENDS, _facts(level, unit, ""))


def verdict(
    level: float, unit: str, warmth: float, trend: float | None, *, held: bool = False
) -> tuple[Severity | None, str]:
    """Return how low a battery is, and why in the owner's words.

    `level` and `trend` are in `unit`, % or V; `warmth` is the temperature (°C) at which the level was read. `held` says
    that it was found low before, and must now be better than that by a margin. The floor in volts is that of 3 V cells.
    """
    margin = BACK[unit] if held else 0.0
    cold = warmth < COLD
    if unit == "V":
        if OTHER_CELL <= level <= URGENT_VOLTS + margin:
            return Severity.URGENT, "a 3 V cell ends at about 2 V"
        if OTHER_CELL <= level <= FLOOR_VOLTS + margin:
            return Severity.LOW, "that is little for a 3 V cell, even in the cold" if cold else "a 3 V cell ends there"
    elif level < (FLOOR_COLD if cold else FLOOR_WARM) + margin:
        return Severity.LOW, "that is little, even in the cold" if cold else "that is little"
    drop = -(trend or 0.0)
    if drop > FELL[unit] - margin and (unit == "V" or level < FELL_BELOW + margin):
        shown = f"{drop:.2f} V" if unit == "V" else f"{drop:.0f} points"
        return Severity.LOW, f"it fell by {shown} within a month, at the same temperature"
    return None, ""


def _facts(level: float, unit: str, why: str) -> dict[str, Fact]:
    return {"level": level, "unit": unit, "why": why}
