"""File bytes per reading, roll-ups included, against a bare table PRIMARY KEY(sensor, t) WITHOUT ROWID.

A month of ten sensors at one reading a minute, stamps in ms with some jitter, moved every hour as the daemon does.
"""

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from random import Random

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.reading import Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.book import Book
from gatewayd.store.file import open_writer
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from gatewayd.store.write import write
from tests.bench.result import Row
from tests.bench.rows import BEGIN, BOOT, SENSORS, ZONE

DAYS = 30
LIMIT = 1.3


def hour_of(start: int, rng: Random) -> list[Reading]:
    """Return the readings of one hour that begins at `start` (wall ms)."""
    readings = []
    for minute in range(start, start + HOUR, MINUTE):
        for sensor in SENSORS:
            wall = minute + rng.randrange(2000)
            at = Moment(wall, wall - BOOT, "bench")
            value = round(-18.5 + rng.uniform(-1.5, 1.5), 2)
            readings.append(Reading(sensor, Quantity.TEMPERATURE, value, at, wall, wall))
    return readings


def measure() -> list[Row]:
    """Write the same month into both; the file's size depends on no clock, so one round tells."""
    rng = Random(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours, bare = folder / "ours.db", folder / "bare.db"
        with closing(open_writer(ours)) as conn, closing(sqlite3.connect(bare, isolation_level=None)) as other:
            conn.execute("PRAGMA synchronous = OFF")  # only the size is asked for
            other.execute("PRAGMA synchronous = OFF")
            other.execute(
                "CREATE TABLE reading (sensor INTEGER, t INTEGER, value INTEGER, PRIMARY KEY (sensor, t)) WITHOUT ROWID"
            )
            book, count = Book(conn), 0
            for start in range(BEGIN, BEGIN + DAYS * DAY, HOUR):
                hourly = hour_of(start, rng)
                count += len(hourly)
                with transaction(conn):
                    write(conn, book, Batch(Moment(start + HOUR, start + HOUR - BOOT, "bench"), readings=hourly))
                    move(conn, book, ZONE)
                keyed = sorted((SENSORS.index(r.sensor) + 1, r.heard.wall, round(r.value * 1000)) for r in hourly)
                with transaction(other):
                    other.executemany("INSERT INTO reading VALUES (?, ?, ?)", keyed)
            conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        each = [path.stat().st_size / count for path in (ours, bare)]
    return [
        Row(
            "file bytes per reading, roll-ups included",
            LIMIT,
            (each[0] / each[1],),
            f"{each[0]:.1f} B against {each[1]:.1f} B, {count} readings",
        )
    ]
