"""Shift what a boot wrote while its clock was wrong.

Only what was stamped by this computer's clock moves: a sensor's own stamp stays, and only the time at which it was
heard is set right. A late span keeps its beginning when the clock was behind, because that may have been written by an
earlier boot with a right clock; the span is then rather too wide than too narrow, as an exposure sum needs it. The end
of a wait moves with the decision to wait, so that it lasts as long. Facts inside an event (`since`, `peak_at`) and the
wording of a notice stay as they were written.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import sqlite3
from datetime import tzinfo

from gatewayd.model.moment import Moment
from gatewayd.store.book import Book
from gatewayd.store.rollup import QUARTER, redo_days, remake, shift, whole
from gatewayd.store.schema import KEY_BITS, KEY_MASK
from gatewayd.store.state import alive, set_alive
from gatewayd.store.tidy import move

_OF_BOOT = f"(how & {KEY_MASK}) IN (SELECT id FROM how WHERE boot = ?2)"


def restamp(conn: sqlite3.Connection, book: Book, zone: tzinfo, boot: str, first: int, last: int, delta: int) -> int:
    """Shift by `delta` ms what `boot` stamped between two wall stamps (ms, both included); return how many readings.

    A reading that lands on one of another boot is put a ms later, so that both are kept. Roll-ups are made anew.
    """
    key = book.boot_of(boot)
    if key is None or not delta:
        return 0
    move(conn, book, zone)
    span = (delta, key, first, last)
    conn.execute(
        f"UPDATE reading SET how = how + (?1 << {KEY_BITS}) WHERE (how >> {KEY_BITS}) <> 0 AND {_OF_BOOT} "
        f"AND t + (how >> {KEY_BITS}) BETWEEN ?3 AND ?4",
        span,
    )
    moved = _shift_readings(conn, zone, span)
    conn.execute(
        "UPDATE late SET heard = heard + ?1, last = last + iif(last BETWEEN ?3 AND ?4, ?1, 0), "
        f"first = first + iif(?1 < 0 AND first BETWEEN ?3 AND ?4, ?1, 0) WHERE {_OF_BOOT} AND heard BETWEEN ?3 AND ?4",
        span,
    )
    for table in ("event", "notice", "snapshot", "answer"):
        conn.execute(f"UPDATE {table} SET at = at + ?1 WHERE boot = ?2 AND at BETWEEN ?3 AND ?4", span)
    conn.execute("UPDATE decision SET at = at + ?1, until = until + ?1 WHERE boot = ?2 AND at BETWEEN ?3 AND ?4", span)
    conn.execute("UPDATE OR IGNORE calibration SET at = at + ?1 WHERE boot = ?2 AND at BETWEEN ?3 AND ?4", span)
    conn.execute(
        "UPDATE delivery SET changed = changed + ?1, next_try = next_try + ?1 WHERE boot = ?2 AND changed BETWEEN ?3 "
        "AND ?4",
        span,
    )
    awake = alive(conn)
    if awake is not None and awake.boot == boot and first <= awake.wall <= last:
        set_alive(conn, Moment(awake.wall + delta, awake.steady, awake.boot))
    book.moved()
    return moved


def _shift_readings(conn: sqlite3.Connection, zone: tzinfo, span: tuple[int, int, int, int]) -> int:
    """Shift the readings whose stamp is this computer's, by way of a table aside, since the new stamps may be taken."""
    delta = span[0]
    conn.execute("CREATE TEMP TABLE IF NOT EXISTS shifted (series, t, value, how, good)")
    conn.execute("DELETE FROM temp.shifted")
    conn.execute(
        "INSERT INTO temp.shifted SELECT r.series, r.t, r.value, r.how, value IS NOT NULL AND h.quality = 'good' "
        f"FROM reading r JOIN how h ON h.id = (r.how & {KEY_MASK}) WHERE h.boot = ?2 AND (r.how >> {KEY_BITS}) = 0 "
        "AND r.t BETWEEN ?3 AND ?4 ORDER BY r.series, r.t",
        span,
    )
    touched: set[tuple[int, int]] = set()
    for by in (0, delta):
        touched |= set(conn.execute(f"SELECT DISTINCT series, (t + ?) / {QUARTER} FROM temp.shifted WHERE good", (by,)))
    sound = whole(conn, touched)
    conn.execute("DELETE FROM reading WHERE (series, t) IN (SELECT series, t FROM temp.shifted)")
    moved = 0
    for key, stamp, value, how, good in conn.execute("SELECT series, t, value, how, good FROM temp.shifted"):
        moved += 1
        new = _insert(conn, key, stamp + delta, value, how)
        if good:
            slots = (stamp // QUARTER, new // QUARTER)
            leaves, enters = (None if (key, slot) in sound else slot for slot in slots)
            shift(conn, key, leaves, enters, value)
            touched.add((key, slots[1]))
    remake(conn, sound)
    redo_days(conn, touched, zone)
    conn.execute("DELETE FROM temp.shifted")
    return moved


def _insert(conn: sqlite3.Connection, key: int, stamp: int, value: int | None, how: int) -> int:
    """Put a row at the first free stamp from `stamp` on and return it."""
    while not conn.execute("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", (key, stamp, value, how)).rowcount:
        stamp += 1
    return stamp
