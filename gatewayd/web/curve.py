"""The curve of one freezer: which window of time, what lies in it, as columns for the script, and drawn as a picture.

A window is counted in days, months and years of the household's calendar, so that a day of 23 or 25 hours is a day.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from gatewayd.alarm.kinds import GAP_INTERVALS, GAP_LEAST, HIGH, HIGHHIGH, OF_FREEZER, UNKNOWN_INTERVAL
from gatewayd.message.words import called
from gatewayd.model.house import Freezer
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, from_wall, to_wall
from gatewayd.model.outlook import Span
from gatewayd.model.reading import Quantity
from gatewayd.model.units import TemperatureUnit
from gatewayd.store.chart import POINTS, Bucket, Spell, chart, late, openings, spells, sums, whole

# How a window is called in an address, its words, and the calendar's months and days in it.
SPANS = {
    "day": ("Day", 0, 1),
    "week": ("Week", 0, 7),
    "month": ("Month", 1, 0),
    "year": ("Year", 12, 0),
    "five-years": ("Five years", 60, 0),
}
LIDS_UP_TO = 8 * DAY  # lid openings of a longer window are thinner than a line
EARLIEST = 946_684_800_000  # 2000-01-01 UTC: nothing was measured before; keeps the calendar's arithmetic in its range
AHEAD = 0.4  # how far a forecast may reach to the right, in parts of the window. Our choice: the past stays readable


@dataclass(frozen=True, slots=True)
class Window:
    """Hold a window of time in wall ms: `span` a key of SPANS; `live` says that it ends now."""

    span: str
    since: int
    until: int
    live: bool


@dataclass(frozen=True, slots=True)
class Curve:
    """Hold all that is drawn of one sensor in one window; temperatures in °C, times in wall ms.

    `late` are (first, last, value), `lids` (opened, shut); `gap` is the longest distance (ms) that is drawn through.
    """

    window: Window
    buckets: Sequence[Bucket] = ()
    gap: int = 3 * UNKNOWN_INTERVAL
    late: Sequence[tuple[int, int, float]] = ()
    lids: Sequence[tuple[int, int]] = ()
    spells: Sequence[Spell] = ()
    forecast: Sequence[Span] = ()
    limits: tuple[float, float] = (0.0, 0.0)
    made: int = 0  # when (wall ms) the forecast was made

    @property
    def whole(self) -> Bucket | None:
        """Return the lowest, highest and mean of the window, None of an empty one."""
        return whole(self.buckets)

    @property
    def parts(self) -> list[list[Bucket]]:
        """Return the pieces of the line between its gaps."""
        found: list[list[Bucket]] = []
        for bucket in self.buckets:
            if not found or bucket.start - found[-1][-1].start > self.gap:
                found.append([])
            found[-1].append(bucket)
        return found

    @property
    def ahead(self) -> list[Span]:
        """Return of the forecast what begins on the axis of time."""
        return [s for s in self.forecast if s.early is not None and self.made + s.early * HOUR < self.ends]

    @property
    def beyond(self) -> bool:
        """Return whether a bar of the forecast goes on behind the end of the axis."""
        return any(self.goes_on(span) for span in self.ahead)

    def goes_on(self, span: Span) -> bool:
        """Return whether the bar of a level reaches behind the end of the axis."""
        return span.late is None or self.made + round(span.late * HOUR) > self.ends

    @property
    def begins(self) -> int | None:
        """Return when the readings begin (wall ms) where that is well within the window, None elsewhere."""
        first = self.buckets[0].start if self.buckets else self.window.since
        return first if first - self.window.since > self.gap else None

    @property
    def ends(self) -> int:
        """Return where the axis of time ends (wall ms): with the window, or as far behind it as a forecast reaches."""
        reached = [hours for s in self.forecast for hours in (s.early, s.likely, s.late) if hours is not None]
        far = self.made + round(max(reached, default=0.0) * HOUR)
        most = self.window.until + round(AHEAD * (self.window.until - self.window.since))
        return max(self.window.until, min(far, most))


def window(span: str, until: str, zone: tzinfo, now: int) -> Window:
    """Return the window that an address asks for; `until` is an ISO stamp, empty for now. Raise ValueError."""
    if span not in SPANS:
        raise ValueError(f"There is no span {span!r}; there are {', '.join(SPANS)}.")
    end = now
    if until:
        try:
            when = datetime.fromisoformat(until)
            end = to_wall(when if when.tzinfo else when.replace(tzinfo=zone))
        except (ValueError, OverflowError):
            raise ValueError(f"until {until!r} is not a time; write it like 2026-11-25T18:00.") from None
        if end < EARLIEST:
            raise ValueError(f"until {until!r} is too long ago.")
    live = end >= now
    end = min(end, now)
    return Window(span, back(end, span, zone), end, live)


def back(wall: int, span: str, zone: tzinfo, times: int = 1) -> int:
    """Return the wall stamp one span of the calendar earlier (or later: `times` -1), at the same time of the day."""
    _, months, days = SPANS[span]
    local = from_wall(wall).astimezone(zone).replace(tzinfo=None)
    month = local.year * 12 + local.month - 1 - months * times
    year, first = divmod(month, 12)
    last = _last_day(year, first + 1)
    local = local.replace(year=year, month=first + 1, day=min(local.day, last)) - timedelta(days=days * times)
    return to_wall(local.replace(tzinfo=zone))


def _last_day(year: int, month: int) -> int:
    after = datetime(year + month // 12, month % 12 + 1, 1)  # noqa: DTZ001 - a day of the calendar
    return (after - timedelta(days=1)).day


def edges(found: Window, zone: tzinfo) -> list[int]:
    """Return where the hours, days or months of a window's table begin, and where the last ends (wall ms)."""
    begin = from_wall(found.since).astimezone(zone)
    if found.span == "day":
        first = found.since - (begin.minute * MINUTE + begin.second * SECOND + begin.microsecond // 1000)
        return list(range(first, found.until + HOUR, HOUR))
    midnight = begin.replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    step = "month" if found.span in ("year", "five-years") else "day"
    if step == "month":
        midnight = midnight.replace(day=1)
    walls = [to_wall(midnight.replace(tzinfo=zone))]
    while walls[-1] < found.until:
        midnight = (midnight + timedelta(days=32)).replace(day=1) if step == "month" else midnight + timedelta(days=1)
        walls.append(to_wall(midnight.replace(tzinfo=zone)))
    return walls


@dataclass(frozen=True, slots=True)
class Line:
    """Hold one row of the table: which hour, day or month (wall ms of its begin), and its figures."""

    start: int
    sum: Bucket | None


def table(conn: sqlite3.Connection, sensor: str, found: Window, zone: tzinfo) -> list[Line]:
    """Return the rows of a window's table, those without a reading too."""
    walls = edges(found, zone)
    rows = sums(conn, sensor, Quantity.TEMPERATURE, walls)
    return [Line(start, row) for start, row in zip(walls, rows, strict=False)]


def read(
    conn: sqlite3.Connection, freezer: Freezer, sensor: str, found: Window, lids: Sequence[str], interval: int | None
) -> Curve:
    """Read what lies in a window; `lids` are the contacts at the freezer's lid, `interval` (ms) the sensor's own."""
    end = found.until + found.live  # what was heard this very moment is in a window that ends now
    buckets = chart(conn, sensor, Quantity.TEMPERATURE, found.since, end, POINTS - 1) if sensor else []
    step = (found.until - found.since) / (POINTS - 1)
    gap = max(round(2 * step) + 1, GAP_INTERVALS * (interval or UNKNOWN_INTERVAL), GAP_LEAST)
    opened: list[tuple[int, int]] = []
    if found.until - found.since <= LIDS_UP_TO:
        opened = [each for lid in lids for each in openings(conn, lid, found.since, end)]
    return Curve(
        found,
        buckets,
        gap,
        late(conn, sensor, Quantity.TEMPERATURE, found.since, end) if sensor else [],
        opened,
        spells(conn, freezer.id, [kind.name for kind in OF_FREEZER], found.since, end),
        limits=(freezer.limits.high, freezer.limits.highhigh),
    )


def limits(curve: Curve, units: TemperatureUnit) -> list[str]:
    """Return what stands at the two lines of the limits."""
    names = (called(HIGH.name), called(HIGHHIGH.name))
    return [f"{name}: above {units.show(limit)}" for name, limit in zip(names, curve.limits, strict=True)]


def columns(curve: Curve, units: TemperatureUnit) -> dict[str, object]:
    """Return a curve as columns for the script: times in s, temperatures in the household's scale, None at a gap."""

    def shown(celsius: float) -> float:
        return round(celsius if units is TemperatureUnit.C else celsius * 9 / 5 + 32, 2)

    times: list[float] = []
    figures: tuple[list[float | None], ...] = ([], [], [])
    for part in curve.parts:
        if times:
            times.append(times[-1] + 1)
            for column in figures:
                column.append(None)
        for bucket in part:
            times.append(bucket.start // SECOND)
            for column, value in zip(figures, (bucket.low, bucket.high, bucket.mean), strict=True):
                column.append(shown(value))
    low, high, mean = figures
    return {
        "since": curve.window.since // SECOND,
        "until": curve.window.until // SECOND,
        "ends": curve.ends // SECOND,
        "unit": units.value,
        "t": times,
        "low": low,
        "high": high,
        "mean": mean,
        "late": [[first // SECOND, last // SECOND, shown(value)] for first, last, value in curve.late],
        "limits": [[shown(limit), words] for limit, words in zip(curve.limits, limits(curve, units), strict=True)],
        "lids": [[opened // SECOND, shut // SECOND] for opened, shut in curve.lids],
        "spells": [[spell.began // SECOND, spell.ended // SECOND, called(spell.kind)] for spell in curve.spells],
        "forecast": [
            [shown(span.level), *(None if at is None else (curve.made + round(at * HOUR)) // SECOND for at in ends)]
            for span in curve.ahead
            for ends in ((span.early, span.likely, span.late),)
        ],
    }
