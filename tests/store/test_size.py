"""How much room a reading takes: cards are small, and wear."""

import sqlite3
from contextlib import closing
from pathlib import Path
from random import Random

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.store.book import Book
from gatewayd.store.file import open_writer
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from gatewayd.store.write import write
from tests.store.make import LONDON, T0, batch, reading

SENSORS = [f"probe-{n}" for n in range(5)]
MONTH = 30 * DAY


@pytest.mark.slow  # 216 000 readings
def test_bytes_per_reading(path: Path, tmp_path: Path) -> None:
    """A month of five sensors at one a minute takes at most 1.3 times a bare table of them, roll-ups included."""
    rng = Random(1)
    bare = tmp_path / "bare.db"
    with closing(open_writer(path)) as conn, closing(sqlite3.connect(bare, isolation_level=None)) as other:
        other.execute(
            "CREATE TABLE reading (series INTEGER NOT NULL, t INTEGER NOT NULL, value INTEGER, "
            "PRIMARY KEY (series, t)) WITHOUT ROWID"
        )
        book = Book(conn)
        for hour in range(T0, T0 + MONTH, HOUR):
            hourly = [
                reading(wall + rng.randrange(2000), round(-18.5 + rng.uniform(-1.5, 1.5), 2), sensor)
                for wall in range(hour, hour + HOUR, MINUTE)
                for sensor in SENSORS
            ]
            with transaction(conn):
                write(conn, book, batch(*hourly, wall=hour + HOUR))
                move(conn, book, LONDON)
            with transaction(other):
                keyed = sorted((SENSORS.index(r.sensor) + 1, r.measured_to, round(r.value * 1000)) for r in hourly)
                other.executemany("INSERT INTO reading VALUES (?, ?, ?)", keyed)
        assert conn.execute("SELECT count(*) FROM reading").fetchone() == (216_000,)

    ratio = path.stat().st_size / bare.stat().st_size
    assert ratio <= 1.3, f"{path.stat().st_size / 216_000:.2f} bytes per reading, {ratio:.3f} of a bare table"
