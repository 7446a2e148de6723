"""Turn what was said and what was true into medians, shares and honest intervals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, lgamma, log

import numpy as np

from tests.evaluate.trial import HORIZON, Said

SURE = 0.95  # of one-sided intervals


def quantile(values: Sequence[float], share: float) -> float:
    """Return a quantile, nan of nothing."""
    kept = [v for v in values if v == v]  # noqa: PLR0124 - nan
    return float(np.quantile(kept, share)) if kept else float("nan")


def below(successes: int, n: int, p: float) -> float:
    """Return the chance of at most `successes` of `n` where each has chance `p`."""
    if p <= 0.0:
        return 1.0
    if p >= 1.0:
        return 1.0 if successes >= n else 0.0
    terms = (
        lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) + k * log(p) + (n - k) * log(1 - p)
        for k in range(successes + 1)
    )
    return min(1.0, sum(exp(term) for term in terms))


def at_least(successes: int, n: int) -> float:
    """Return the lowest share that `successes` of `n` leave possible (one-sided 95 %, Clopper & Pearson 1934)."""
    if not successes:
        return 0.0
    return _turn(lambda p: 1.0 - below(successes - 1, n, p) >= 1.0 - SURE)


def at_most(successes: int, n: int) -> float:
    """Return the highest such share."""
    if successes == n:
        return 1.0
    return _turn(lambda p: below(successes, n, p) < 1.0 - SURE)


def rate_at_least(events: int, over: float) -> float:
    """Return the lowest rate that `events` in `over` leave possible (one-sided 95 %, exact for a Poisson count)."""
    if not events:
        return 0.0

    def enough(rate: float) -> bool:
        mean = rate * over
        return 1.0 - sum(exp(k * log(mean) - mean - lgamma(k + 1)) for k in range(events)) >= 1.0 - SURE

    return _turn(enough, top=2.0 * (events + 1) / over)


def _turn(beyond: Callable[[float], bool], top: float = 1.0) -> float:
    low, high = 1e-12, top
    for _ in range(60):
        middle = 0.5 * (low + high)
        if beyond(middle):
            high = middle
        else:
            low = middle
    return high


def quantile_at_least(values: Sequence[float], share: float) -> float:
    """Return the lowest value that a quantile may truly have (one-sided 95 %, by order statistics)."""
    kept = sorted(v for v in values if v == v)  # noqa: PLR0124 - nan
    n = len(kept)
    rank = -1  # the largest rank whose value is below the quantile with 95 %
    while rank + 1 < n and below(rank + 1, n, share) <= 1.0 - SURE:
        rank += 1
    return kept[rank] if rank >= 0 else float("-inf")


def ratio_span(before: Sequence[float], after: Sequence[float]) -> tuple[float, float, float]:
    """Return median(after) / median(before) of pairs, and the ends of its one-sided 95 % intervals (bootstrap)."""
    pairs = np.array([before, after], dtype=float)
    pairs = pairs[:, np.isfinite(pairs).all(axis=0)]
    if not pairs.shape[1]:
        return float("nan"), float("nan"), float("nan")
    rng = np.random.default_rng(1)
    picked = pairs[:, rng.integers(0, pairs.shape[1], (2000, pairs.shape[1]))]
    medians = np.median(picked, axis=2)
    ratios = medians[1] / np.maximum(medians[0], 1e-9)
    whole = np.median(pairs, axis=1)
    return float(whole[1] / whole[0]), float(np.quantile(ratios, 1 - SURE)), float(np.quantile(ratios, SURE))


@dataclass(frozen=True, slots=True)
class Cell:
    """Hold one cell of the forecast table."""

    n: int
    median: float  # h, of those reached
    p90: float
    covered: int
    too_late: int
    width: float  # median late / early
    relative: tuple[float, ...]  # error over the true time
    single: float
    single_p90: float


def hours(value: float | None) -> float:
    """Return a forecast's hours, the horizon where it says "not within 9 days"."""
    return HORIZON if value is None else value


def covered(said: Said) -> bool:
    """Return whether the truth lies within early and late; what was not reached is, where late lies beyond."""
    if said.true is None:
        return said.late is None or said.late >= said.left
    return hours(said.early) <= said.true and (said.late is None or said.true <= said.late)


def too_late(said: Said) -> bool:
    """Return whether `early` came after the truth."""
    return said.true is not None and hours(said.early) > said.true


def cell(rows: Sequence[Said]) -> Cell:
    """Return the cell of rows of one level and time."""
    reached = [(row, row.true) for row in rows if row.true is not None]
    errors = [abs(hours(row.likely) - true) for row, true in reached]
    single = [abs(row.single - true) for row, true in reached if row.single is not None]
    widths = [hours(row.late) / row.early for row in rows if row.early]
    return Cell(
        len(rows),
        quantile(errors, 0.5),
        quantile(errors, 0.9),
        sum(covered(row) for row in rows),
        sum(too_late(row) for row in rows),
        quantile(widths, 0.5),
        tuple(e / true for e, (_, true) in zip(errors, reached, strict=True)),
        quantile(single, 0.5),
        quantile(single, 0.9),
    )
