"""Roll-ups: sums of good rows over a quarter of an hour and over a local day, kept when the rows have gone.

Adding rows to a quarter is exact, since all is counted in whole thousandths. Where rows leave a quarter, it is made
anew from its rows, but only if they are all still there; else what has gone could not be counted again.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import sqlite3
from collections.abc import Iterable
from datetime import datetime, timedelta, tzinfo
from functools import lru_cache

from gatewayd.model.moment import MINUTE, from_wall, to_wall

QUARTER = 15 * MINUTE  # every time zone in use lies a multiple of 15 min from UTC, so quarters fill local days exactly

Touched = set[tuple[int, int]]  # (series, slot)

# a good row of `reading` or `log`; the key of `how` is in the low 16 bits
_GOOD = "value IS NOT NULL AND (how & 65535) IN (SELECT id FROM how WHERE quality = 'good')"
_SUMS = f"series, t / {QUARTER}, count(*), min(value), max(value), sum(value)"


def add_log(conn: sqlite3.Connection) -> Touched:
    """Add the good rows of the log to their quarters and return which those are."""
    good = f"series > 0 AND {_GOOD}"
    conn.execute(
        f"INSERT INTO quarter SELECT {_SUMS} FROM log WHERE {good} GROUP BY 1, 2 ON CONFLICT (series, slot) DO "
        "UPDATE SET n = n + excluded.n, low = min(low, excluded.low), high = max(high, excluded.high), "
        "total = total + excluded.total"
    )
    return set(conn.execute(f"SELECT DISTINCT series, t / {QUARTER} FROM log WHERE {good}"))


def whole(conn: sqlite3.Connection, touched: Iterable[tuple[int, int]]) -> Touched:
    """Return the quarters all of whose rows are still there, so that they can be made anew."""
    return {(key, slot) for key, slot in touched if _counted(conn, key, slot) == _rows(conn, key, slot)}


def _counted(conn: sqlite3.Connection, key: int, slot: int) -> int:
    found = conn.execute("SELECT n FROM quarter WHERE series = ? AND slot = ?", (key, slot)).fetchone()
    return int(found[0]) if found else 0


def _rows(conn: sqlite3.Connection, key: int, slot: int) -> int:
    found = conn.execute(
        f"SELECT count(*) FROM reading WHERE series = ? AND t >= ? AND t < ? AND {_GOOD}",
        (key, slot * QUARTER, (slot + 1) * QUARTER),
    )
    return int(found.fetchone()[0])


def remake(conn: sqlite3.Connection, touched: Iterable[tuple[int, int]]) -> None:
    """Make quarters anew from their rows."""
    for key, slot in touched:
        conn.execute("DELETE FROM quarter WHERE series = ? AND slot = ?", (key, slot))
        conn.execute(
            f"INSERT INTO quarter SELECT {_SUMS} FROM reading WHERE series = ? AND t >= ? AND t < ? AND {_GOOD} "
            "GROUP BY 1, 2",
            (key, slot * QUARTER, (slot + 1) * QUARTER),
        )


def shift(conn: sqlite3.Connection, key: int, leaves: int | None, enters: int | None, value: int) -> None:
    """Move one good value between quarters that cannot be made anew, from one slot to another; None is neither.

    The low and high of the quarter it leaves stay as they are: which row they came from is no longer known.
    """
    if leaves is not None:
        conn.execute(
            "UPDATE quarter SET n = n - 1, total = total - ? WHERE series = ? AND slot = ?", (value, key, leaves)
        )
        conn.execute("DELETE FROM quarter WHERE series = ? AND slot = ? AND n <= 0", (key, leaves))
    if enters is not None:
        conn.execute(
            "INSERT INTO quarter VALUES (?, ?, 1, ?, ?, ?) ON CONFLICT (series, slot) DO UPDATE SET n = n + 1, "
            "low = min(low, excluded.low), high = max(high, excluded.high), total = total + excluded.total",
            (key, enters, value, value, value),
        )


def day_span(wall: int, zone: tzinfo) -> tuple[int, int]:
    """Return the first ms of the local day of a wall stamp and of the day after: 23, 24 or 25 h apart."""
    return _span(from_wall(wall).astimezone(zone).date().toordinal(), zone)


@lru_cache(maxsize=64)  # the days of one move, or of one zone
def _span(ordinal: int, zone: tzinfo) -> tuple[int, int]:
    midnight = datetime.fromordinal(ordinal)
    after = midnight + timedelta(days=1)
    return to_wall(midnight.replace(tzinfo=zone)), to_wall(after.replace(tzinfo=zone))


def redo_days(conn: sqlite3.Connection, touched: Iterable[tuple[int, int]], zone: tzinfo) -> None:
    """Make the days of these quarters anew. A quarter belongs to the day in which it begins."""
    for key, (start, end) in {(key, day_span(slot * QUARTER, zone)) for key, slot in touched}:
        conn.execute("DELETE FROM day WHERE series = ? AND start = ?", (key, start))
        conn.execute(
            "INSERT INTO day SELECT series, ?, sum(n), min(low), max(high), sum(total) FROM quarter "
            "WHERE series = ? AND slot >= ? AND slot < ? GROUP BY series",
            (start, key, -(-start // QUARTER), -(-end // QUARTER)),
        )


def rebuild_days(conn: sqlite3.Connection, zone: tzinfo) -> None:
    """Make every day anew, for a house whose time zone was changed."""
    conn.execute("DELETE FROM day")
    days: dict[tuple[int, int], tuple[int, int]] = {}
    for key, slot in conn.execute("SELECT series, slot FROM quarter"):
        days[key, day_span(slot * QUARTER, zone)[0]] = (key, slot)
    redo_days(conn, days.values(), zone)
