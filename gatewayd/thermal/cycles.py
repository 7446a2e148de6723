"""The compressor's cycles as the air shows them: period, duty, starts in a day."""

from math import isnan
from statistics import fmean, median

from gatewayd.model.outlook import Cycles
from gatewayd.thermal.course import Course
from gatewayd.thermal.turning import BREAK, Turn, turns

STEP = 5  # min: method, means over 5 min
FEWEST = 3  # whole cycles; a slow chest freezer has six or seven in a day. Our choice
LEAST = 0.4  # of the asked time must have been heard, or it is no day's value. Our choice
NEAR = (0.6, 1.6)  # x the usual length: what lies outside is an opening, a defrost or a missed turn. Our choice
REGULAR = 0.5  # of all cycles must be near the usual length, or it is noise and no compressor. Our choice
READINGS = 4  # readings a cycle at least; below, the turns are those of the sampling. Our choice: twice Nyquist's two


def cycles(course: Course, end: int, days: float = 1) -> Cycles | None:
    """Return the cycles of the `days` before slot `end`, None where there is no ripple or too little was heard.

    The duty is the share of time in which the air falls. That outlasts the compressor, so it reads about 0.05 high
    (measured on simulated freezers): compare it with other days of the same freezer only.
    """
    begin = max(course.first, end - round(days * 1440))
    heard = sum(1 for v in course.air[begin - course.first : max(0, end - course.first)] if not isnan(v))
    values = course.means(begin, end, STEP)
    known = sum(1 for v in values if not isnan(v))
    if known < 2 or _covered(values) * STEP < LEAST * days * 1440:
        return None
    pairs = _pairs(turns(values, STEP), values)
    if len(pairs) < FEWEST:
        return None
    usual = median(length for length, _ in pairs)
    good = [(length, fall) for length, fall in pairs if NEAR[0] * usual <= length <= NEAR[1] * usual]
    spacing = _covered(values) * STEP / heard
    if len(good) < max(FEWEST, REGULAR * len(pairs)) or usual * STEP < READINGS * spacing:
        return None
    period = fmean(length for length, _ in good) * STEP
    duty = sum(fall for _, fall in good) / sum(length for length, _ in good)
    return Cycles(period * 60.0, duty, 1440.0 / period)


def _covered(values: list[float]) -> int:
    """Count the values that lie between readings no more than `BREAK` apart."""
    covered, before = 0, -1
    for i, value in enumerate(values):
        if not isnan(value):
            if before >= 0 and (i - before) * STEP <= BREAK:
                covered += i - before
            before = i
    return covered


def _pairs(found: list[Turn], values: list[float]) -> list[tuple[float, float]]:
    """Return of each cycle from high to high the length and the fall in it, in values."""
    at = [turn.index + _beside(values, turn.index) for turn in found]
    return [
        (at[i + 2] - at[i], at[i + 1] - at[i])
        for i in range(len(found) - 2)
        if not found[i].low and found[i + 1].low and not found[i + 2].low
    ]


def _beside(values: list[float], i: int) -> float:
    """Return how far from `i`, in values, the vertex of the parabola through three values lies (-0.5 to 0.5).

    Of equal values a turn names one end, which would lengthen every fall by half a step.
    """
    if not 0 < i < len(values) - 1:
        return 0.0
    bend = values[i - 1] - 2 * values[i] + values[i + 1]
    if isnan(bend) or not bend:
        return 0.0
    return max(-0.5, min(0.5, (values[i - 1] - values[i + 1]) / (2 * bend)))
