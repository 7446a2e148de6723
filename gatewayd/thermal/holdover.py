"""How long it holds without cooling: the standing reserve, and the forecast from readings of an outage.

Both are the same computation: particles are fitted to what was seen since cooling stopped (nothing, for the reserve),
rolled on through the coming days, and asked when the probe and the warmest food reach each level.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, isnan, log, nan, sqrt
from random import Random
from statistics import fmean

from gatewayd.model.outlook import LEVELS, Span, Where
from gatewayd.thermal.course import Course
from gatewayd.thermal.curve import Curve
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.fit import LONG, LONG_AFTER, STEP, Particle, Seen, fit, strata
from gatewayd.thermal.prior import Belief, Prior, Start
from gatewayd.thermal.roll import reading, roll

KEPT = 96  # particles rolled on
HORIZON = 216.0  # h: 9 days, as far as the method was measured
# Steps (min) and how many: fine while the air still moves fast, coarse where only food moves.
STAGES = ((10, 72), (20, 180), (60, 144))
EARLY, LIKELY, LATE = 0.08, 0.5, 0.92  # quantiles
# Spread and shift (log) of the remaining time that no fit removes: nothing real is three lumps, and two independent
# simulations differ by as much. Past the melting it counts which food lies on top: bread has half of meat's ice.
BEYOND_MODEL, BEYOND_MELTING, BIAS = 0.25, 0.42, -0.03
# K by which the warmest layer differs from the lump that stands for it, once readings have drawn the lump after the
# air; towards 0 °C, where the layer melts and stands still, it fades. Food from air is off by 0.5 to 0.8 K (simulated).
LAYER, LAYER_AFTER, FADES = 0.8, 120, -5.0
# x early, by how many outages have taught this freezer, until so many min of this one are seen: wrong facts of size and
# contents fool a fresh belief, and three hours of a test show how it warms but not how much there is to thaw.
UNTAUGHT, UNTAUGHT_FOR = (0.6, 0.8, 1.0), 120
# The range of a probe far from its level came out too narrow on simulated freezers: 0.81 to 0.68 of outages inside
# where 0.84 were meant, 0.90 to 0.96 with this factor.
FAR_LEVEL, FAR_FACTOR = -0.5, 1.3  # °C from which on a level is far, and the factor on a probe's early and late
# A probe near its level after some hours follows a single exponential well: mixed in, the range only widened.
NEAR, NEAR_AFTER, NEAR_BACK = 4.0, 240, 300  # K, min since the start, min of readings
DAY = 1440  # min
LITTLE, SURE = 120, 360  # min of the day before that say little, and enough, of the food's temperature
START_SPREAD, NO_DAY_SPREAD = 0.7, 1.4  # K


@dataclass(frozen=True, slots=True)
class Held:
    """Hold the rows of one answer, and what the fit has taught."""

    spans: tuple[Span, ...]
    taught: Belief
    top: float  # °C of the warmest layer and of the bulk now, means over the particles
    bulk: float


@dataclass(frozen=True, slots=True)
class Frame:
    """Hold what an answer stands on: facts, belief, course, since when it has not cooled (slot, None: it cools)."""

    facts: Facts
    belief: Belief
    course: Course
    since: int | None
    end: int
    seed: int


def reserve(frame: Frame) -> Held:
    """Return in how many hours each level is reached from the moment at which cooling stops, by the day before."""
    at = frame.end if frame.since is None else frame.since
    return _answer(frame, _start(frame, at, ordinary=True), Seen((), (), STEP), at)


def forecast(frame: Frame) -> Held:
    """Return in how many hours from now each level is reached, if nothing cools from now on."""
    if frame.since is None:
        return _answer(frame, _start(frame, frame.end, ordinary=False), Seen((), (), STEP), frame.end)
    step = STEP if frame.end - frame.since <= LONG_AFTER else LONG
    count = (frame.end - frame.since) // step
    first = frame.end - count * step
    air = frame.course.means(first, frame.end, step)
    rooms = _rooms(frame, frame.course.room_means(first, frame.end, step))
    return _answer(frame, _start(frame, frame.since, ordinary=False), Seen(air, rooms, step), frame.end)


def metered(frame: Frame, at: int) -> bool:
    """Return whether the room's temperature was read within the hour before slot `at`."""
    return not isnan(frame.course.room_mean(at - 60, at + 1))


def _rooms(frame: Frame, means: Sequence[float]) -> list[float]:
    """Return the room for each step: as read, else as last read, else as the owner said."""
    last, out = frame.facts.room, []
    for value in means:
        last = last if isnan(value) else value
        out.append(last)
    return out


def _start(frame: Frame, at: int, *, ordinary: bool) -> Start:
    """Return the beginning of an outage at slot `at`; an `ordinary` one begins from the day's mean."""
    course = frame.course
    heard = sum(1 for v in course.means(at - DAY, at, STEP) if not isnan(v)) * STEP
    mean = course.mean(at - DAY, at)
    read = _near(course, at, frame.end)
    if isnan(mean):
        mean = read if not isnan(read) else -18.0  # 0 °F, where freezers are set; only where nothing was ever heard
    if isnan(read) or ordinary:
        read = mean
    share = min(1.0, max(0.0, (heard - LITTLE) / (SURE - LITTLE)))
    spread = NO_DAY_SPREAD + (START_SPREAD - NO_DAY_SPREAD) * share
    room = course.room_mean(at - DAY, at + 1)
    return Start(read, mean, frame.facts.room if isnan(room) else room, metered(frame, at), spread)


def _near(course: Course, at: int, end: int) -> float:
    """Return the reading (°C) at slot `at`: of the 5 min before it, else the first within an hour after it."""
    read = course.mean(at - STEP, at + STEP)
    if not isnan(read):
        return read
    for first in range(at, min(at + 60, end), STEP):
        read = course.mean(first, first + STEP)
        if not isnan(read):
            return read
    return nan


def _answer(frame: Frame, start: Start, seen: Seen, at: int) -> Held:
    rng = Random(frame.seed)  # noqa: S311 - particles, not secrets
    prior = Prior(frame.facts, start, frame.belief)
    found = fit(prior, seen, rng, KEPT)
    rooms = _coming(frame, start, at)
    now = _newest(seen)
    known = min(1.0, seen.minutes / LAYER_AFTER)
    off = [LAYER * known * z for z in strata(rng, KEPT)]
    times = [
        _cross(p, prior.curve, rooms, now, seen.minutes / 60, layer)
        for p, layer in zip(found.particles, off, strict=True)
    ]
    deviates = strata(rng, KEPT)
    spans = []
    for where in Where:
        for k, level in enumerate(LEVELS):
            beyond = BEYOND_MELTING if level >= FAR_LEVEL else BEYOND_MODEL
            hours = sorted(exp(beyond * z + BIAS) * row[where][k] for row, z in zip(times, deviates, strict=True))
            spans.append(_span(frame, where, level, hours, seen, now))
    taught = frame.belief.taught(found.mean, found.covariance) if seen.air else frame.belief
    layers = [[prior.curve.temperature(p.state[lump]) for p in found.particles] for lump in (1, 2)]
    return Held(tuple(spans), taught, fmean(layers[0]), fmean(layers[1]))


def _newest(seen: Seen) -> float:
    """Return the newest mean (°C) within half an hour, nan where nothing was."""
    for value in reversed(seen.air[-max(1, 30 // seen.step) :]):
        if not isnan(value):
            return value
    return nan


def _coming(frame: Frame, start: Start, at: int) -> list[list[float]]:
    """Return the room over each step of each stage: the last day once more, where it was read, else as it is."""
    day = frame.course.room_means(at - DAY, at, 60)
    known = [v for v in day if not isnan(v)]
    if len(known) < len(day) // 2 or not known:
        level = start.room if not known else known[-1]
        return [[level] * count for _step, count in STAGES]
    filled = _rooms(frame, day)
    out, passed = [], 0
    for step, count in STAGES:
        out.append([filled[((passed + i * step) // 60) % len(filled)] for i in range(count)])
        passed += step * count
    return out


def _cross(
    particle: Particle, curve: Curve, rooms: list[list[float]], now: float, passed: float, layer: float
) -> dict[Where, list[float]]:
    """Return when (h, inf = not in time) one particle's probe and warmest food reach each level."""
    body, state = particle.body, particle.state
    shift = 0.0 if isnan(now) else now - particle.reads
    times, probe, food = [0.0], [particle.reads + shift], [_food(curve, state[1], layer)]
    hours = 0.0
    for (step, _count), stage in zip(STAGES, rooms, strict=True):
        states = roll(body, curve, state, stage, step * 60.0)
        state = states[-1]
        for at, room in zip(states, stage, strict=True):
            hours += step / 60.0
            times.append(hours)
            probe.append(reading(body, curve, at, room, passed + hours) + shift)
            food.append(_food(curve, at[1], layer))
        if probe[-1] >= LEVELS[-1] and food[-1] >= LEVELS[-1]:
            break
    return {Where.PROBE: _reached(times, probe), Where.FOOD: _reached(times, food)}


def _reached(times: list[float], values: list[float]) -> list[float]:
    """Return when (h, inf = not in time) `values` (°C) first reach each level, on a straight line between two."""
    found: list[float] = []
    at, end = 0, len(values)
    for level in LEVELS:
        while at < end and values[at] < level:
            at += 1
        if at == 0:
            found.append(0.0)
        elif at == end:
            found.append(inf)
        else:
            part = (level - values[at - 1]) / (values[at] - values[at - 1])
            found.append(times[at - 1] + part * (times[at] - times[at - 1]))
    return found


def _food(curve: Curve, h: float, layer: float) -> float:
    """Return the temperature (°C) of the warmest layer, which differs by `layer` K from its lump while it is frozen."""
    t = curve.temperature(h)
    return t + layer * min(1.0, max(0.0, t / FADES))


def _span(frame: Frame, where: Where, level: float, hours: list[float], seen: Seen, now: float) -> Span:
    early, likely, late = (_quantile(hours, share) for share in (EARLY, LIKELY, LATE))
    if where is Where.PROBE:
        if level >= FAR_LEVEL:
            early, late = early / FAR_FACTOR, late * FAR_FACTOR
        early, likely, late = _with_exponential(frame, level, (early, likely, late), seen, now)
    if seen.minutes < UNTAUGHT_FOR:
        early *= UNTAUGHT[min(frame.belief.lessons, len(UNTAUGHT) - 1)]
    return Span(where, level, _within(early), _within(likely), _within(late))


def _within(hours: float) -> float | None:
    return round(hours, 2) if hours <= HORIZON else None


def _with_exponential(
    frame: Frame, level: float, span: tuple[float, float, float], seen: Seen, now: float
) -> tuple[float, float, float]:
    """Mix the single exponential of the last hours into a probe's span (h) where the level is near."""
    early, likely, late = span
    if isnan(now) or seen.minutes < NEAR_AFTER or not 0 < level - now < NEAR or likely == inf:
        return span
    alone = exponential(seen, level, seen.rooms[-1] if seen.rooms else frame.facts.room)
    if alone is None:
        return span
    likely = sqrt(max(likely, 0.01) * max(alone, 0.01))
    return min(early, likely), likely, max(late, likely)


def exponential(seen: Seen, level: float, room: float) -> float | None:
    """Return when (h) a single exponential towards the room, fitted to the last 5 h, reaches `level`; None: never."""
    count = NEAR_BACK // seen.step
    rows = [(i * seen.step / 60.0, v) for i, v in enumerate(seen.air[-count:]) if not isnan(v) and v < room - 0.5]
    if len(rows) < 3 or level >= room - 0.5:
        return None
    times, logs = [t for t, _ in rows], [log(room - v) for _, v in rows]
    middle_t, middle = sum(times) / len(times), sum(logs) / len(logs)
    spread = sum((t - middle_t) ** 2 for t in times)
    if spread <= 0:
        return None
    slope = sum((t - middle_t) * (v - middle) for t, v in zip(times, logs, strict=True)) / spread
    at_end = middle + slope * (times[-1] - middle_t)
    if slope >= -1e-4:
        return None
    return max(0.0, (log(room - level) - at_end) / slope)


def _quantile(ordered: Sequence[float], share: float) -> float:
    """Return a quantile of ordered values; infinite ones are never averaged with finite ones."""
    place = share * (len(ordered) - 1)
    low = int(place)
    high = min(low + 1, len(ordered) - 1)
    if ordered[high] == inf:
        return ordered[low] if place - low < 0.5 else inf
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])
