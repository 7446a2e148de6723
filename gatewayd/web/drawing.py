"""Draw a curve as a picture, for a browser without script: a band from low to high, the mean, limits and words.

Presentation attributes alone: the pages' policy allows no style. It brings its own ground, for a picture does not know
whether the page around it is dark.
"""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from xml.sax.saxutils import escape

from gatewayd.message.words import clock
from gatewayd.model.moment import HOUR
from gatewayd.model.units import TemperatureUnit
from gatewayd.store.chart import Bucket
from gatewayd.web.curve import Curve, limits

WIDE, HIGH = 400, 280  # of the drawing's own units; it is scaled to the page, and is to be read on a phone of 320 px
LEFT, RIGHT, TOP, BOTTOM = 50, 10, 18, 34
SIZE = 15  # of the letters, in the same units: 12 px where the page is narrowest
TIP = 7  # of the arrow at a bar that goes on
PAPER, INK, SOFT, LINE = "#ffffff", "#1c1f21", "#4c5457", "#c9ccc8"
BAND, MEAN, LIMIT, SPELL, LID = "#cfe0e1", "#1d5c63", "#9c2318", "#fbe9e6", "#7a4b00"
LINES = 5  # of the temperature's axis, about
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


class _Paper:
    """Turn times and temperatures into places."""

    def __init__(self, curve: Curve, units: TemperatureUnit) -> None:
        self._units = units
        self._since, self._span = curve.window.since, max(1, curve.ends - curve.window.since)
        values = [v for b in curve.buckets for v in (b.low, b.high)] + [value for *_, value in curve.late]
        values += [span.level for span in curve.ahead] + list(curve.limits)
        shown = [self.shown(value) for value in values]
        self.low, self.high = min(shown) - 1, max(shown) + 1

    def shown(self, celsius: float) -> float:
        return celsius if self._units is TemperatureUnit.C else celsius * 9 / 5 + 32

    def x(self, wall: int) -> float:
        return round(LEFT + (wall - self._since) / self._span * (WIDE - LEFT - RIGHT), 1)

    def y(self, celsius: float) -> float:
        return self.level(self.shown(celsius))

    def level(self, shown: float) -> float:
        return round(TOP + (self.high - shown) / (self.high - self.low) * (HIGH - TOP - BOTTOM), 1)


def draw(curve: Curve, units: TemperatureUnit, zone: tzinfo, now: int, words: str) -> str:
    """Return a curve as SVG; `words` say what it shows, to whoever cannot see it."""
    paper = _Paper(curve, units)
    begin = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" role="img" font-family="sans-serif" '
        f'font-size="{SIZE}"><title>{escape(words)}</title><rect width="{WIDE}" height="{HIGH}" fill="{PAPER}"/>'
    )
    parts = [
        begin,
        *_spells(curve, paper),
        *_axes(curve, paper, zone, now),
        *(_part(part, paper) for part in curve.parts),
        *_marks(curve, paper),
        *_limits(curve, paper, units),
    ]
    if not curve.buckets:
        parts.append(_text(WIDE / 2, HIGH / 2, "No readings in this time", "middle"))
    return "".join(parts) + "</svg>"


def _part(part: Sequence[Bucket], paper: _Paper) -> str:
    """Draw one piece between two gaps; a single point is drawn as one."""
    if len(part) == 1:
        one = part[0]
        x = paper.x(one.start)
        return f'<path d="M{x} {paper.y(one.low)}V{paper.y(one.high) - 1}" stroke="{MEAN}" stroke-width="2"/>'
    over = " ".join(f"{paper.x(b.start)},{paper.y(b.high)}" for b in part)
    under = " ".join(f"{paper.x(b.start)},{paper.y(b.low)}" for b in reversed(part))
    mean = " ".join(f"{paper.x(b.start)},{paper.y(b.mean)}" for b in part)
    return (
        f'<polygon points="{over} {under}" fill="{BAND}"/>'
        f'<polyline points="{mean}" fill="none" stroke="{MEAN}" stroke-width="1.5"/>'
    )


def _spells(curve: Curve, paper: _Paper) -> Iterator[str]:
    for spell in curve.spells:
        left = paper.x(spell.began)
        width = max(1.0, round(paper.x(spell.ended) - left, 1))
        yield f'<rect x="{left}" y="{TOP}" width="{width}" height="{HIGH - TOP - BOTTOM}" fill="{SPELL}"/>'


def _marks(curve: Curve, paper: _Paper) -> Iterator[str]:
    """Draw what is no curve: lid openings at the foot, late readings as rings, a forecast as bars of its range."""
    foot = HIGH - BOTTOM
    for opened, shut in curve.lids:
        width = max(2.0, round(paper.x(shut) - paper.x(opened), 1))
        yield f'<rect x="{paper.x(opened)}" y="{foot - 7}" width="{width}" height="7" fill="{LID}"/>'
    for first, last, value in curve.late:
        x = paper.x(max(curve.window.since, min(curve.window.until, (first + last) // 2)))
        yield f'<circle cx="{x}" cy="{paper.y(value)}" r="3" fill="{PAPER}" stroke="{INK}"/>'
    for span in curve.ahead:
        if span.early is not None:
            begin = paper.x(min(curve.ends, curve.made + round(span.early * HOUR)))
            end = curve.ends if span.late is None else min(curve.ends, curve.made + round(span.late * HOUR))
            y, right, on = paper.y(span.level), paper.x(end), curve.goes_on(span)
            yield f'<path d="M{begin} {y}H{right - TIP * on}" stroke="{LID}" stroke-width="5" stroke-opacity="0.6"/>'
            if on:
                yield f'<path d="M{right} {y}l{-TIP} {-TIP}v{2 * TIP}z" fill="{LID}" fill-opacity="0.6"/>'
            if span.likely is not None and curve.made + span.likely * HOUR <= curve.ends:
                likely = paper.x(curve.made + round(span.likely * HOUR))
                yield f'<path d="M{likely} {y - 6}v12" stroke="{INK}" stroke-width="2"/>'


def _limits(curve: Curve, paper: _Paper, units: TemperatureUnit) -> Iterator[str]:
    for limit, name in zip(curve.limits, limits(curve, units), strict=True):
        y = paper.y(limit)
        yield f'<path d="M{LEFT} {y}H{WIDE - RIGHT}" stroke="{LIMIT}" stroke-dasharray="6 4"/>'
        yield _text(LEFT + 4, y - 4, name, "start", LIMIT)  # a forecast's bars lie on the right


def _axes(curve: Curve, paper: _Paper, zone: tzinfo, now: int) -> Iterator[str]:
    step = next((each for each in STEPS if (paper.high - paper.low) / each <= LINES), STEPS[-1])
    level = step * -(-paper.low // step)
    while level <= paper.high:
        y = paper.level(level)
        yield f'<path d="M{LEFT} {y}H{WIDE - RIGHT}" stroke="{LINE}"/>'
        yield _text(LEFT - 6, y + 4, f"{level:g}".replace("-", "\u2212"), "end", SOFT)
        level += step
    yield _text(4, TOP, "°C" if paper.shown(0) == 0 else "°F", "start", SOFT)
    for part, anchor in ((0, "start"), (1, "end")):
        wall = curve.ends if part else curve.window.since
        yield _text(paper.x(wall), HIGH - 12, clock(wall, now, zone), anchor, SOFT)


def _text(x: float, y: float, words: str, anchor: str, fill: str = INK) -> str:
    return f'<text x="{x}" y="{round(y, 1)}" text-anchor="{anchor}" fill="{fill}">{escape(words)}</text>'
