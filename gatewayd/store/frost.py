"""Write and read the frost log: the table `frost`. Nothing of it is changed; a slip is followed by another line."""

import sqlite3

from gatewayd.store.row import clean
from gatewayd.upkeep.frost import Thickness


def add(conn: sqlite3.Connection, row: Thickness) -> None:
    """Write one line, inside the caller's transaction."""
    conn.execute(
        "INSERT INTO frost (freezer, at, mm, who, note) VALUES (?, ?, ?, ?, ?)",
        (clean(row.freezer), row.at, row.mm, clean(row.who), clean(row.note)),
    )


def rows(conn: sqlite3.Connection, freezer: str | None = None) -> list[Thickness]:
    """Return the log, the oldest first; of one freezer where it is given. An older gatewayd's file has none."""
    if conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'frost'").fetchone() is None:
        return []
    found = conn.execute(
        "SELECT freezer, at, mm, who, note FROM frost WHERE (?1 IS NULL OR freezer = ?1) ORDER BY at, id", (freezer,)
    )
    return [Thickness(*row) for row in found]
