"""How a freezer ages over weeks: a leaking gasket in its duty, frost in its period."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

WEEKS = 6  # over which a change is stated: method
KEPT = 49  # days looked at: method, seven weeks
FEWEST = 24  # rows; half of the days. Our choice: a sensor that failed for three weeks shows no trend
REACH = 30  # days between the first and the last row, or a hot week would be taken for a trend. Our choice
FLAG = 0.12  # method, measured on simulated freezers: no false flag in 12, and 93 % of leaking gaskets seen
EXCESS = 0.05  # the duty read from the air outlasts the compressor by this much: measured on simulated freezers
LEAST_DUTY = 0.02  # what is left of a duty at least. Our choice: below, the ripple is no compressor's
LEAST_WAY = 10.0  # K between room and air; below, the room's sensor is wrong or the freezer off. Our choice
LEAK = "It runs more than some weeks ago for the same room: the gasket or the lid may leak."


@dataclass(frozen=True, slots=True)
class Day:
    """Hold a day's summary: its number, duty (0 to 1), period (s), means of air and room (°C), starts in the day.

    `room` is None where no sensor is in the room.
    """

    day: int
    duty: float
    period: float
    air: float
    room: float | None
    starts: float


@dataclass(frozen=True, slots=True)
class Ageing:
    """Hold the change in six weeks of the running for the same room and of the period (0.12 = +12 %).

    `run` is None without a sensor in the room: the season alone would raise the duty. `words` are for the keeper; the
    period is for the frost log and no alarm.
    """

    run: float | None
    period: float
    days: int
    words: tuple[str, ...] = ()


def ageing(days: Sequence[Day]) -> Ageing | None:
    """Return how the freezer changed over its last seven weeks, None where too few days are known."""
    if not days:
        return None
    newest = max(day.day for day in days)
    rows = [day for day in days if day.day > newest - KEPT]
    period = _change([(row.day, row.period) for row in rows if row.period > 0])
    if period is None:
        return None
    runs = [
        (row.day, max(LEAST_DUTY, row.duty - EXCESS) / (row.room - row.air))
        for row in rows
        if row.room is not None and row.room - row.air >= LEAST_WAY
    ]
    run = _change(runs)
    leaks = run is not None and run >= FLAG
    return Ageing(run, period, len(rows), (LEAK,) if leaks else ())


def slope(points: Sequence[tuple[float, float]]) -> float:
    """Return the Theil-Sen slope: the median of the slopes between all pairs (Sen 1968). Raise ValueError without two.

    Up to 29 % of the points may be anything.
    """
    slopes = [(y - v) / (x - u) for i, (x, y) in enumerate(points) for u, v in points[:i] if x != u]
    if not slopes:
        raise ValueError("a slope needs two points at different places")
    return median(slopes)


def _change(points: Sequence[tuple[int, float]]) -> float | None:
    """Return the relative change in six weeks of values by day, None where too few or too close."""
    if len(points) < FEWEST:
        return None
    first = min(day for day, _ in points)
    if max(day for day, _ in points) - first < REACH:
        return None
    rate = slope(points)
    begin = median(value - rate * (day - first) for day, value in points)
    return rate * WEEKS * 7 / begin if begin > 0 else None
