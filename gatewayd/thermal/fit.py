"""Fit the freezer model to what the probe has read since cooling stopped: adaptive importance sampling.

Particles are drawn from a normal distribution over the thirteen deviates, weighted by how well each explains the
readings and by the belief, and the next round is drawn from their weighted mean and covariance. Nothing is kept between
fits: a restart loses nothing but the readings, and the same readings and seed give the same answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isnan, log, log1p
from random import Random
from statistics import NormalDist

from gatewayd.thermal.prior import COUNT, Belief, Body, Prior, cholesky
from gatewayd.thermal.roll import State, begin, reading, roll

PARTICLES = 320  # with half as many the ranges come out too narrow: 0.80 for 0.87 of simulated outages inside
ROUNDS = 4
EFFECTIVE, EFFECTIVE_LAST = 0.25, 0.12  # share of particles that must count: weights are tempered until they do
INFLATE = 1.15  # the covariance of few particles is too small
STEP = 5  # min; half the lag of a cased probe
LONG, LONG_AFTER = 10, 360  # min; where the air moves slowly, twice the step is as exact
SHORT_SPACE, SPACE = 15, 30  # min between readings that are compared: within the first hour, and later
SIGMA = 0.45  # K, by which model and probe differ where all is right (simulated freezers)
EARLY_SIGMA, EARLY = 1.6, 40  # the first minutes (min) are worse: liner and probe lag
NEWEST, OLDEST = 0.7, 2.7  # memory fades: the newest readings say most of what is coming
NU = 6.0  # degrees of freedom: a look under the lid is an outlier
SLOPES = ((90, 0.15), (240, 0.15))  # min back and K: how fast it warms now, told by the difference over so long
_NORMAL = NormalDist()


@dataclass(slots=True)
class Seen:
    """Hold what the probe read since the start: means (°C, nan where nothing was) and the room over each step (min)."""

    air: Sequence[float]
    rooms: Sequence[float]
    step: int

    @property
    def minutes(self) -> int:
        """Return for how long it has been seen."""
        return len(self.air) * self.step


@dataclass(slots=True)
class Particle:
    """Hold one freezer that explains the readings: its numbers, its state at the end, what its probe would read."""

    body: Body
    state: State
    reads: float


@dataclass(slots=True)
class Fit:
    """Hold the particles (of equal weight) and mean and covariance of the deviates."""

    particles: list[Particle]
    mean: list[float]
    covariance: list[list[float]]


def points(seen: Seen) -> list[tuple[int, float, float]]:
    """Return the readings that are compared: index of the step, °C, sigma (K)."""
    found, wait, whole = [], 0, seen.minutes
    for i, value in enumerate(seen.air):
        age = (i + 1) * seen.step
        if isnan(value) or age < wait:
            continue
        wait = age + (SHORT_SPACE if age < 60 else SPACE)
        ago = (whole - age) / max(whole, 360)
        sigma = SIGMA * (EARLY_SIGMA if age <= EARLY else 1.0) * (NEWEST + (OLDEST - NEWEST) * ago)
        found.append((i, value, sigma))
    return found


def slopes(seen: Seen) -> list[tuple[int, int, float, float]]:
    """Return differences that are compared: indices of two steps, K between them, sigma (K)."""
    last = len(seen.air) - 1
    while last >= 0 and isnan(seen.air[last]):
        last -= 1
    found = []
    for back, sigma in SLOPES:
        first = last - back // seen.step
        if first >= EARLY // seen.step // 2 and not isnan(seen.air[first]):
            found.append((first, last, seen.air[last] - seen.air[first], sigma))
    return found


def fit(prior: Prior, seen: Seen, rng: Random, keep: int) -> Fit:
    """Return `keep` particles drawn by how well they explain what was seen; with nothing seen, from the belief."""
    belief = prior.belief
    root = lower = belief.lower()
    if not seen.air or all(isnan(v) for v in seen.air):
        alike = [_particle(prior, z, seen) for z in _even(rng, keep, belief, root)]
        return Fit(alike, list(belief.mean), root)
    at, differences = points(seen), slopes(seen)
    mean = list(belief.mean)
    weights: list[float] = []
    made: list[Particle] = []
    covariance = lower
    for turn in range(ROUNDS):
        drawn = [_draw(rng, mean, lower) for _ in range(PARTICLES)]
        made, logs = [], []
        for z, density in drawn:
            body = prior.body(z)
            states = roll(body, prior.curve, begin(body, prior.curve), seen.rooms, seen.step * 60.0)
            logs.append(_explains(prior, body, states, seen, at, differences) + _believed(z, belief, root) - density)
            made.append(
                Particle(body, states[-1], reading(body, prior.curve, states[-1], seen.rooms[-1], seen.minutes / 60))
            )
        weights = _tempered(logs, EFFECTIVE_LAST if turn == ROUNDS - 1 else EFFECTIVE)
        mean, covariance = _moments([z for z, _ in drawn], weights)
        if turn < ROUNDS - 1:
            lower = cholesky(covariance)
    chosen = _resample(weights, keep, rng)
    return Fit([made[i] for i in chosen], mean, [[value / INFLATE for value in row] for row in covariance])


def _particle(prior: Prior, z: list[float], seen: Seen) -> Particle:
    body = prior.body(z)
    state = begin(body, prior.curve)
    if seen.rooms:
        state = roll(body, prior.curve, state, seen.rooms, seen.step * 60.0)[-1]
    return Particle(
        body,
        state,
        reading(body, prior.curve, state, seen.rooms[-1] if seen.rooms else prior.start.room, seen.minutes / 60),
    )


def strata(rng: Random, count: int) -> list[float]:
    """Return `count` standard normal deviates, one of each stratum, in random order: a few of them have the spread."""
    found = [_NORMAL.inv_cdf((i + 0.5) / count) for i in range(count)]
    rng.shuffle(found)
    return found


def _even(rng: Random, count: int, belief: Belief, root: list[list[float]]) -> list[list[float]]:
    """Return draws from a belief, each number by strata (a Latin hypercube)."""
    columns = [strata(rng, count) for _ in range(COUNT)]
    return [
        [m + sum(w * v for w, v in zip(row, noise, strict=True)) for m, row in zip(belief.mean, root, strict=True)]
        for noise in zip(*columns, strict=True)
    ]


def _draw(rng: Random, mean: list[float], lower: list[list[float]]) -> tuple[list[float], float]:
    """Return one draw of a normal distribution and the logarithm of its density, but for a constant."""
    noise = [rng.gauss(0, 1) for _ in range(COUNT)]
    z = [mean[i] + sum(lower[i][j] * noise[j] for j in range(i + 1)) for i in range(COUNT)]
    return z, -0.5 * sum(v * v for v in noise) - sum(log(lower[i][i]) for i in range(COUNT))


def _believed(z: list[float], belief: Belief, root: list[list[float]]) -> float:
    """Return the logarithm of a belief's density at z, but for a constant."""
    noise: list[float] = []
    for i, row in enumerate(root):
        noise.append((z[i] - belief.mean[i] - sum(row[j] * noise[j] for j in range(i))) / row[i])
    return -0.5 * sum(v * v for v in noise)


def _explains(
    prior: Prior,
    body: Body,
    states: list[State],
    seen: Seen,
    at: list[tuple[int, float, float]],
    differences: list[tuple[int, int, float, float]],
) -> float:
    """Return the logarithm of how likely the readings are in this freezer."""
    curve, rooms, total, hours = prior.curve, seen.rooms, 0.0, seen.step / 60
    for i, value, sigma in at:
        off = (reading(body, curve, states[i], rooms[i], (i + 1) * hours) - value) / sigma
        total -= 0.5 * (NU + 1) * log1p(off * off / NU) + log(sigma)
    for first, last, moved, sigma in differences:
        here = reading(body, curve, states[last], rooms[last], (last + 1) * hours)
        here -= reading(body, curve, states[first], rooms[first], (first + 1) * hours)
        off = (here - moved) / sigma
        total -= 0.5 * (NU + 1) * log1p(off * off / NU)
    return total


def _tempered(logs: list[float], share: float) -> list[float]:
    """Return weights that sum to 1, flattened until their effective number is at least `share` of all."""
    most = max(logs)
    wanted = share * len(logs)
    low, high = 0.0, 1.0
    weights = _weights(logs, most, 1.0)
    if 1 / sum(w * w for w in weights) >= wanted:
        return weights
    for _ in range(20):
        middle = 0.5 * (low + high)
        weights = _weights(logs, most, middle)
        if 1 / sum(w * w for w in weights) >= wanted:
            low = middle
        else:
            high = middle
    return _weights(logs, most, low)


def _weights(logs: list[float], most: float, power: float) -> list[float]:
    raw = [exp(power * (value - most)) for value in logs]
    whole = sum(raw)
    return [value / whole for value in raw]


def _moments(zs: list[list[float]], weights: list[float]) -> tuple[list[float], list[list[float]]]:
    """Return the weighted mean and covariance (inflated) of draws."""
    mean = [sum(w * z[i] for z, w in zip(zs, weights, strict=True)) for i in range(COUNT)]
    offs = [[z[i] - mean[i] for i in range(COUNT)] for z in zs]
    covariance = [[0.0] * COUNT for _ in range(COUNT)]
    for off, w in zip(offs, weights, strict=True):
        for i in range(COUNT):
            wi, row = INFLATE * w * off[i], covariance[i]
            for j in range(i + 1):
                row[j] += wi * off[j]
    for i in range(COUNT):
        for j in range(i):
            covariance[j][i] = covariance[i][j]
    return mean, covariance


def _resample(weights: list[float], count: int, rng: Random) -> list[int]:
    """Return `count` indices drawn by weight, at even distances (systematic resampling)."""
    at, found, reached, i = rng.random() / count, [], weights[0], 0
    for _ in range(count):
        while reached < at and i < len(weights) - 1:
            i += 1
            reached += weights[i]
        found.append(i)
        at += 1 / count
    return found
