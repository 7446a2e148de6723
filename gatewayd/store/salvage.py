"""Bring over from a damaged file what can still be read of it, into the copy that takes its place.

Ids in a file are never given twice and a copy keeps them, so what the damaged file has beyond the copy fits it as it
is. That holds only while both come from one line: where the boots or series they share differ, nothing is taken.
"""

# ruff: noqa: S608 -- only names of our own are put into the SQL; values are always bound

import sqlite3
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from gatewayd.store.schema import KEY_MASK
from gatewayd.store.state import alive, set_alive
from gatewayd.store.stock import box_of, move_of, package_of

Row = tuple[object, ...]

# In the order in which they lean on each other, with the columns by which each is ordered.
_TABLES = (
    ("boot", "id"),
    ("how", "id"),
    ("series", "id"),
    ("event", "number"),
    ("decision", "event, boot, steady, person, reason"),
    ("notice", "id"),
    ("delivery", "id"),
    ("settings", "version"),
    ("answer", "key"),
    ("calibration", "sensor, quantity, at"),
    ("late", "id"),
    ("log", "id"),
    ("box", "id"),
    ("package", "id"),
    ("move", "id"),
    ("finding", "id"),
    ("frost", "id"),
    ("chore", "id"),
)
_SHARED = (("boot", "id, name"), ("series", "id, sensor, quantity"))
_ROLLED = (("quarter", "slot"), ("day", "start"))
# What the first version did not have
_YOUNGER = {"decision", "box", "package", "move", "finding", "frost", "chore"}
# Rows that are written again as the stock changes: the damaged file's are the newer ones, if they are sound
_CHANGING: dict[str, Callable[[tuple[Any, ...]], object]] = {"box": box_of, "package": package_of, "move": move_of}
_NUMBERED = {"log", "reading", "late"}  # their rows name a series and a how, which must exist


@dataclass(frozen=True, slots=True)
class Salvaged:
    """Hold how much was brought over, and whether every table could be read to its end."""

    events: int = 0
    readings: int = 0
    whole: bool = False


class _Reader:
    """Read rows of a file that may break off anywhere; `whole` turns False when one does."""

    def __init__(self, old: sqlite3.Connection) -> None:
        self._old = old
        self.whole = True

    def rows(self, table: str, order: str, where: str = "", bound: Sequence[object] = ()) -> Iterator[Row]:
        """Yield the rows from the front up to the damage, then from the back down to it."""
        if (yield from self._run(f"SELECT * FROM {table} {where} ORDER BY {order}", bound)):
            return
        self.whole = False
        backwards = ", ".join(f"{column} DESC" for column in order.split(", "))
        yield from self._run(f"SELECT * FROM {table} {where} ORDER BY {backwards}", bound)

    def _run(self, query: str, bound: Sequence[object]) -> Generator[Row, None, bool]:
        try:
            yield from self._old.execute(query, bound)
        except (sqlite3.Error, OverflowError, UnicodeDecodeError):
            return False
        return True


def salvage(conn: sqlite3.Connection, old: sqlite3.Connection) -> Salvaged:
    """Bring over what `old` has beyond `conn`, inside the caller's transaction."""
    reader = _Reader(old)
    if not _one_line(conn, old):
        return Salvaged()
    before = _count(conn)
    there = {row[1] for row in reader.rows("sqlite_master", "rowid")}
    for table, order in _TABLES:
        if table in _YOUNGER and table not in there and reader.whole:
            continue  # an older gatewayd wrote the file, which knew no such table
        _insert(conn, table, reader.rows(table, order), reader)
    # what was taken back after the copy was made; such a number is never given again
    conn.execute("DELETE FROM package WHERE id IN (SELECT package FROM move WHERE turn = 'undone' AND after IS NULL)")
    for (key,) in conn.execute("SELECT id FROM series").fetchall():
        _insert(conn, "reading", reader.rows("reading", "t", "WHERE series = ?", (key,)), reader)
        for table, slot in _ROLLED:
            _roll(conn, table, slot, reader.rows(table, slot, "WHERE series = ?", (key,)))
    for sensor, value in list(reader.rows("counter", "sensor")):
        conn.execute(
            "INSERT INTO counter VALUES (?, ?) ON CONFLICT (sensor) DO UPDATE SET value = max(value, excluded.value)",
            (sensor, value),
        )
    for row in list(reader.rows("snapshot", "id")):
        with suppress(sqlite3.IntegrityError):
            conn.execute("INSERT OR REPLACE INTO snapshot VALUES (?, ?, ?, ?, ?)", row)
    with suppress(sqlite3.Error):
        awake = alive(old)
        if awake is not None and conn.execute("SELECT 1 FROM log WHERE series = 0").fetchone() is None:
            set_alive(conn, awake)
    after = _count(conn)
    return Salvaged(after[0] - before[0], after[1] - before[1], reader.whole)


def _one_line(conn: sqlite3.Connection, old: sqlite3.Connection) -> bool:
    """Return whether what both files know goes by the same ids."""
    for table, columns in _SHARED:
        try:
            theirs = {row[0]: row for row in old.execute(f"SELECT {columns} FROM {table}")}
        except sqlite3.Error:
            return False
        if any(theirs.get(row[0], row) != row for row in conn.execute(f"SELECT {columns} FROM {table}")):
            return False
    return True


def _count(conn: sqlite3.Connection) -> tuple[int, int]:
    events = conn.execute("SELECT count(*) FROM event").fetchone()[0]
    tables = ("SELECT count(*) FROM log WHERE series > 0", "SELECT count(*) FROM reading", "SELECT count(*) FROM late")
    return int(events), sum(int(conn.execute(query).fetchone()[0]) for query in tables)


def _insert(conn: sqlite3.Connection, table: str, rows: Iterator[Row], reader: _Reader) -> None:
    hows = {row[0] for row in conn.execute("SELECT id FROM how")} if table in _NUMBERED else set()
    series = {0} | {row[0] for row in conn.execute("SELECT id FROM series")} if table in _NUMBERED else set()
    columns = [row[1] for row in conn.execute(f"PRAGMA table_info({table})")]
    query = f"INSERT OR IGNORE INTO {table} VALUES ({', '.join('?' * len(columns))})"
    if table in _CHANGING:
        rows = _sound(table, rows, reader)
        news = ", ".join(f'"{column}" = excluded."{column}"' for column in columns if column != "id")
        query = f"{query.replace(' OR IGNORE', '')} ON CONFLICT (id) DO UPDATE SET {news}"
    at = columns.index("series") if hows else 0
    for row in rows:
        if hows and not (row[at] in series and isinstance(row[-1], int) and row[-1] & KEY_MASK in hows):
            reader.whole = False  # garbage that happens to have the form of a row
            continue
        try:
            conn.execute(query, row)
        except sqlite3.IntegrityError:  # what it leans on was lost
            reader.whole = False


def _sound(table: str, rows: Iterator[Row], reader: _Reader) -> Iterator[Row]:
    """Yield the rows that can be read as what they are: garbage must not take the place of a good one."""
    for row in rows:
        try:
            _CHANGING[table](row)
        except (ValueError, TypeError):
            reader.whole = False
        else:
            yield row


def _roll(conn: sqlite3.Connection, table: str, slot: str, rows: Iterable[Row]) -> None:
    """Take sums over more rows than the copy's."""
    query = (
        f"INSERT INTO {table} VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (series, {slot}) DO UPDATE SET n = excluded.n, "
        "low = excluded.low, high = excluded.high, total = excluded.total WHERE excluded.n > n"
    )
    for row in rows:
        if all(isinstance(value, int) for value in row):
            conn.execute(query, row)
