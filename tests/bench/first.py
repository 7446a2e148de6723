"""The use-first list of 5 000 packages in three freezers watched for two years, against fetching the same rows.

The same rows: the packages, their boxes, and the quarters of an hour of every freezer since its oldest package.
"""

import random
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from gatewayd.food.first import first
from gatewayd.food.table import FOODS
from gatewayd.model.moment import DAY
from gatewayd.model.reading import Quantity
from gatewayd.model.stock import Box, Package
from gatewayd.store.exposure import begins, courses, kept
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.rollup import QUARTER
from gatewayd.store.stock import pen
from gatewayd.store.transaction import transaction
from tests.bench.result import Row, alternate, middle, ratio
from tests.bench.rows import BEGIN, ZONE

PACKAGES = 5_000
YEARS = 2 * 365 * DAY
FREEZERS = ("shed-chest", "cellar-upright", "porch-chest")
MOST = 10.0  # times the fetching (our choice)


def build(path: Path) -> int:
    """Write the file and return its end (wall ms)."""
    seeded, end = random.Random(7), BEGIN - BEGIN % DAY
    with closing(open_writer(path)) as conn:
        conn.execute("PRAGMA synchronous = OFF")  # it is thrown away
        with transaction(conn):
            for key, _ in enumerate(FREEZERS, 1):
                conn.execute("INSERT INTO series VALUES (?, ?, ?)", (key, f"probe-{key}", Quantity.TEMPERATURE.value))
                slots = range((end - YEARS) // QUARTER, end // QUARTER)
                conn.executemany(
                    "INSERT INTO quarter VALUES (?, ?, 15, ?, ?, ?)",
                    (
                        (key, slot, (mean := seeded.randrange(-20_500, -16_500)) - 300, mean + 300, 15 * mean)
                        for slot in slots
                    ),
                )
            order = pen(conn, end, "ann")
            for freezer in FREEZERS:
                order.new_box(Box(freezer, freezer, freezer))
            names = [name for food in FOODS for name in (food.name, *food.also)]
            for _ in range(PACKAGES):
                frozen = end - seeded.randrange(YEARS // DAY - 8) * DAY
                order.add(Package(0, seeded.choice(FREEZERS), seeded.choice(names), 2, 0.4, frozen, since=frozen))
    return end


def fetch(conn: sqlite3.Connection, end: int) -> int:
    """Fetch the same rows and do nothing with them: the limit to compare with."""
    found = len(conn.execute("SELECT * FROM package").fetchall()) + len(conn.execute("SELECT * FROM box").fetchall())
    for key, _ in enumerate(FREEZERS, 1):
        asked = (key, (end - YEARS) // QUARTER)
        found += len(conn.execute("SELECT * FROM quarter WHERE series = ? AND slot >= ?", asked).fetchall())
    return found


def ours(conn: sqlite3.Connection, end: int) -> int:
    """Make the list."""
    those = kept(conn)
    sensors = {freezer: (f"probe-{key}",) for key, freezer in enumerate(FREEZERS, 1)}
    return len(first(those, courses(conn, sensors, begins(those), end), end, ZONE))


def _timed(case: Callable[[sqlite3.Connection, int], int], conn: sqlite3.Connection, end: int) -> Callable[[], float]:
    def run() -> float:
        begin = time.perf_counter()
        case(conn, end)
        return time.perf_counter() - begin

    return run


def measure() -> list[Row]:
    """Compare the list with its rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "first.db"
        end = build(path)
        with closing(open_reader(path)) as conn:
            cases = {"ours": _timed(ours, conn, end), "rows": _timed(fetch, conn, end)}
            for case in cases.values():
                case()  # into the cache: both are measured warm
            found = alternate(cases)
    figures = f"{middle(found['ours'], 1e3, ' ms')} against {middle(found['rows'], 1e3, ' ms')}"
    words = f"use-first of {PACKAGES} packages, 2 years, against fetching the same rows"
    return [Row(words, MOST, ratio(found["ours"], found["rows"]), figures)]
