"""Turning points of a temperature: where a compressor started and stopped, as far as the air shows it."""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

SWING = 0.3  # K: three steps of a sensor that reads to 0.1 K. Method: measured on simulated freezers
SHARE = 0.3  # of the span from the 10 % to the 90 % quantile. Method, as above
WINDOW = 360  # min: the span is taken window by window, or an outage within the course would hide all ripple before it
BREAK = 90  # min: over a longer gap a turning point may have been missed, so nothing is joined. Our choice


@dataclass(frozen=True, slots=True)
class Turn:
    """Hold one turning point: its index in the values, the value (°C), and whether it is a low."""

    index: int
    value: float
    low: bool


def quantile(ordered: Sequence[float], share: float) -> float:
    """Return the quantile `share` (0 to 1) of rising values, between neighbours in a straight line. nan of nothing."""
    if not ordered:
        return nan
    place = share * (len(ordered) - 1)
    left = int(place)
    right = min(left + 1, len(ordered) - 1)
    return ordered[left] + (ordered[right] - ordered[left]) * (place - left)


def ripple(values: Sequence[float], step: float) -> float:
    """Return the usual span (K) from the 10 % to the 90 % quantile within 6 h; values every `step` min, nan = gap.

    The lower quartile of the windows counts, so that openings, an automatic defrost or an outage do not widen it.
    """
    width = max(1, round(WINDOW / step))
    spans = []
    for left in range(0, max(1, len(values) - width // 2), width):
        part = sorted(v for v in values[left : left + width] if not isnan(v))
        if len(part) >= 3:
            spans.append(quantile(part, 0.9) - quantile(part, 0.1))
    return quantile(sorted(spans), 0.25) if spans else 0.0


def turns(values: Sequence[float], step: float) -> list[Turn]:
    """Return the turning points of `values` (°C, one every `step` min, nan = gap), oldest first.

    A turn counts when the course came back from it by 0.3 K or by 30 % of the usual span, whichever is more. The
    newest extreme, which nothing confirmed yet, is left out. Of equal values a low takes the last and a high the
    first: there the warming begins and ends.
    """
    return zigzag(values, max(SWING, SHARE * ripple(values, step)), BREAK / step)


def zigzag(values: Sequence[float], swing: float, most: float) -> list[Turn]:
    """Return the turning points with a way of at least `swing` (K) between them; a gap over `most` values parts them.

    The very first value is no turning point: nobody knows what came before it.
    """
    found: list[Turn] = []
    begin = low_at = high_at = -1
    seen = 0
    low = high = nan
    rising: bool | None = None
    for i, value in enumerate(values):
        if isnan(value):
            continue
        if begin < 0 or i - seen > most:
            begin, rising = i, None
            low_at, low, high_at, high = i, value, i, value
        seen = i
        if rising is not True and value <= low:
            low_at, low = i, value
        if rising is not False and value > high:
            high_at, high = i, value
        if rising is not True and value >= low + swing and low_at < i:
            if low_at > begin:
                found.append(Turn(low_at, low, low=True))
            rising, high_at, high = True, i, value
        elif rising is not False and value <= high - swing and high_at < i:
            if high_at > begin:
                found.append(Turn(high_at, high, low=False))
            rising, low_at, low = False, i, value
    return found


def bridged(values: "array[float]", begin: int, end: int, most: int = 35) -> list[float]:
    """Return the slots `begin` to `end` of `values`, gaps of up to `most` slots bridged by a straight line.

    Longer gaps, and slots outside, stay nan. 35 slots: a sensor that is heard every half hour still gives a course.
    """
    first, last = max(0, begin), max(0, min(end, len(values)))
    out = [nan] * (first - begin) + list(values[first:last])
    before = -1
    for i, value in enumerate(out):
        if isnan(value):
            continue
        gap = i - before
        if before >= 0 and 1 < gap <= most:
            old = out[before]
            slope = (value - old) / gap
            for k in range(1, gap):
                out[before + k] = old + slope * k
        before = i
    return out + [nan] * (end - begin - len(out))
