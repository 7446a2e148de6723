"""What was seen of one warm spell: the curve of the warmest probe, and when it may have been warm.

Between two readings of a probe the air is known as well as they are: surely above a level if both are, possibly if one
is. Over a longer silence nothing is known. Every thermometer of the freezer counts, since the one that is silent may be
the warmest.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from gatewayd.food.chart import COLD
from gatewayd.model.excursion import Curve
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.outlook import LEVELS
from gatewayd.model.reading import Quantity, Reading
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.observer import GAP, Observer
from gatewayd.thermal.prior import Belief

# The longest distance of two readings that counts as having seen what lay between: the sensor's usual one with one
# report lost, which is chance with every radio, and 5 min at least, in which the air of a closed freezer cannot warm
# and cool again unnoticed. Our choice.
USUAL = 2.5
LEAST = 5 * MINUTE
UNKNOWN = 5 * MINUTE  # where nothing is known of a sensor: recorders of frozen food log every 5 min or faster
POINTS = 200  # of the curve that is kept for drawing; more cannot be told apart in a terminal

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Seen:
    """Hold what was seen of a spell: its curve, and the spans (wall ms) in which it may have been above 4.4 °C.

    `blind` are the spans in which nothing was heard of one thermometer or another; they are in `warm` too.
    """

    curve: Curve
    warm: tuple[Span, ...] = ()
    blind: tuple[Span, ...] = ()

    def warm_after(self, at: int) -> float:
        """Return for how many hours after `at` (wall ms) it may have been above 4.4 °C."""
        return sum(max(0, end - max(at, begin)) for begin, end in self.warm) / HOUR


def joined(own: Seen, others: Sequence[Seen]) -> Seen:
    """Return what counts for food that was in several warm spells: their warm times add up, a gap in one is one in all.

    What is drawn stays that of `own`.
    """
    every = [own, *others]
    curves = [each.curve for each in every]
    peaks = [curve.peak for curve in curves if curve.peak is not None]
    above, at_most = (
        {
            key: sum(hours.get(key, 0.0) for hours in rows)
            for key in dict.fromkeys(key for hours in rows for key in hours)
        }
        for rows in ([curve.above for curve in curves], [curve.at_most for curve in curves])
    )
    curve = replace(
        own.curve,
        above=above,
        at_most=at_most,
        peak=max(peaks) if len(peaks) == len(every) else None,
        gaps=sum(curve.gaps for curve in curves),
    )
    warm = _merged(span for each in every for span in each.warm)
    return Seen(curve, tuple(warm), tuple(_merged(span for each in every for span in each.blind)))


def limit(every: int | None) -> int:
    """Return the longest distance of two readings (ms) that counts as seeing; `every` is the usual one."""
    return max(LEAST, round(USUAL * (UNKNOWN if every is None else every)))


def look(
    readings: Iterable[Reading],
    span: Span,
    every: Mapping[str, int | None],
    before: Sequence[tuple[int, float]] = (),
    facts: Facts | None = None,
) -> Seen:
    """Return what was seen in `span` (wall ms) of one freezer.

    `readings` are all of its thermometers and lid contacts, from some time before the span to some time after. `every`
    has each of its thermometers with its usual interval (ms, None: not known). A late row without a stamp of its own
    may have been measured anywhere in its span: it makes no time surely warm, but all of that span possibly.
    `before` is the warmest air (wall ms, °C) of the hours before it, and `facts` what the freezer is: from both the
    food's own peak is followed (an estimate; None where nothing was heard for an hour, or without facts).
    """
    probes: dict[str, list[tuple[int, float]]] = {sensor: [] for sensor in every}
    late: list[tuple[int, int, float]] = []
    lids: dict[str, list[tuple[int, float]]] = {}
    for reading in sorted(readings, key=lambda each: each.measured_from):
        if reading.good and reading.quantity is Quantity.LID:
            lids.setdefault(reading.sensor, []).append((reading.measured_from, reading.value))
        elif reading.good and reading.quantity is Quantity.TEMPERATURE and reading.sensor in probes:
            if reading.measured_from == reading.measured_to:
                probes[reading.sensor].append((reading.measured_from, reading.value))
            elif reading.measured_to >= span[0] and reading.measured_from <= span[1]:
                late.append((max(span[0], reading.measured_from), min(span[1], reading.measured_to), reading.value))
    seen = [list(_segments(probes[sensor], span, limit(every[sensor]))) for sensor in probes]
    blind = _merged((a, b) for each in seen for a, b, low, _ in each if low is None)
    if not probes:
        blind = [span] if span[1] > span[0] else []
    above, at_most, warm = {}, {}, _merged([])
    for level in LEVELS:
        sure = _merged((a, b) for each in seen for a, b, low, _ in each if low is not None and low > level)
        possible = _merged(
            [
                *blind,
                *((a, b) for each in seen for a, b, _, high in each if high is not None and high > level),
                *((a, b) for a, b, value in late if value > level),
            ]
        )
        above[f"{level:g}"], at_most[f"{level:g}"] = _hours(sure), _hours(possible)
        warm = possible if level == COLD else warm
    inside = [(t, v) for rows in probes.values() for t, v in rows if span[0] <= t <= span[1]]
    warmest = max(inside + [(a, v) for a, _, v in late], key=lambda point: point[1], default=None)
    curve = Curve(above, at_most, gaps=_hours(blind), points=_thinned(inside, span), openings=tuple(_open(lids, span)))
    if warmest is not None:
        curve = replace(curve, peak=warmest[1], peak_at=warmest[0])
    if facts is not None:
        curve = replace(curve, core=_core(before, inside, span, facts))
    return Seen(curve, tuple(warm), tuple(blind))


def _segments(
    rows: Sequence[tuple[int, float]], span: Span, longest: int
) -> Iterator[tuple[int, int, float | None, float | None]]:
    """Yield (from, to, lowest, highest) of one probe over the whole span; None where nothing is known."""
    stamps = [t for t, _ in rows]
    rows = rows[max(0, bisect_right(stamps, span[0]) - 1) : bisect_left(stamps, span[1]) + 1]
    if not rows:
        if span[1] > span[0]:
            yield span[0], span[1], None, None
        return
    points: list[tuple[int, float | None]] = [*rows]
    if rows[0][0] > span[0]:
        points.insert(0, (span[0], None))
    if rows[-1][0] < span[1]:
        points.append((span[1], None))
    for (t0, v0), (t1, v1) in pairwise(points):
        begin, end = max(t0, span[0]), min(t1, span[1])
        if end <= begin:
            continue
        known = [v for v in (v0, v1) if v is not None]
        # the first and the last piece may hang on one reading: then it must be as near as in the middle of two
        if t1 - t0 > (longest if len(known) > 1 else longest // 2):
            yield begin, end, None, None
        else:
            yield begin, end, min(known), max(known)


def _merged(spans: Iterable[Span]) -> list[Span]:
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        elif end > begin:
            found.append((begin, end))
    return found


def _hours(spans: Iterable[Span]) -> float:
    return sum(end - begin for begin, end in spans) / HOUR


def _thinned(points: Iterable[tuple[int, float]], span: Span) -> tuple[tuple[int, float], ...]:
    """Return the warmest point of each of some equal pieces, so that no peak is lost."""
    step = max(1, -(-(span[1] - span[0]) // POINTS))
    best: dict[int, tuple[int, float]] = {}
    for t, v in points:
        piece = min(POINTS - 1, (t - span[0]) // step)
        if piece not in best or v > best[piece][1]:
            best[piece] = (t, v)
    return tuple(best[piece] for piece in sorted(best))


def _open(lids: Mapping[str, Sequence[tuple[int, float]]], span: Span) -> list[Span]:
    """Return when a lid was open, as its contact has it; one that is open still is so to the end."""
    found: list[Span] = []
    for rows in lids.values():
        opened: int | None = None
        for t, value in rows:
            if value > 0 and opened is None:
                opened = t
            elif value <= 0 and opened is not None:
                found.append((opened, t))
                opened = None
        if opened is not None:
            found.append((opened, span[1]))
    return _merged((max(a, span[0]), min(b, span[1])) for a, b in found)


def _core(
    before: Sequence[tuple[int, float]], inside: Iterable[tuple[int, float]], span: Span, facts: Facts
) -> float | None:
    """Return the peak (°C) of the warmest food in the spell as followed from the air, None where too much is unknown.

    In the spell the air is taken for what the food goes to, which is the warmer reading for want of a better.
    """
    observer = Observer(facts, Belief())
    air: dict[int, float] = {}
    for t, v in inside:
        air[t // MINUTE] = max(v, air.get(t // MINUTE, v))
    first = min(air, default=0)
    known = [span[0] // MINUTE, *sorted(air), span[1] // MINUTE]
    if any(after - minute > GAP for minute, after in pairwise(known)):
        return None
    course = [(t // MINUTE, v, False) for t, v in before if t // MINUTE < first]
    course += [(minute, air[minute], True) for minute in sorted(air)]
    peak, last = None, None
    for minute, value, warming in course:
        waited = 1 if last is None else minute - last
        observer.take(value, waited, warming=warming)
        last = minute
        top = observer.temperatures
        if warming and top is not None:
            peak = top[0] if peak is None else max(peak, top[0])
    return peak
