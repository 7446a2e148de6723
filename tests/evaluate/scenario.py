"""Seeded sets of freezers to which something happens: outages, lids, loads, defrosts, drift, wear."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.evaluate import batch
from tests.evaluate.batch import Batch
from tests.evaluate.foods import Array
from tests.evaluate.freezers import AUTO, Fleet, draw
from tests.evaluate.plant import A_MINUTE, BARE, LOADED, OFF, OPEN, OUT, Course, Plant

HOUR, DAY = 60, 1440  # min
RUNNING = 60 * HOUR  # before an outage
OUTAGE = 9 * DAY
CAUSES = ("none", "opened", "ajar", "load", "power", "out", "defrost", "auto-defrost")
WEAR = ("none", "frost", "gasket")
DRIFTS = ("step", "ramp")
TEST_AT, TEST_LONG, LEARNING_CUT = 30 * HOUR, 3 * HOUR, 96 * HOUR


def outages(rng: np.random.Generator, count: int) -> Batch:
    """Let 240 or so freezers run, then cut their power for 9 days; looks under the lid in 40 %."""
    return _outage(rng, draw(rng, count))


def stress(rng: np.random.Generator, count: int) -> Batch:
    """Do the same with walls 1.5 times as bad as the table and 40 % too much food told."""
    fleet = draw(rng, count)
    fleet = replace(fleet, ua=1.5 * fleet.ua, gasket=1.5 * fleet.gasket, cool=1.5 * fleet.cool)
    return _outage(rng, fleet, told=np.full(count, 1.4))


def learning(rng: np.random.Generator, count: int) -> Batch:
    """Switch each off for 3 h as a test, let it run for some days, then cut the power."""
    return _outage(rng, draw(rng, count), cut=LEARNING_CUT, test=True)


def learning_stress(rng: np.random.Generator, count: int) -> Batch:
    """Do the same with walls 1.5 times as bad and 40 % too much food told."""
    fleet = draw(rng, count)
    fleet = replace(fleet, ua=1.5 * fleet.ua, gasket=1.5 * fleet.gasket, cool=1.5 * fleet.cool)
    return _outage(rng, fleet, told=np.full(count, 1.4), cut=LEARNING_CUT, test=True)


def _outage(
    rng: np.random.Generator, fleet: Fleet, told: Array | None = None, cut: int = RUNNING, test: bool = False
) -> Batch:
    minutes = cut + OUTAGE
    state = _quiet(minutes, len(fleet))
    _openings(rng, state, 3.0, 0, cut - HOUR)
    if test:
        state[_steps(TEST_AT - HOUR, TEST_AT + TEST_LONG)] = 0  # whoever tests leaves the lid alone
        state[_steps(TEST_AT, TEST_AT + TEST_LONG)] |= OFF
    for n in range(len(fleet)):
        if rng.random() < 0.4:
            for minute in rng.integers(cut + 5, cut + 3 * DAY, rng.integers(1, 7)):
                begin = minute * A_MINUTE
                state[begin : begin + rng.integers(1, 5), n] |= OPEN
    state[cut * A_MINUTE :] |= OFF
    cuts = np.full(len(fleet), cut)
    return _play(rng, fleet, Course(state, _room(rng, fleet, minutes)), cuts, np.zeros(len(fleet)), told=told)


def causes(rng: np.random.Generator, count: int) -> Batch:
    """Let one of eight things happen to each freezer after some days, and go on for 6 h and a bit."""
    label = np.arange(count) % len(CAUSES)
    auto = label == CAUSES.index("auto-defrost")
    fleet = _joined(draw(rng, count - int(auto.sum())), draw(rng, int(auto.sum()), AUTO), auto)
    minutes = RUNNING + 36 * HOUR
    room = _room(rng, fleet, minutes)
    state = _quiet(minutes, count)
    cut = rng.integers(RUNNING, RUNNING + 12 * HOUR, count)
    size = np.zeros(count)
    leak = np.zeros((minutes, count), dtype=np.float32)
    for n in range(count):
        _openings(rng, state[:, n : n + 1], 3.0, 0, cut[n] - 3 * HOUR)
        size[n] = _happen(rng, CAUSES[label[n]], state[:, n], leak[:, n], cut[n], fleet, n)
    out = _play(rng, fleet, Course(state, room, leak), cut, label, size)
    late = RUNNING - 1
    for n in np.flatnonzero(auto):  # it comes by its own clock
        begun = np.flatnonzero(out.defrost[late + 1 :, n] & ~out.defrost[late:-1, n])
        out.cut[n] = late + 1 + begun[0] if len(begun) and late + begun[0] < minutes - 7 * HOUR else -1
    for n in np.flatnonzero(label == CAUSES.index("ajar")):  # its size is what it does to the air
        before = out.air[cut[n] - 6 * HOUR : cut[n], n].mean()
        out.size[n] = out.air[cut[n] + 2 * HOUR : cut[n] + 4 * HOUR, n].mean() - before
    return out


def _happen(
    rng: np.random.Generator, name: str, state: np.ndarray, leak: np.ndarray, minute: int, fleet: Fleet, n: int
) -> float:
    """Write one thing into a freezer's course; return how big it is."""
    begin = minute * A_MINUTE
    if name == "opened":
        steps = int(rng.integers(2, 13))  # 20 s to 2 min
        state[begin : begin + steps] |= OPEN
        return 10.0 * steps
    if name == "ajar":
        state[begin : begin + int(rng.integers(2, 7))] |= OPEN
        flow = float(np.exp(rng.uniform(np.log(0.1), np.log(4.0))))  # L/s through the gap, our choice
        leak[minute:] = 1.2 * flow
        return flow
    if name == "load":
        steps = int(rng.integers(3, 13))
        state[begin : begin + steps] |= OPEN
        state[begin + steps // 2 :] |= LOADED
        return float(fleet.load_kg[n])
    if name == "power":
        state[begin:] |= OFF
    if name == "out":
        state[begin : begin + 3] |= OPEN
        state[begin:] |= OUT
    if name == "defrost":
        state[begin:] |= OFF | OPEN | BARE
    return 0.0


def quiet(rng: np.random.Generator, count: int) -> Batch:
    """Let `count` freezer-days pass, five per freezer after some days to learn, with about six openings a day."""
    fleet = draw(rng, max(1, count // 5))
    minutes = RUNNING + 5 * DAY
    state = _quiet(minutes, len(fleet))
    _openings(rng, state, 6.0, 0, minutes - HOUR)
    return _play(rng, fleet, Course(state, _room(rng, fleet, minutes)), np.full(len(fleet), -1), np.zeros(len(fleet)))


def drift(rng: np.random.Generator, count: int) -> Batch:
    """Turn half of the thermostats at once by 3.4 to 7 K, let the other half creep by 0.7 to 2.5 K a day."""
    fleet = draw(rng, count)
    cut, minutes = 4 * DAY, 8 * DAY
    label = np.arange(count) % len(DRIFTS)
    ramp = label == DRIFTS.index("ramp")
    size = np.where(ramp, rng.uniform(0.7, 2.5, count), rng.uniform(3.4, 7.0, count))
    after = np.maximum(0.0, np.arange(minutes) - cut)[:, None]
    shift = np.where(ramp, size * after / DAY, size * (after > 0)).astype(np.float32)
    state = _quiet(minutes, count)
    _openings(rng, state, 3.0, 0, minutes)
    course = Course(state, _room(rng, fleet, minutes), shift=shift)
    return _play(rng, fleet, course, np.full(count, cut), label, size)


def trend(rng: np.random.Generator, count: int) -> Batch:
    """Let seven weeks pass in which nothing ages, frost grows, or the gasket goes; a quarter nothing."""
    fleet = draw(rng, count)
    minutes = 49 * DAY
    label = np.array((0, 1, 2, 1, 0, 2, 1, 1, 0, 2, 1, 2, 0, 1, 2, 1))[np.arange(count) % 16]
    frost = np.where(label == 1, rng.uniform(2.4, 8.6, count), 0.0)  # kg
    gasket = np.where(label == 2, rng.uniform(0.2, 0.6, count), 0.0)  # of the walls' conductance
    leak = (gasket * fleet.ua * (np.arange(minutes) / minutes)[:, None]).astype(np.float32)
    state = _quiet(minutes, count)
    _openings(rng, state, 3.0, 0, minutes)
    room = _room(rng, fleet, minutes, season=rng.uniform(-4.0, 4.0, count))
    course = Course(state, room, leak, damp=frost / (minutes * 60.0))
    return _play(rng, fleet, course, np.full(count, -1), label, frost + gasket, sensors=1.0)


SETS: dict[str, tuple[Callable[[np.random.Generator, int], Batch], int]] = {
    "outages": (outages, 240),
    "stress": (stress, 80),
    "learning": (learning, 80),
    "learning_stress": (learning_stress, 80),
    "causes": (causes, 480),
    "quiet": (quiet, 1000),
    "drift": (drift, 60),
    "trend": (trend, 48),
}


def made(name: str, seed: int, count: int | None = None) -> Batch:
    """Return a set, from where it was kept or simulated now; `count` freezers (or freezer-days), None = the usual."""
    make, usual = SETS[name]
    count = count or usual
    path = batch.place(name, seed, count)
    if path.exists():
        return batch.fetch(path)
    rng = np.random.default_rng([seed, sorted(SETS).index(name)])
    out = make(rng, count)
    batch.keep(out, path)
    return out


def _steps(begin: int, end: int) -> slice:
    return slice(begin * A_MINUTE, end * A_MINUTE)


def _quiet(minutes: int, count: int) -> np.ndarray:
    return np.zeros((minutes * A_MINUTE, count), dtype=np.uint8)


def _openings(rng: np.random.Generator, state: np.ndarray, a_day: float, begin: int, end: int) -> None:
    """Open lids by chance, from minute `begin` to `end`, for 10 to 60 s."""
    for n in range(state.shape[1]):
        for at in rng.integers(begin * A_MINUTE, end * A_MINUTE, rng.poisson(a_day * (end - begin) / DAY)):
            state[at : at + rng.integers(1, 7), n] |= OPEN


def _room(rng: np.random.Generator, fleet: Fleet, minutes: int, season: Array | float = 0.0) -> np.ndarray:
    """Return rooms by minute: a day's swing, weather of about two days, a slow season (K from begin to end)."""
    hours = minutes // HOUR + 2
    weather = np.zeros((hours, len(fleet)))
    weather[0] = rng.standard_normal(len(fleet))
    keep = np.exp(-1.0 / 48.0)
    for hour in range(1, hours):
        weather[hour] = keep * weather[hour - 1] + np.sqrt(1 - keep**2) * rng.standard_normal(len(fleet))
    at = np.arange(minutes) / HOUR
    low = at.astype(int)
    part = (at - low)[:, None]
    drifted = weather[low] * (1 - part) + weather[low + 1] * part
    daily = fleet.room_swing * np.sin(2 * np.pi * (at[:, None] - fleet.room_phase) / 24.0)
    slow = season * (np.arange(minutes) / minutes - 0.5)[:, None]
    return np.clip(fleet.room + daily + drifted + slow, 3.0, 38.0).astype(np.float32)


def _joined(rest: Fleet, autos: Fleet, where: np.ndarray) -> Fleet:
    """Return one fleet in which `where` says which entries come from `autos`."""
    order = np.empty(len(where), dtype=int)
    order[~where] = np.arange(len(rest))
    order[where] = len(rest) + np.arange(len(autos))
    names = list(Fleet.__dataclass_fields__)
    return Fleet(**{n: np.concatenate((getattr(rest, n), getattr(autos, n)), axis=-1)[..., order] for n in names})


def _play(
    rng: np.random.Generator,
    fleet: Fleet,
    course: Course,
    cut: np.ndarray,
    label: np.ndarray,
    size: np.ndarray | None = None,
    told: Array | None = None,
    sensors: float = 0.5,
) -> Batch:
    """Run a fleet through a course, and draw what its owners tell of it: volume ±3 %, kg ±20 %, room ±2 K."""
    count = len(fleet)
    plant = Plant(fleet)
    plant.settle(course.room)
    trace = plant.run(course)
    heavier = rng.uniform(0.8, 1.2, count) if told is None else told
    sensed = np.round(course.room + np.clip(rng.normal(0, 0.3, count), -0.6, 0.6), 1).astype(np.float32)
    sensed[:, rng.random(count) >= sensors] = np.nan
    return Batch(
        reading=trace.reading, room=sensed, air=trace.air, top=trace.top, bulk=trace.bulk, running=trace.running,
        defrost=trace.defrost, kind=fleet.kind, volume=fleet.volume * rng.uniform(0.97, 1.03, count),
        kg=fleet.by_group() * heavier, told_room=fleet.room + rng.uniform(-2.0, 2.0, count), fill=fleet.fill,
        cut=cut, label=np.asarray(label), size=np.zeros(count) if size is None else size,
    )  # fmt: skip
