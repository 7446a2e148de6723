"""How a freezer usually runs: what a warming is measured against."""

from dataclasses import dataclass
from itertools import pairwise
from math import isnan
from statistics import median

from gatewayd.model.house import Kind
from gatewayd.thermal.course import Course
from gatewayd.thermal.turning import Turn, bridged, quantile, turns

DAYS = 3  # method: a profile of two to three days
LEAST = 720  # min heard: half a day, the least that holds openings and rest alike. Our choice
STEP = 5  # min: method
RISE = 0.985  # quantile of the rises over 5 min: method, measured on simulated freezers
OFF = 0.95  # quantile of the off times: method
TOPS = 0.75  # quantile of the restart levels: openings make some tops higher. Our choice
CALM = 0.2  # K above the usual restart level that ordinary running reaches. Our choice: two steps of a sensor
LONG = 3.0  # x the usual off time: an outage, not a pause. Our choice
FAR = 3.0  # K, or 1.5 x the span, above the usual top: an excursion, not ordinary running. Our choice
DEFROST_RISE, DEFROST_SHARE = 1.0, 0.3  # K, or of the span, above the usual tops: a defrost shows as much. Our choice
DEFROST_DAYS = 9  # looked at for them: they come once or twice a day. Our choice
DEFROSTS = (300, 2880)  # min between two automatic defrosts: 6 to 24 h of running are common. From memory
SPIKES = 30  # the newest looked at, so that a house of many openings costs no more. Our choice
LIKE = 0.35  # of the height: the heater lifts the air alike each time, openings do not. Our choice
AGREE = 3  # intervals. Our choice


@dataclass(slots=True)
class Habit:
    """Hold the ordinary running of one freezer.

    `rise` (K) is the 98.5 % quantile of rises over 5 min, `top` and `low` (°C) the usual restart and stop levels, `off`
    (min) the 95 % quantile of the off times (None: no ripple to be seen), `span` (K) from 10 to 90 %, `mean` (°C),
    `defrost` (min) the learnt time between automatic defrosts and `defrosted` the slot of the last one seen.
    """

    rise: float
    top: float
    low: float
    off: float | None
    span: float
    mean: float
    defrost: float | None = None
    defrosted: int | None = None


def learn(course: Course, end: int, kind: Kind) -> Habit | None:
    """Return the habit shown in the three days before slot `end`, None where less than half a day was heard.

    Stretches of no ordinary running (an outage, an excursion) are left out.
    """
    begin = max(course.first, end - DAYS * 1440)
    values = course.means(begin, end, STEP)
    air = bridged(course.air, begin - course.first, end - course.first)
    if sum(1 for v in air if not isnan(v)) < LEAST:
        return None
    found = turns(values, STEP)
    ordered = sorted(v for v in values if not isnan(v))
    middle = quantile(ordered, 0.5)
    lowest = quantile(ordered, 0.05)
    reach = middle + max(FAR, 1.5 * 2 * (middle - lowest))  # the lower half is never widened by a warming
    kept = [v for v in ordered if v <= reach]
    span = quantile(kept, 0.9) - quantile(kept, 0.1)
    tops = sorted(t.value for t in found if not t.low and t.value <= reach)
    lows = sorted(t.value for t in found if t.low and t.value <= reach)
    offs = _offs(found, reach)
    rippled = len(tops) >= 3 and len(lows) >= 3 and len(offs) >= 3
    top = quantile(tops, TOPS) if rippled else quantile(kept, 0.97)
    low = quantile(lows, 0.5) if rippled else quantile(kept, 0.03)
    defrost = defrosted = None
    if kind is Kind.UPRIGHT_AUTO_DEFROST:
        defrost, defrosted = _defrosts(course, end, top, span)
    return Habit(
        rise=_rise(air, top + CALM),
        top=top,
        low=low,
        off=quantile(offs, OFF) * STEP if rippled else None,
        span=span,
        mean=sum(kept) / len(kept),
        defrost=defrost,
        defrosted=defrosted,
    )


def _rise(air: list[float], level: float) -> float:
    """Return the 98.5 % quantile of the rises over 5 min that stayed below `level`: openings and defrosts did not."""
    rises = sorted(b - a for a, b in zip(air, air[5:], strict=False) if b <= level and b - a > -99.0)  # drops nan
    return max(0.0, quantile(rises, RISE)) if rises else 0.0


def _offs(found: list[Turn], reach: float) -> list[float]:
    """Return the off times (values from low to high), rising, without those much longer than usual."""
    offs = sorted(float(b.index - a.index) for a, b in pairwise(found) if a.low and not b.low and b.value <= reach)
    if not offs:
        return []
    usual = median(offs)
    return [off for off in offs if off <= LONG * usual]


def _defrosts(course: Course, end: int, top: float, span: float) -> tuple[float | None, int | None]:
    """Return the usual time (min) between automatic defrosts and the slot of the last one, None where none is clear.

    Openings make spikes too. So any two spikes of like height are tried as one interval, and the one that explains
    most wins; three must agree.
    """
    begin = max(course.first, end - DEFROST_DAYS * 1440)
    least = max(DEFROST_RISE, DEFROST_SHARE * span)
    found = turns(course.means(begin, end, STEP), STEP)
    spikes = [(begin + t.index * STEP, t.value - top) for t in found if not t.low and t.value >= top + least]
    pairs = [
        (float(later - slot), later)
        for i, (slot, height) in enumerate(spikes[-SPIKES:])
        for later, other in spikes[-SPIKES:][i + 1 :]
        if DEFROSTS[0] <= later - slot <= DEFROSTS[1] and abs(other - height) <= LIKE * max(other, height)
    ]
    pairs.sort()
    best: tuple[int, float | None, int | None] = (AGREE - 1, None, None)
    for gap, _ in pairs:
        hits = [pair for pair in pairs if 0.92 * gap <= pair[0] <= 1.08 * gap]
        if len(hits) > best[0]:
            best = (len(hits), sum(hit[0] for hit in hits) / len(hits), max(hit[1] for hit in hits))
    return best[1], best[2]
