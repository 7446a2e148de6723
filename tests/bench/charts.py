"""Chart queries: 30 days from raw rows, a year from quarters, five years from days, as JSON bytes.

Each against fetching the raw rows and nothing else: those of the 30 days, and those of the year. A file with one sensor
at one reading a minute for a year, a quarter's reading before that, and the roll-ups as the hourly move makes them.

The daemon has no query that makes a chart of raw rows yet. What it has (`read.readings`, `read.rollups`) is measured
with the buckets made of it here; beside it, one statement that a chart could be made by (`BUCKETS`).
"""

import json
import math
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.reading import Quantity
from gatewayd.store import read
from gatewayd.store.book import Book
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.rollup import QUARTER
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from tests.bench.result import Row, alternate, middle, ratio
from tests.bench.rows import BEGIN, ZONE

POINTS = 800  # a screen's width; more cannot be told apart
YEAR = 365 * DAY
SENSOR, TEMPERATURE = "probe", Quantity.TEMPERATURE
# What a chart needs in one statement: the quarters of the window in at most 800 buckets, inside SQLite.
BUCKETS = {
    "raw": "SELECT min(t), min(value), max(value), sum(value) * 1.0 / count(*) FROM reading WHERE series = 1 "
    "AND t >= ?1 AND t < ?2 AND value IS NOT NULL GROUP BY (t - ?1) / ?3",
    "quarter": "SELECT min(slot) * ?4, min(low), max(high), sum(total) * 1.0 / sum(n) FROM quarter WHERE series = 1 "
    "AND slot >= ?1 / ?4 AND slot < ?2 / ?4 GROUP BY (slot * ?4 - ?1) / ?3",
}


def build(path: Path) -> int:
    """Write the file and return its end (wall ms)."""
    end = BEGIN - BEGIN % DAY
    with closing(open_writer(path)) as conn:
        conn.execute("PRAGMA synchronous = OFF")  # it is thrown away
        with transaction(conn):
            conn.execute("INSERT INTO series VALUES (1, ?, ?)", (SENSOR, TEMPERATURE.value))
            conn.execute("INSERT INTO boot VALUES (1, 'bench', 0)")
            conn.execute("INSERT INTO how VALUES (1, 1, 'live', 'good', 0)")
        for start, stop, step in ((end - 5 * YEAR, end - YEAR, QUARTER), (end - YEAR, end, MINUTE)):
            for some in range(start, stop, 30 * DAY):
                _month(conn, some, min(stop, some + 30 * DAY), step)
        with transaction(conn):
            conn.execute("DELETE FROM reading WHERE t < ?", (end - YEAR,))
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return end


def _month(conn: sqlite3.Connection, start: int, stop: int, step: int) -> None:
    rows = ((1, t, round(-18_500 + 1_500 * math.sin(t / 2.7e6) + t % 41), 1) for t in range(start, stop, step))
    with transaction(conn):
        book = Book(conn)
        conn.executemany("INSERT INTO log (series, t, value, how) VALUES (?, ?, ?, ?)", rows)
        move(conn, book, ZONE)


class Charts:
    """Make the charts of one file; each returns JSON bytes."""

    def __init__(self, conn: sqlite3.Connection, end: int) -> None:
        """Take a reading connection and the end of the windows (wall ms)."""
        self._conn, self._end = conn, end

    def fetch(self, span: int) -> bytes:
        """Fetch the raw rows of a span and do nothing with them: the limit to compare with."""
        asked = (self._end - span, self._end)
        self._conn.execute("SELECT t, value FROM reading WHERE series = 1 AND t >= ? AND t < ?", asked).fetchall()
        return b""

    def readings(self, span: int) -> bytes:
        """Put what `read.readings` yields into buckets, in Python."""
        since, step = self._end - span, max(1, span // POINTS)
        buckets: dict[int, list[float]] = {}
        for one in read.readings(self._conn, since, self._end, (SENSOR,)):
            buckets.setdefault((one.measured_to - since) // step, []).append(one.value)
        return json.dumps([
            [since + key * step, min(v), max(v), sum(v) / len(v)] for key, v in buckets.items()
        ]).encode()  # fmt: skip

    def rollups(self, span: int, tier: read.Tier) -> bytes:
        """Put what `read.rollups` yields into buckets of at most 800, in Python."""
        found = read.rollups(self._conn, tier, SENSOR, TEMPERATURE, self._end - span, self._end)
        return json.dumps(list(self._joined(found, span))).encode()

    def _joined(self, found: Iterator[read.Rollup], span: int) -> Iterator[list[float]]:
        since, step = self._end - span, max(1, span // POINTS)
        bucket, n, point, total = -1, 0, [0.0, 0.0, 0.0, 0.0], 0.0
        for one in found:
            if (one.start - since) // step != bucket:
                if n:
                    yield [*point[:3], total / n]
                bucket, n, total, point = (one.start - since) // step, 0, 0.0, [one.start, one.low, one.high, 0.0]
            n, total = n + one.n, total + one.mean * one.n
            point[1], point[2] = min(point[1], one.low), max(point[2], one.high)
        if n:
            yield [*point[:3], total / n]

    def buckets(self, span: int, table: str) -> bytes:
        """Let SQLite make the buckets."""
        asked = (self._end - span, self._end, max(1, span // POINTS), QUARTER)
        found = self._conn.execute(BUCKETS[table], asked if table == "quarter" else asked[:3])
        return json.dumps([[t, low / 1000, high / 1000, mean / 1000] for t, low, high, mean in found]).encode()


def _timed(case: Callable[..., bytes], *args: object) -> Callable[[], float]:
    def run() -> float:
        begin = time.perf_counter()
        case(*args)
        return time.perf_counter() - begin

    return run


def measure() -> list[Row]:
    """Compare three windows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "charts.db"
        end = build(path)
        with closing(open_reader(path)) as conn:
            charts, month = Charts(conn, end), 30 * DAY
            cases = {
                "month fetched": _timed(charts.fetch, month),
                "year fetched": _timed(charts.fetch, YEAR),
                "month of readings": _timed(charts.readings, month),
                "month in SQL": _timed(charts.buckets, month, "raw"),
                "year of quarters": _timed(charts.rollups, YEAR, read.Tier.QUARTER),
                "year in SQL": _timed(charts.buckets, YEAR, "quarter"),
                "five years of days": _timed(charts.rollups, 5 * YEAR, read.Tier.DAY),
            }
            for case in cases.values():
                case()  # into the cache: all are measured warm
            found = alternate(cases)
    against = {"month": "month fetched"}
    wanted = (
        ("month of readings", 1.5, "30-day chart, buckets in Python over `read.readings`"),
        ("month in SQL", None, "30-day chart, buckets by SQL (not in the daemon yet)"),
        ("year of quarters", 0.15, "1-year chart, buckets in Python over `read.rollups` (15 min)"),
        ("year in SQL", None, "1-year chart, buckets by SQL (not in the daemon yet)"),
        ("five years of days", 0.05, "5-year chart from `read.rollups` (days), against the 1-year fetch"),
    )
    rows = []
    for case, limit, words in wanted:
        base = found[against.get(case.split()[0], "year fetched")]
        figures = f"{middle(found[case], 1e3, ' ms')} against {middle(base, 1e3, ' ms')}"
        rows.append(Row(words, limit, ratio(found[case], base), figures))
    return rows
