"""A curve of one sensor for a screen: at most some hundred buckets with their lowest, highest and mean.

The bucket never hides the warmest moment, which a line drawn through fewer points would. SQLite makes the buckets: that
is cheaper than fetching the rows. The coarsest tier whose step fits into a bucket is taken.
"""

# ruff: noqa: S608 -- only names of our own are put into the SQL; values are always bound

import json
import sqlite3
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from gatewayd.model.event import What
from gatewayd.model.moment import DAY, HOUR
from gatewayd.model.reading import Quality, Quantity
from gatewayd.store.rollup import QUARTER
from gatewayd.store.row import unit
from gatewayd.store.schema import KEY_MASK

POINTS = 800  # a screen's width; more cannot be told apart
DAYS = 23 * HOUR  # the shortest local day: spans no shorter are summed up from whole days
MOST_LATE = 400  # points drawn apart; a sensor that was away for a week hands in some hundred

_RAW = """SELECT min(t), count(*), min(value), max(value), sum(value) FROM (
    SELECT t, value, how FROM reading WHERE series = ?1 AND t >= ?2 AND t < ?3
    UNION ALL SELECT t, value, how FROM log WHERE series = ?1 AND t >= ?2 AND t < ?3)
    WHERE value IS NOT NULL {good} GROUP BY (t - ?2) / ?4 ORDER BY 1"""
_QUARTER = """SELECT min(slot) * ?5, sum(n), min(low), max(high), sum(total) FROM quarter WHERE series = ?1
    AND slot >= ?2 / ?5 AND slot < (?3 + ?5 - 1) / ?5 GROUP BY (slot * ?5 - ?2) / ?4 ORDER BY 1"""
_DAY = """SELECT min(start), sum(n), min(low), max(high), sum(total) FROM day WHERE series = ?1
    AND start >= ?2 AND start < ?3 GROUP BY (start - ?2) / ?4 ORDER BY 1"""
# what the hourly move has not taken into the roll-ups yet
_NEWEST = """SELECT min(t), count(*), min(value), max(value), sum(value) FROM log WHERE series = ?1 AND t >= ?2
    AND t < ?3 AND value IS NOT NULL {good} GROUP BY (t - ?2) / ?4 ORDER BY 1"""

_BEGIN, _END = What.RAISED.value, f"{What.OVER.value!r}, {What.CLOSED.value!r}"
LONGEST_DELAY = DAY  # ms; a begin that an alarm tells of further back is a mistake of a clock. Our choice

Row = tuple[int, int, int, int, int]  # start (wall ms), count, low, high, total (thousandths)


@dataclass(frozen=True, slots=True)
class Spell:
    """Hold from when to when (wall ms) an alarm of a kind stood."""

    began: int
    ended: int
    kind: str


@dataclass(frozen=True, slots=True)
class Bucket:
    """Hold one piece of a curve: when its first reading was (wall ms), how many, and their figures in the unit."""

    start: int
    count: int
    low: float
    high: float
    mean: float


def chart(
    conn: sqlite3.Connection, sensor: str, quantity: Quantity, since: int, until: int, points: int = POINTS
) -> list[Bucket]:
    """Return the good readings from `since` to before `until` (wall ms) in at most `points` buckets and one, in order.

    A bucket without readings is left out, so that a gap shows as one. The newest rows are in it, whatever the tier.
    Raise ValueError for an empty window or no points.
    """
    if until <= since or points < 1:
        raise ValueError("a chart needs a window that ends after it begins, and at least one point")
    key = _series(conn, sensor, quantity)
    if key is None:
        return []
    step = max(1, -(-(until - since) // points))
    asked = (key, since, until, step)
    good = _good(conn)
    if step < QUARTER:
        return [_bucket(row) for row in conn.execute(_RAW.format(good=good), asked)]
    rows: list[Row] = (
        conn.execute(_DAY, asked).fetchall() if step >= DAY else conn.execute(_QUARTER, (*asked, QUARTER)).fetchall()
    )
    for row in conn.execute(_NEWEST.format(good=good), asked):
        if rows and (rows[-1][0] - since) // step == (row[0] - since) // step:
            rows[-1] = _joined(rows[-1], row)
        else:
            rows.append(row)
    return [_bucket(row) for row in sorted(rows)]


def sums(conn: sqlite3.Connection, sensor: str, quantity: Quantity, edges: Sequence[int]) -> list[Bucket | None]:
    """Return the sum of the good readings between each two of `edges` (wall ms, rising), None where there are none.

    Where no two edges are closer than a local day they must be local midnights, else quarters of an hour.
    """
    key = _series(conn, sensor, quantity)
    found: list[Row | None] = [None] * (len(edges) - 1)
    if key is None:
        return [None] * len(found)
    since, until = edges[0], edges[-1]
    if all(after - before >= DAYS for before, after in pairwise(edges)):
        rows = conn.execute(_DAY, (key, since, until, 1)).fetchall()
    else:
        rows = conn.execute(_QUARTER, (key, since, until, 1, QUARTER)).fetchall()
    rows += conn.execute(_NEWEST.format(good=_good(conn)), (key, since, until, 1)).fetchall()
    for row in rows:
        place = bisect_right(edges, row[0]) - 1
        if 0 <= place < len(found):
            before = found[place]
            found[place] = row if before is None else _joined(before, row)
    return [None if row is None else _bucket(row) for row in found]


def whole(buckets: Sequence[Bucket]) -> Bucket | None:
    """Return all buckets as one: lowest, highest and mean of the window, None of an empty one."""
    if not buckets:
        return None
    count = sum(each.count for each in buckets)
    return Bucket(
        buckets[0].start,
        count,
        min(each.low for each in buckets),
        max(each.high for each in buckets),
        sum(each.mean * each.count for each in buckets) / count,
    )


def late(
    conn: sqlite3.Connection, sensor: str, quantity: Quantity, since: int, until: int
) -> list[tuple[int, int, float]]:
    """Return the late readings without a stamp of their own that may lie in a window, the newest MOST_LATE, in order.

    Each is (first, last, value): it was measured somewhere between the two wall stamps (ms).
    """
    found = conn.execute(
        "SELECT l.first, l.last, l.value FROM late l JOIN series s ON s.id = l.series JOIN how h ON h.id = l.how & ? "
        "WHERE s.sensor = ? AND s.quantity = ? AND l.first < ? AND l.last >= ? AND l.value IS NOT NULL "
        "AND h.quality = ? ORDER BY l.first DESC LIMIT ?",
        (KEY_MASK, sensor, quantity.value, until, since, Quality.GOOD.value, MOST_LATE),
    )
    return [(first, last, unit(value)) for first, last, value in reversed(found.fetchall())]


def openings(conn: sqlite3.Connection, sensor: str, since: int, until: int) -> list[tuple[int, int]]:
    """Return from when to when (wall ms) a contact at a lid said that it was open, within a window.

    One that is still open ends with the last that was heard of it.
    """
    key = _series(conn, sensor, Quantity.LID)
    found: list[tuple[int, int]] = []
    began: int | None = None
    last = since
    rows = () if key is None else conn.execute(
        "SELECT t, value FROM reading WHERE series = ?1 AND t >= ?2 AND t < ?3 AND value IS NOT NULL "
        "UNION ALL SELECT t, value FROM log WHERE series = ?1 AND t >= ?2 AND t < ?3 AND value IS NOT NULL ORDER BY 1",
        (key, since, until),
    )  # fmt: skip
    for at, value in rows:
        last = at
        if value > 0 and began is None:
            began = at
        elif value <= 0 and began is not None:
            found.append((began, at))
            began = None
    return found if began is None else [*found, (began, last)]


def spells(conn: sqlite3.Connection, subject: str, kinds: Sequence[str], since: int, until: int) -> list[Spell]:
    """Return the spells of a subject's alarms of some kinds in a window, as far as they lie in it, by their begin."""
    turns = f"subject = ? AND what IN ({_BEGIN!r}, {_END}) AND kind IN ({', '.join('?' * len(kinds))})"
    before = conn.execute(
        f"SELECT kind, what, max(number) FROM event WHERE {turns} AND at < ? GROUP BY kind", (subject, *kinds, since)
    )
    begun = {kind: since for kind, what, _ in before if what == _BEGIN}
    found: list[Spell] = []
    rows = conn.execute(
        f"SELECT kind, what, facts, at FROM event WHERE {turns} AND at >= ? AND at < ? ORDER BY number",
        (subject, *kinds, since, until),
    )
    for kind, what, facts, at in rows:
        if what == _BEGIN:
            told = json.loads(facts).get("since")  # it is raised when its delay has passed
            began = told if isinstance(told, int) and at - LONGEST_DELAY < told <= at else at
            begun.setdefault(kind, max(began, since))
        elif kind in begun:
            found.append(Spell(begun.pop(kind), at, kind))
    found += [Spell(began, until, kind) for kind, began in begun.items()]
    return sorted(found, key=lambda spell: spell.began)


def _series(conn: sqlite3.Connection, sensor: str, quantity: Quantity) -> int | None:
    found = conn.execute("SELECT id FROM series WHERE sensor = ? AND quantity = ?", (sensor, quantity.value)).fetchone()
    return None if found is None else int(found[0])


def _joined(one: Row, other: Row) -> Row:
    return (
        min(one[0], other[0]), one[1] + other[1], min(one[2], other[2]), max(one[3], other[3]), one[4] + other[4]
    )  # fmt: skip


def _bucket(row: Row) -> Bucket:
    start, n, low, high, total = row
    return Bucket(start, n, unit(low), unit(high), unit(total) / n)


def _good(conn: sqlite3.Connection) -> str:
    """Return the condition that leaves bad values out; empty, and so free, where there never was one."""
    bad = [row[0] for row in conn.execute("SELECT id FROM how WHERE quality <> ?", (Quality.GOOD.value,))]
    return f"AND how & {KEY_MASK} NOT IN ({', '.join(map(str, bad))})" if bad else ""
