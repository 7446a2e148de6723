"""A curve of one sensor for a screen: at most some hundred buckets with their lowest, highest and mean.

The bucket never hides the warmest moment, which a line drawn through fewer points would. SQLite makes the buckets: that
is cheaper than fetching the rows. The coarsest tier whose step fits into a bucket is taken.
"""

import sqlite3
from dataclasses import dataclass

from gatewayd.model.moment import DAY
from gatewayd.model.reading import Quality, Quantity
from gatewayd.store.rollup import QUARTER
from gatewayd.store.row import unit
from gatewayd.store.schema import KEY_MASK

POINTS = 800  # a screen's width; more cannot be told apart

_RAW = """SELECT min(t), count(*), min(value), max(value), sum(value) FROM (
    SELECT t, value, how FROM reading WHERE series = ?1 AND t >= ?2 AND t < ?3
    UNION ALL SELECT t, value, how FROM log WHERE series = ?1 AND t >= ?2 AND t < ?3)
    WHERE value IS NOT NULL {good} GROUP BY (t - ?2) / ?4 ORDER BY 1"""
_QUARTER = """SELECT min(slot) * ?5, sum(n), min(low), max(high), sum(total) FROM quarter WHERE series = ?1
    AND slot >= ?2 / ?5 AND slot < (?3 + ?5 - 1) / ?5 GROUP BY (slot * ?5 - ?2) / ?4 ORDER BY 1"""
_DAY = """SELECT min(start), sum(n), min(low), max(high), sum(total) FROM day WHERE series = ?1
    AND start >= ?2 AND start < ?3 GROUP BY (start - ?2) / ?4 ORDER BY 1"""


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

    A bucket without readings is left out, so that a gap shows as one. Newest rows are in the raw tier at once, in the
    others after the hourly move. Raise ValueError for an empty window or no points.
    """
    if until <= since or points < 1:
        raise ValueError("a chart needs a window that ends after it begins, and at least one point")
    found = conn.execute("SELECT id FROM series WHERE sensor = ? AND quantity = ?", (sensor, quantity.value)).fetchone()
    if found is None:
        return []
    step = max(1, -(-(until - since) // points))
    asked = (found[0], since, until, step)
    if step >= DAY:
        rows = conn.execute(_DAY, asked)
    elif step >= QUARTER:
        rows = conn.execute(_QUARTER, (*asked, QUARTER))
    else:
        rows = conn.execute(_RAW.format(good=_good(conn)), asked)
    return [Bucket(start, n, unit(low), unit(high), unit(total) / n) for start, n, low, high, total in rows]


def _good(conn: sqlite3.Connection) -> str:
    """Return the condition that leaves bad values out; empty, and so free, where there never was one."""
    bad = [row[0] for row in conn.execute("SELECT id FROM how WHERE quality <> ?", (Quality.GOOD.value,))]
    return f"AND how & {KEY_MASK} NOT IN ({', '.join(map(str, bad))})" if bad else ""
