"""A thermostat that was moved or drifts: the last hours' mean against the days before.

By the air alone this cannot be told from a compressor that weakens or a freezer that fills.
"""

from dataclasses import dataclass
from math import isnan
from statistics import median, pstdev

from gatewayd.thermal.course import Course
from gatewayd.thermal.habit import Habit
from gatewayd.thermal.turning import bridged, quantile

HOURS = 6  # h whose mean is looked at: method; with two, false flags came twenty times as often
SKIPPED = 24  # h before now that are left out of the comparison, or a slow drift would widen its own spread. Our choice
BEFORE = 72  # h compared with: method, the three days before
FEWEST = 6  # stretches of 6 h that must have been heard there: a day and a half. Our choice
LIMIT = 1.0  # K: method
SPREADS = 3.0  # x the spread of the stretches before: method
LOWER = 0.9  # of the values count: the warmest tenth are openings and defrosts. Our choice
LATELY, STEP = 180, 5  # min that must show cycles, and of a mean. Our choice: three hours hold a cycle of any freezer
LOWS = 0.1  # quantile of them that is a low. Our choice
TURN, TURN_SHARE = 0.5, 0.4  # K, or of the usual span, by which the air falls when it cools. Our choice
HEARD = 0.6  # of a stretch must be known. Our choice


@dataclass(frozen=True, slots=True)
class Drift:
    """Hold by how many K the air moved (above 0: warmer) from its `usual` mean (°C), and the slot at which it began."""

    moved: float
    usual: float
    began: int


def drift(course: Course, end: int) -> Drift | None:
    """Return the drift seen at slot `end`, None where there is none, or too little was heard.

    Do not ask while another cause lasts, nor in the 6 h after: an excursion moves the mean too.
    """
    width = HOURS * 60
    today = _mean(course, end - width, end)
    if isnan(today):
        return None
    newest = end - SKIPPED * 60
    before = [_mean(course, left, left + width) for left in range(newest - BEFORE * 60, newest, width)]
    known = [mean for mean in before if not isnan(mean)]
    if len(known) < FEWEST:
        return None
    usual = median(known)
    moved = today - usual
    if abs(moved) <= max(LIMIT, SPREADS * pstdev(known)):
        return None
    return Drift(moved, usual, _began(course, end, usual, moved))


def _mean(course: Course, begin: int, end: int) -> float:
    """Return the mean (°C) of the lower nine tenths of a stretch, nan where too little was heard."""
    air = bridged(course.air, begin - course.first, end - course.first)
    known = sorted(v for v in air if not isnan(v))
    if len(known) < HEARD * (end - begin):
        return float("nan")
    top = quantile(known, LOWER)
    kept = [v for v in known if v <= top]
    return sum(kept) / len(kept)


def _began(course: Course, end: int, usual: float, moved: float) -> int:
    """Return the slot since which the means of 2 h lie beyond half the way."""
    begin = end
    for left in range(end - 120, end - SKIPPED * 60 - HOURS * 60, -120):
        mean = _mean(course, left, left + 120)
        if not isnan(mean) and (mean - usual) / moved < 0.5:
            break
        begin = left
    return begin


def elsewhere(course: Course, end: int, habit: Habit, moved: float) -> bool:
    """Say whether it cycles at another level than its `habit`'s before slot `end`: it cools, and stops `moved` K off.

    That tells a drift from a stop of cooling, which does not turn down, and from a freezer that is cooling down after
    one, whose lows are as cold as ever.
    """
    known = [v for v in course.means(end - LATELY, end, STEP) if not isnan(v)]
    if len(known) < 3:
        return False
    highest, fell = known[0], 0.0
    for value in known:
        highest = max(highest, value)
        fell = max(fell, highest - value)
    low = quantile(sorted(known), LOWS)
    return fell >= max(TURN, TURN_SHARE * habit.span) and (low - habit.low) * (1 if moved > 0 else -1) > abs(moved) / 2
