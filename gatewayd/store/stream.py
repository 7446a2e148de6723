"""Stream the live readings in the order in which they were heard, as bare rows: for whoever plays a year of them.

One query a day of readings, which SQLite sorts: constant memory, no open transaction between two days, nothing done by
row. Late readings are left out: they move no alarm.
"""

# ruff: noqa: S608 -- only numbers of our own are put into the SQL; values are always bound

import sqlite3
from collections.abc import Collection, Iterator

from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.reading import Arrival
from gatewayd.store import row
from gatewayd.store.rollup import QUARTER
from gatewayd.store.schema import KEY_BITS, KEY_MASK

SLICE = DAY
# A live reading with a stamp of its own was measured up to 15 min before it was heard, or up to 2 min after it by a
# sensor's clock that is ahead; so what was heard within so long of a slice's end waits for the next slice.
SLACK = 20 * MINUTE

Row = tuple[int, int, int, int | None, int]  # heard (wall ms), series, t (wall ms), value (thousandths), key of `how`


def live(conn: sqlite3.Connection, since: int, until: int, sensors: Collection[str]) -> Iterator[tuple[int, list[Row]]]:
    """Yield (wall ms up to which all is known now, rows heard before that), from `since` until before `until`."""
    keys = _keys(conn, sensors)
    first = oldest(conn, sensors)
    if first is None:
        return
    held: list[Row] = []
    for begin in range(max(since, first) - SLACK, until, SLICE):
        end = min(begin + SLICE, until)
        rows = held + _slice(conn, keys, begin, end if end < until else until + SLACK)
        rows.sort()
        ready = until if end >= until else end - SLACK
        cut = next((place for place in range(len(rows), 0, -1) if rows[place - 1][0] < ready), 0)
        held = rows[cut:]
        yield ready, [each for each in rows[:cut] if each[0] >= since] if begin < since else rows[:cut]


def oldest(conn: sqlite3.Connection, sensors: Collection[str]) -> int | None:
    """Return the stamp (wall ms) of the oldest single reading of these sensors, None if there is none."""
    found = []
    for key in _keys(conn, sensors):
        for table in ("reading", "log"):
            found.append(conn.execute(f"SELECT min(t) FROM {table} WHERE series = ?", (key,)).fetchone()[0])  # noqa: PERF401
    return min((stamp for stamp in found if stamp is not None), default=None)


def oldest_sum(conn: sqlite3.Connection, sensors: Collection[str]) -> int | None:
    """Return the begin (wall ms) of the oldest sum of 15 minutes of these sensors, None if there is none."""
    found = [
        conn.execute("SELECT min(slot) FROM quarter WHERE series = ?", (key,)).fetchone()[0]
        for key in _keys(conn, sensors)
    ]
    return min((slot * QUARTER for slot in found if slot is not None), default=None)


def _keys(conn: sqlite3.Connection, sensors: Collection[str]) -> list[int]:
    return [key for key, (sensor, _) in row.series(conn).items() if sensor in sensors]


def _slice(conn: sqlite3.Connection, keys: Collection[int], begin: int, end: int) -> list[Row]:
    within = f"series IN ({', '.join(map(str, keys))}) AND t >= ?1 AND t < ?2"
    dead = [key for key, how in row.hows(conn).items() if how.arrival is not Arrival.LIVE]
    if dead:  # where there never was one, the condition costs nothing
        within += f" AND how & {KEY_MASK} NOT IN ({', '.join(map(str, dead))})"
    return conn.execute(
        f"SELECT t + (how >> {KEY_BITS}) AS heard, series, t, value, how & {KEY_MASK} FROM reading WHERE {within} "
        f"UNION ALL SELECT t + (how >> {KEY_BITS}), series, t, value, how & {KEY_MASK} FROM log WHERE {within} "
        "ORDER BY heard",
        (begin, end),
    ).fetchall()
