"""A month of one thermometer, day by day: lowest, highest, mean, and for how long nothing was heard.

The figures are those of the day roll-ups, whose days are the household's: of 23, 24 or 25 hours. What was not heard is
told from the readings one by one; where those are too old to be kept still, from the quarters of an hour without any.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from itertools import pairwise
from statistics import median

from gatewayd.food.seen import limit
from gatewayd.model.moment import HOUR, MINUTE, to_wall
from gatewayd.model.reading import Quantity
from gatewayd.store import row
from gatewayd.store.chart import sums
from gatewayd.store.rollup import QUARTER
from gatewayd.store.schema import KEY_MASK

_GOOD = f"value IS NOT NULL AND (how & {KEY_MASK}) IN (SELECT id FROM how WHERE quality = 'good')"
_STAMPS = f"""SELECT t FROM reading WHERE series = ?1 AND t >= ?2 AND t < ?3 AND {_GOOD}
    UNION SELECT t FROM log WHERE series = ?1 AND t >= ?2 AND t < ?3 AND {_GOOD} ORDER BY 1"""
_SLOTS = "SELECT slot FROM quarter WHERE series = ?1 AND slot >= ?2 AND slot < ?3 ORDER BY slot"
_OLDEST = (
    "SELECT min(t) FROM (SELECT min(t) AS t FROM reading WHERE series = ?1 "
    "UNION ALL SELECT min(t) FROM log WHERE series = ?1)"
)

BEFORE = 6 * HOUR  # from which the first moment of a month is known; the slowest sensor takes 30 min (our choice)
FEW = 6  # distances between readings that tell no interval yet

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Day:
    """Hold one day of one thermometer in °C; None where there is no reading. `unseen` are the minutes without any.

    `begun` is false for a day that is still to come; of today only what has passed counts.
    """

    day: date
    low: float | None = None
    high: float | None = None
    mean: float | None = None
    unseen: int = 0
    begun: bool = True


def days(conn: sqlite3.Connection, sensor: str, first: date, zone: tzinfo, now: int, every: int | None) -> list[Day]:
    """Return the days of the month that begins on `first`, as of `now` (wall ms).

    `every` is the sensor's usual interval (ms) as far as it is told by the settings; the readings tell it better.
    """
    dates = [first + timedelta(days=n) for n in range(length(first))]
    edges = [midnight(day, zone) for day in (*dates, dates[-1] + timedelta(days=1))]
    blind = _blind(conn, sensor, (edges[0], min(edges[-1], now)), every) if edges[0] < now else []
    found = []
    for day, (begin, end), sum_ in zip(
        dates, pairwise(edges), sums(conn, sensor, Quantity.TEMPERATURE, edges), strict=True
    ):
        unseen = sum(max(0, min(end, until) - max(begin, since)) for since, until in blind) // MINUTE
        low, high, mean = (None, None, None) if sum_ is None else (sum_.low, sum_.high, sum_.mean)
        found.append(Day(day, low, high, mean, unseen, begin < now))
    return found


def midnight(day: date, zone: tzinfo) -> int:
    """Return when (wall ms) a day of the household begins."""
    return to_wall(datetime(day.year, day.month, day.day, tzinfo=zone))


def length(first: date) -> int:
    """Return how many days the month of `first` has."""
    return (later(first) - first).days


def later(first: date, months: int = 1) -> date:
    """Return the first of the month so many later; or earlier, below 0."""
    year, month = divmod(first.year * 12 + first.month - 1 + months, 12)
    return date(year, month + 1, 1)


def _blind(conn: sqlite3.Connection, sensor: str, span: Span, every: int | None) -> list[Span]:
    """Return the spans without a reading."""
    keys = [key for key, of in row.series(conn).items() if of == (sensor, Quantity.TEMPERATURE)]
    if not keys:
        return [span]
    key, oldest = keys[0], conn.execute(_OLDEST, (keys[0],)).fetchone()[0]
    kept = span[1] if oldest is None else min(max(oldest, span[0]), span[1])
    kept = max(span[0], kept - kept % QUARTER)
    old = _without(conn, key, (span[0], kept))
    stamps = [stamp for (stamp,) in conn.execute(_STAMPS, (key, kept - BEFORE, span[1]))]
    apart = [after - before for before, after in pairwise(stamps)]
    longest = limit(int(median(apart)) if len(apart) >= FEW else every)
    return [*old, *_gaps(stamps, (kept, span[1]), longest)]


def _gaps(stamps: Sequence[int], span: Span, longest: int) -> Iterator[Span]:
    """Yield what lies in a span between readings that are further apart than `longest`."""
    for before, after in pairwise((span[0] - longest - 1, *stamps, span[1])):
        if after - before > longest and after > span[0]:
            yield max(before, span[0]), after


def _without(conn: sqlite3.Connection, key: int, span: Span) -> list[Span]:
    """Return the quarters of an hour without a reading."""
    first, last = span[0] // QUARTER, span[1] // QUARTER
    heard = {slot for (slot,) in conn.execute(_SLOTS, (key, first, last))}
    return list(_joined((slot * QUARTER, (slot + 1) * QUARTER) for slot in range(first, last) if slot not in heard))


def _joined(spans: Iterable[Span]) -> Iterator[Span]:
    last: Span | None = None
    for begin, end in spans:
        if last is not None and last[1] == begin:
            last = (last[0], end)
            continue
        if last is not None:
            yield last
        last = (begin, end)
    if last is not None:
        yield last
