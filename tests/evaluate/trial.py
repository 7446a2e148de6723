"""Play one simulated freezer's readings to gatewayd and write down what it says, beside what is true.

The code under test is reached through gatewayd.thermal.played alone (and `ageing` for the weeks' trend).
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gatewayd.thermal.ageing import ageing
from gatewayd.thermal.played import Played
from tests.evaluate.batch import Batch

HOURS = (0.5, 2.0, 6.0, 12.0)
HORIZON = 216.0  # h; nothing is forecast beyond
LEVELS = {"probe": (-9.4, 0.0), "food": (-12.0, -9.4, -6.7, 0.0, 4.4)}
STAYS = 20  # min a reading must stay beyond a level to have crossed it: a look under the lid is no crossing


@dataclass(slots=True)
class Said:
    """Hold one forecast of one level, in hours from when it was made; None = not within 9 days."""

    where: str  # probe, food
    level: float
    at: float  # h after the cut, 0 = the standing reserve
    early: float | None
    likely: float | None
    late: float | None
    true: float | None
    left: float  # h till the recording ends
    single: float | None = None  # what a single exponential says


@dataclass(slots=True)
class Outage:
    """Hold all that was said in one outage, and the cycles of the day before and of the day before that."""

    kind: int
    fill: float
    said: list[Said] = field(default_factory=list)
    cycles: list[tuple[float | None, float | None, float, float]] = field(
        default_factory=list
    )  # said, said, true, true


def feed(played: Played, one: Batch, begin: int, end: int) -> None:
    """Hand over the readings of minutes `begin` to `end`."""
    air, room = one.reading[begin:end, 0].tolist(), one.room[begin:end, 0].tolist()
    for i, value in enumerate(air):
        played.take((begin + i) * 60.0, round(value, 1), None if room[i] != room[i] else round(room[i], 1))


def crossed(values: np.ndarray, level: float, begin: int, stays: int = 1) -> float | None:
    """Return hours from minute `begin` till `values` reach `level` and stay, None if never."""
    beyond = values[begin:] >= level
    if stays > 1:
        whole = np.convolve(beyond, np.ones(stays), "full")[stays - 1 :] >= stays - 0.5
        beyond = beyond & whole[: len(beyond)]
    at = int(beyond.argmax())
    return at / 60.0 if beyond[at] else None


def rows_of(answer: dict[str, Any], name: str, one: Batch, at: float, cut: int) -> list[Said]:
    """Return the rows of one answer beside the truth, left out where the level is passed already."""
    now = cut + round(at * 60)
    out = []
    for row in answer[name]:
        where, level = str(row["where"]), float(row["level_c"])
        if level not in LEVELS[where]:
            continue
        values, stays = (one.reading[:, 0], STAYS) if where == "probe" else (one.top[:, 0], 1)
        true = crossed(values, level, now, stays)
        if true == 0.0:
            continue
        single = alone(one, cut, now, level) if where == "probe" and at else None
        left = (len(values) - now) / 60.0
        said = (row["early_h"], row["likely_h"], row["late_h"])
        out.append(Said(where, level, at, *said, true=true, left=left, single=single))
    return out


def alone(one: Batch, cut: int, now: int, level: float) -> float:
    """Return hours to a level by one exponential towards the room, fitted to the last 5 h since the last minimum."""
    begin = max(cut, now - 300)
    reading = one.reading[begin:now, 0].astype(float)
    sensed = one.room[max(0, now - 1440) : now, 0]
    room = float(sensed.mean()) if np.isfinite(sensed).all() else float(one.told_room[0])
    means = reading[: len(reading) // 5 * 5].reshape(-1, 5).mean(axis=1)
    lowest = int(means.argmin()) if begin == cut else 0
    lowest = min(lowest, len(means) - 3)
    means = means[lowest:]
    if room - level <= 0.1:
        return HORIZON
    slope, start = np.polyfit(np.arange(len(means)) * 5.0 / 60.0, np.log(np.maximum(room - means, 0.1)), 1)
    if slope >= -1e-5:
        return HORIZON
    reached = (np.log(room - level) - start) / slope
    return float(np.clip(reached - (len(means) - 0.5) * 5.0 / 60.0, 0.0, HORIZON))


def true_cycles(one: Batch, begin: int, end: int) -> tuple[float, float]:
    """Return the compressor's true period (s) and duty over some minutes."""
    running = one.running[begin:end, 0]
    on = running > 0
    starts = np.flatnonzero(on[1:] & ~on[:-1])
    period = float((starts[-1] - starts[0]) * 60.0 / (len(starts) - 1)) if len(starts) > 2 else float("nan")
    return period, float(running.mean() / 6.0)


def outage(one: Batch) -> Outage:
    """Play a freezer through its running and the first 12 h of its outage."""
    cut = int(one.cut[0])
    out = Outage(int(one.kind[0]), float(one.fill[0]))
    played = Played(one.facts(0))
    feed(played, one, 0, cut - 1440)
    out.cycles.append(_cycles(played.answer(), true_cycles(one, cut - 2880, cut - 1440)))
    feed(played, one, cut - 1440, cut)
    answer = played.answer()
    out.cycles.append(_cycles(answer, true_cycles(one, cut - 1440, cut)))
    out.said += rows_of(answer, "reserve", one, 0.0, cut)
    done = cut
    for at in HOURS:
        feed(played, one, done, cut + round(at * 60))
        done = cut + round(at * 60)
        out.said += rows_of(played.answer(), "forecast", one, at, cut)
    return out


def _cycles(answer: dict[str, Any], true: tuple[float, float]) -> tuple[float | None, float | None, float, float]:
    found = answer["cycles"] or {}
    return found.get("period_s"), found.get("duty"), *true


def lesson(one: Batch) -> tuple[list[Said], list[Said]]:
    """Return the reserve before an outage without and with a test switch-off played before."""
    cut = int(one.cut[0])
    taught, fresh = Played(one.facts(0)), Played(one.facts(0))
    feed(taught, one, 0, cut)
    feed(fresh, one, cut - 50 * 60, cut)
    return tuple(rows_of(played.answer(), "reserve", one, 0.0, cut) for played in (fresh, taught))  # type: ignore[return-value]


@dataclass(slots=True)
class Watch:
    """Hold the causes named, every 5 min."""

    label: list[str]
    held: list[bool]
    held_20: list[bool]


def watched(one: Batch, begin: int, end: int) -> Watch:
    """Play a freezer from the start and look at the cause every 5 min from minute `begin` to `end`."""
    played = Played(one.facts(0))
    feed(played, one, 0, begin)
    out = Watch([], [], [])
    for at in range(begin, end, 5):
        feed(played, one, at, at + 5)
        cause = played.look()
        out.label.append(cause.label.value)
        out.held.append(cause.held)
        out.held_20.append(cause.held_20)
    return out


def caused(one: Batch) -> Watch | None:
    """Watch a freezer from the moment something happens for 6 h; None where nothing did."""
    cut = int(one.cut[0])
    return watched(one, cut, cut + 360) if cut >= 0 else None


def quieted(one: Batch) -> Watch:
    """Watch a freezer over the five days in which nothing but openings happens."""
    return watched(one, len(one.reading) - 5 * 1440, len(one.reading))


def drifted(one: Batch) -> Watch:
    """Watch a freezer from when its thermostat is turned."""
    return watched(one, int(one.cut[0]), len(one.reading))


@dataclass(slots=True)
class Aged:
    """Hold the change in six weeks (0.12 = +12 %) that was found, None where too little is known."""

    run: float | None
    plain: float | None  # the same without the room
    period: float | None
    flagged: bool


def aged(one: Batch) -> Aged:
    """Play seven weeks and ask how the freezer aged."""
    played = Played(one.facts(0))
    feed(played, one, 0, len(one.reading))
    days = played.picture.kept.days
    found = ageing(days)
    still = ageing([type(day)(day.day, day.duty, day.period, -20.0, 20.0, day.starts) for day in days])
    return Aged(
        found.run if found else None,
        still.run if still else None,
        found.period if found else None,
        bool(found and found.words),
    )


@dataclass(slots=True)
class Eaten:
    """Hold how far off the food's temperature was: RMSE (K) and degree-hours over the truth's (1 = equal)."""

    rmse: dict[str, float] = field(default_factory=dict)
    sums: dict[str, float] = field(default_factory=dict)


def eaten(one: Batch) -> Eaten:
    """Play the last 36 h of running and the first 48 h of an outage, with the food looked at each minute."""
    cut = int(one.cut[0])
    played = Played(one.facts(0))
    begin, end = cut - 36 * 60, cut + 48 * 60
    feed(played, one, 0, begin)
    found = np.full((end - begin, 2), np.nan)
    for minute in range(begin, end):
        feed(played, one, minute, minute + 1)
        if played.food is not None:
            found[minute - begin] = played.food
    truth = np.stack((one.top[begin:end, 0], one.bulk[begin:end, 0]), axis=1)
    air = one.reading[begin:end, :1].astype(float)
    out = Eaten()
    normal = slice(0, cut - begin)
    after = slice(cut - begin, end - begin)
    for part, name in ((normal, "normal"), (after, "outage")):
        for column, what in ((0, "top"), (1, "bulk")):
            out.rmse[f"{name} {what}"] = _rmse(found[part, column] - truth[part, column])
            out.rmse[f"{name} {what}, air"] = _rmse(air[part, 0] - truth[part, column])
    for level in (-12.0, -9.4):
        real = np.maximum(truth[after, 0] - level, 0.0).sum()
        if real > 60.0:  # less than one degree-hour says nothing
            out.sums[f"{level:g}"] = float(np.maximum(found[after, 0] - level, 0.0).sum() / real)
            out.sums[f"{level:g}, air"] = float(np.maximum(air[after, 0] - level, 0.0).sum() / real)
    return out


def _rmse(off: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(off**2))) if np.isfinite(off).any() else float("nan")
