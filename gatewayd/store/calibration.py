"""Write and read the checks of sensors outside of the watch's commits: the table `calibration`."""

import sqlite3

from gatewayd.model.reading import Quantity
from gatewayd.store.batch import Calibration
from gatewayd.store.row import clean, thousandths, unit


def put(conn: sqlite3.Connection, found: Calibration, boot: str) -> None:
    """Write what a check found, inside the caller's transaction. `boot` has written something before: it is awake."""
    conn.execute(
        "INSERT INTO calibration SELECT ?, ?, ?, ?, ?, id FROM boot WHERE name = ? ON CONFLICT (sensor, quantity, at) "
        "DO UPDATE SET offset = excluded.offset, who = excluded.who",
        (found.sensor, found.quantity.value, found.since, thousandths(found.offset) or 0, clean(found.who), boot),
    )


def offsets(conn: sqlite3.Connection, sensor: str | None = None) -> list[Calibration]:
    """Return every offset that was found, of one sensor or of all, the oldest first."""
    rows = conn.execute(
        "SELECT sensor, quantity, offset, at, who FROM calibration WHERE ?1 IS NULL OR sensor = ?1 ORDER BY at, sensor",
        (sensor,),
    )
    return [Calibration(who, Quantity(quantity), unit(offset), at, by) for who, quantity, offset, at, by in rows]


def began(conn: sqlite3.Connection) -> int | None:
    """Return since when (wall ms) this house is known, by its oldest settings; None for a file without any."""
    oldest = conn.execute("SELECT min(at) FROM settings").fetchone()[0]
    return None if oldest is None else int(oldest)
