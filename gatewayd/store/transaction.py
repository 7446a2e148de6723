"""All or nothing."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def transaction(conn: sqlite3.Connection) -> Iterator[None]:
    """Do what is inside in one transaction: it is durable when this returns, or none of it was done.

    BEGIN IMMEDIATE takes the writer's lock at once, so a busy file is told before any work, not in the middle.
    """
    conn.execute("BEGIN IMMEDIATE")
    try:
        yield
        conn.execute("COMMIT")
    except BaseException:
        if conn.in_transaction:  # SQLite itself has rolled back after some errors (full, I/O, out of memory)
            conn.execute("ROLLBACK")
        raise
