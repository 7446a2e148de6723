"""The hourly work: move the log, let old rows go, forget old answers and decisions."""

import sqlite3
from datetime import tzinfo

from gatewayd.model.moment import DAY, Moment
from gatewayd.store.book import Book
from gatewayd.store.rollup import add_log, day_span, redo_days
from gatewayd.store.state import alive, set_alive

KEEP_ANSWERS = 7 * DAY  # a command that asks again does so within minutes; a week covers a phone left in a drawer
# Events stay for ever. Why somebody was told or not is asked about the last alarm, or about how last winter went; the
# rows would wear the card with every copy of the file. As long as single readings are kept by default: our choice.
KEEP_DECISIONS = 400 * DAY
# At most so many of the oldest days go in one turn: a short transaction, and a clock that stands in the wrong year for
# an hour costs a week of the oldest raw rows and not all of them.
MOST_DAYS = 7


def move(conn: sqlite3.Connection, book: Book, zone: tzinfo) -> int:
    """Move the log to `reading` and its good rows into the roll-ups; return how many rows were moved."""
    awake = alive(conn)
    touched = add_log(conn)
    moved = conn.execute(
        "INSERT INTO reading SELECT series, t, value, how FROM log WHERE series > 0 ORDER BY series, t"
    ).rowcount
    conn.execute("DELETE FROM log")
    if awake is not None:
        set_alive(conn, awake)
    redo_days(conn, touched, zone)
    book.moved()
    return moved


def retain(conn: sqlite3.Connection, now: Moment, keep_raw: int, zone: tzinfo) -> int:
    """Delete raw rows older than `keep_raw` ms (0 keeps all), whole local days only; return how many.

    The roll-ups stay as they are.
    """
    conn.execute("DELETE FROM answer WHERE at < ?", (now.wall - KEEP_ANSWERS,))
    _forget_decisions(conn, now)
    if not keep_raw:
        return 0
    keys = [row[0] for row in conn.execute("SELECT id FROM series")]
    firsts = [conn.execute("SELECT min(t) FROM reading WHERE series = ?", (key,)).fetchone()[0] for key in keys]
    firsts.append(conn.execute("SELECT min(last) FROM late").fetchone()[0])
    oldest = min((first for first in firsts if first is not None), default=None)
    if oldest is None:
        return 0
    cut = min(day_span(now.wall - keep_raw, zone)[0], day_span(oldest, zone)[0] + MOST_DAYS * DAY)
    cut = day_span(cut, zone)[0]
    gone = conn.execute("DELETE FROM late WHERE last < ?", (cut,)).rowcount
    for key in keys:
        gone += conn.execute("DELETE FROM reading WHERE series = ? AND t < ?", (key, cut)).rowcount
    return gone


def _forget_decisions(conn: sqlite3.Connection, now: Moment) -> None:
    oldest = conn.execute("SELECT min(at) FROM decision").fetchone()[0]
    if oldest is not None:
        cut = min(now.wall - KEEP_DECISIONS, oldest + MOST_DAYS * DAY)
        conn.execute("DELETE FROM decision WHERE at < ?", (cut,))
