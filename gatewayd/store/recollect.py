"""What a start wants to know of the file, read in one go; also from a file that cannot be written just now."""

import sqlite3
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Quantity
from gatewayd.store import outbox
from gatewayd.store.batch import Calibration
from gatewayd.store.file import open_reader
from gatewayd.store.row import boots, unit
from gatewayd.store.state import alive, last_event
from gatewayd.store.trouble import explain


@dataclass(frozen=True, slots=True)
class Recollection:
    """Hold what the file remembers: the watch's snapshot, when the watcher was last awake, the outbox and the rest.

    `known` is False where the file could not even be read: then nothing is remembered, and what is told from memory
    must not take a number that the file may have given.
    """

    snapshot: str | None = None
    alive: Moment | None = None
    last_event: int = 0
    calibrations: list[Calibration] = field(default_factory=list)
    counters: dict[str, int] = field(default_factory=dict)
    pending: list[Delivery] = field(default_factory=list)
    known: bool = False


def recollect(conn: sqlite3.Connection) -> Recollection:
    """Read it all. A delivery that a crash caught under way waits again, and is marked as perhaps sent."""
    found = snapshot(conn)
    return Recollection(
        snapshot=found[0] if found else None,
        alive=alive(conn),
        last_event=last_event(conn),
        calibrations=calibrations(conn),
        counters=counters(conn),
        pending=[_caught(delivery) for delivery in outbox.pending(conn)],
        known=True,
    )


def glance(path: Path) -> Recollection:
    """Read it from a file that somebody else has locked, or whose disk is full or read-only. Raise StoreTrouble."""
    with closing(open_reader(path, across_threads=True)) as conn:
        try:
            return recollect(conn)
        except sqlite3.Error as error:
            raise explain(error, path) from error


def _caught(delivery: Delivery) -> Delivery:
    if delivery.progress is not Progress.SENDING:
        return delivery
    return replace(delivery, progress=Progress.WAITING, attempts=delivery.attempts + 1, maybe_sent=True)


def snapshot(conn: sqlite3.Connection) -> tuple[str, Moment] | None:
    """Return the watch's last snapshot and when it was taken."""
    row = conn.execute("SELECT text, at, steady, boot FROM snapshot").fetchone()
    return None if row is None else (row[0], Moment(row[1], row[2], boots(conn)[row[3]].name))


def calibrations(conn: sqlite3.Connection) -> list[Calibration]:
    """Return the latest calibration of each sensor and quantity."""
    latest = conn.execute("SELECT sensor, quantity, offset, max(at), who FROM calibration GROUP BY sensor, quantity")
    return [Calibration(sensor, Quantity(q), unit(offset), at, who) for sensor, q, offset, at, who in latest]


def counters(conn: sqlite3.Connection) -> dict[str, int]:
    """Return the last counter of each encrypted sensor."""
    return dict(conn.execute("SELECT sensor, value FROM counter"))
