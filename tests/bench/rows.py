"""Stored rows per second, and the CPU of a row: `Store.commit` against raw sqlite3.

Both begin with the same readings, append them to a log table of the same shape, in WAL mode with synchronous=FULL, in
batches of 10 and of 1 000, and move every 10 000 rows into a keyed table. The store's figure holds what it does
besides: the thread, a row with each commit that says the watcher was awake, a free stamp for each row, the roll-ups.
"""

import asyncio
import sqlite3
import tempfile
import time
from contextlib import closing
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from gatewayd.model.moment import SECOND, Moment
from gatewayd.model.reading import Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.store import LOG_MOST, Store
from tests.bench.result import Row, alternate, middle, ratio

ZONE = ZoneInfo("Europe/London")
BEGIN = 1_795_600_800_000  # wall ms, on a quarter of an hour
BOOT = BEGIN - 3_600_000
SENSORS = [f"probe-{number}" for number in range(10)]
SIZES = {10: 1_500, 1_000: 50}  # rows in a batch -> batches
LEAST_RATE, MOST_CPU = 0.6, 1.5


def reading(number: int, every: int = SECOND) -> Reading:
    """Return the reading with a number: the sensors report in turn, one each `every` ms."""
    at = Moment(BEGIN + number * every, BEGIN + number * every - BOOT, "bench")
    value = -18.5 + number % 13 / 10
    return Reading(SENSORS[number % len(SENSORS)], Quantity.TEMPERATURE, value, at, at.wall, at.wall)


class Cost:
    """Measure the seconds and the CPU seconds of what happens inside."""

    def __enter__(self) -> "Cost":
        """Begin."""
        self._wall, self._cpu = time.perf_counter(), time.process_time()
        return self

    def __exit__(self, *exc: object) -> None:
        """End."""
        self.cpu, self.wall = time.process_time() - self._cpu, time.perf_counter() - self._wall


def ours(size: int, folder: Path) -> Cost:
    """Commit the batches of one size to a new store."""

    async def run() -> Cost:
        readings = [reading(number) for number in range(size * (SIZES[size] + 1))]
        batches = [
            Batch(readings[start + size - 1].heard, readings=readings[start : start + size])
            for start in range(0, len(readings), size)
        ]
        store = await Store.open(folder / "ours.db", ZONE)
        try:
            await store.commit(batches[0])  # the first makes the keys
            with Cost() as cost:
                for batch in batches[1:]:
                    await store.commit(batch)
        finally:
            await store.close()
        return cost

    return asyncio.run(run())


def raw(size: int, folder: Path) -> Cost:
    """Insert the same rows by executemany, one transaction a batch."""
    with closing(sqlite3.connect(folder / "raw.db", isolation_level=None)) as conn:
        conn.execute("PRAGMA journal_mode = WAL")
        conn.execute("PRAGMA synchronous = FULL")
        conn.execute(
            "CREATE TABLE log (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, t INTEGER NOT NULL, value INTEGER, "
            "how INTEGER NOT NULL)"
        )
        conn.execute(
            "CREATE TABLE reading (series INTEGER NOT NULL, t INTEGER NOT NULL, value INTEGER, how INTEGER NOT NULL, "
            "PRIMARY KEY (series, t)) WITHOUT ROWID"
        )
        readings = [reading(number) for number in range(size * SIZES[size])]
        keys = {sensor: key for key, sensor in enumerate(SENSORS, 1)}
        with Cost() as cost:
            for start in range(0, len(readings), size):
                some = readings[start : start + size]
                rows = [(keys[r.sensor], r.measured_to, round(r.value * 1000), 1) for r in some]
                conn.execute("BEGIN IMMEDIATE")
                conn.executemany("INSERT INTO log (series, t, value, how) VALUES (?, ?, ?, ?)", rows)
                conn.execute("COMMIT")
                if (start + size) % LOG_MOST == 0:
                    conn.execute("BEGIN IMMEDIATE")
                    conn.execute("INSERT INTO reading SELECT series, t, value, how FROM log ORDER BY series, t")
                    conn.execute("DELETE FROM log")
                    conn.execute("COMMIT")
    return cost


def _fresh(case: partial[Cost], costs: list[Cost]) -> float:
    with tempfile.TemporaryDirectory() as folder:
        costs.append(case(folder=Path(folder)))
    return costs[-1].wall


def measure() -> list[Row]:
    """Compare by rate and by CPU, for small and large batches."""
    found: list[Row] = []
    for size, batches in SIZES.items():
        costs: dict[str, list[Cost]] = {"ours": [], "raw": []}
        alternate(
            {
                "ours": partial(_fresh, partial(ours, size), costs["ours"]),
                "raw": partial(_fresh, partial(raw, size), costs["raw"]),
            }
        )
        rows = size * batches
        rate = {who: [rows / cost.wall for cost in those] for who, those in costs.items()}
        cpu = {who: [cost.cpu / rows for cost in those] for who, those in costs.items()}
        found += [
            Row(
                f"stored rows per second, batches of {size}",
                LEAST_RATE if size > 10 else None,
                ratio(rate["ours"], rate["raw"]),
                f"{middle(rate['ours'], 1e-3, ' k/s')} against {middle(rate['raw'], 1e-3, ' k/s')}",
                least=True,
            ),
            Row(
                f"CPU per stored row, batches of {size}",
                MOST_CPU if size == 10 else None,
                ratio(cpu["ours"], cpu["raw"]),
                f"{middle(cpu['ours'], 1e6, ' µs')} against {middle(cpu['raw'], 1e6, ' µs')}",
            ),
        ]
    return found
