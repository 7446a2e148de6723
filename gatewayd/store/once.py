"""Carry an order out once, whatever happens to its answer on the way."""

import sqlite3
from collections.abc import Callable

from gatewayd.model.moment import Moment
from gatewayd.store.book import Book
from gatewayd.store.row import clean


def answer(conn: sqlite3.Connection, key: str) -> str | None:
    """Return the answer that an order with this key has had, None if it is new."""
    row = conn.execute("SELECT text FROM answer WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row[0])


def once(
    conn: sqlite3.Connection, book: Book, work: Callable[[sqlite3.Connection], str], now: Moment, key: str
) -> tuple[str, bool]:
    """Do `work` inside the caller's transaction and keep its answer under `key`, unless that key has one already.

    Return (answer, whether the work was done now). An order without a key is always carried out.
    """
    before = answer(conn, key) if key else None
    if before is not None:
        return before, False
    text = work(conn)
    if key:
        row = (clean(key), now.wall, book.boot(now), clean(text))
        conn.execute("INSERT INTO answer VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", row)
    return text, True
