"""Rehearse a year of five sensors at one reading a minute, against fetching the same rows and nothing else.

A year of freezers that cycle, each warm for two hours once a month, as the daemon would have stored it. A deadline of
the watch costs as much as a reading, so the house has people and everything is told; nothing is written.
"""

import math
import sqlite3
import tempfile
import time
from contextlib import closing
from pathlib import Path

from gatewayd.daemon.rehearsal import rehearse
from gatewayd.model.house import Freezer, House, Person, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.reading import Quantity
from gatewayd.store.book import Book
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from tests.bench.result import Row, alternate, middle, ratio
from tests.bench.rows import BEGIN, ZONE

YEAR = 365 * DAY
PROBES = [f"probe-{number}" for number in range(5)]
MOST = 30
ROUNDS = 3  # a round takes most of a minute

HOUSE = House(
    "heron-lane",
    "Heron Lane",
    zone=ZONE,
    freezers={f"freezer-{n}": Freezer(f"freezer-{n}", f"Freezer {n}", sensors=(p,)) for n, p in enumerate(PROBES)},
    sensors={probe: Sensor(probe, probe, "shed", f"air/{probe}") for probe in PROBES},
    sources={"shed": "Shed broker"},
    people={"ann": Person("ann", "Ann", ("mail",)), "ben": Person("ben", "Ben", ("mail",))},
)


def value(probe: int, stamp: int) -> int:
    """Return thousandths of °C: a cycle of 45 min, and once a month two hours at -8 °C."""
    if stamp % (30 * DAY) // HOUR in (100 + 5 * probe, 101 + 5 * probe):
        return -8_000
    return round(-18_500 + 1_500 * math.sin(stamp / 2.7e6 * math.tau + probe) + stamp // MINUTE * 7 % 41)


def build(path: Path, start: int, end: int) -> None:
    """Write the rows of all probes, a month at a time."""
    with closing(open_writer(path)) as conn:
        conn.execute("PRAGMA synchronous = OFF")  # it is thrown away
        with transaction(conn):
            conn.executemany(
                "INSERT INTO series VALUES (?, ?, ?)",
                [(n, probe, Quantity.TEMPERATURE.value) for n, probe in enumerate(PROBES, 1)],
            )
            conn.execute("INSERT INTO boot VALUES (1, 'bench', ?)", (start - HOUR,))
            conn.execute("INSERT INTO how VALUES (1, 1, 'live', 'good', 0)")
        for month in range(start, end, 30 * DAY):
            stamps = range(month, min(end, month + 30 * DAY), MINUTE)
            rows = ((n + 1, t + n * 1_000, value(n, t), 1) for t in stamps for n in range(len(PROBES)))
            with transaction(conn):
                conn.executemany("INSERT INTO log (series, t, value, how) VALUES (?, ?, ?, ?)", rows)
                move(conn, Book(conn), ZONE)
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def fetch(conn: sqlite3.Connection, start: int, end: int) -> int:
    """Fetch the rows of each probe and do nothing with them; return how many there were."""
    fetched = 0
    for series in range(1, len(PROBES) + 1):
        asked = (series, start, end)
        fetched += len(
            conn.execute("SELECT t, value, how FROM reading WHERE series = ? AND t >= ? AND t < ?", asked).fetchall()
        )
    return fetched


def measure() -> list[Row]:
    """Compare a rehearsal of the year with fetching its rows."""
    end = BEGIN - BEGIN % DAY
    start = end - YEAR
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rehearsal.db"
        build(path, start, end)
        with closing(open_reader(path)) as conn:
            rows, alarms = fetch(conn, start, end), 0

            def played() -> float:
                nonlocal alarms
                begin = time.perf_counter()
                found = rehearse(conn, HOUSE, start, end)
                spent = time.perf_counter() - begin
                if found.rows != rows:
                    raise RuntimeError(f"{found.rows} rows were played of {rows}")
                alarms = sum(event.what.value == "raised" for event in found.events)
                return spent

            def fetched() -> float:
                begin = time.perf_counter()
                fetch(conn, start, end)
                return time.perf_counter() - begin

            found = alternate({"played": played, "fetched": fetched}, ROUNDS)
    figures = (
        f"{middle(found['played'], 1, ' s')} against {middle(found['fetched'], 1, ' s')} for {rows / 1e6:.2f} million "
        f"rows, {middle(found['played'], 1e6 / rows, ' µs')} a row; {alarms} alarms"
    )
    what = "rehearsal of a year of five sensors at one a minute, against fetching its rows"
    return [Row(what, MOST, ratio(found["played"], found["fetched"]), figures)]
