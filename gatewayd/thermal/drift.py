"""A thermostat that was moved or drifts: the last hours' mean against the days before.

By the air alone this cannot be told from a compressor that weakens or a freezer that fills.
"""

from dataclasses import dataclass
from math import isnan
from statistics import median, pstdev

from gatewayd.thermal.course import Course
from gatewayd.thermal.turning import bridged, quantile

HOURS = 6  # h whose mean is looked at: method; with two, false flags came twenty times as often
SKIPPED = 24  # h before now that are left out of the comparison, or a slow drift would widen its own spread. Our choice
BEFORE = 72  # h compared with: method, the three days before
FEWEST = 6  # stretches of 6 h that must have been heard there: a day and a half. Our choice
LIMIT = 1.0  # K: method
SPREADS = 3.0  # x the spread of the stretches before: method
LOWER = 0.9  # of the values count: the warmest tenth are openings and defrosts. Our choice
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
