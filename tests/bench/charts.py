"""Chart queries: 30 days from raw rows, a year from quarters, five years from days, as JSON bytes.

Each against fetching the raw rows and nothing else: those of the 30 days, and those of the year. A file with one sensor
at one reading a minute for a year, a quarter's reading before that, and the roll-ups as the hourly move makes them.
"""

import json
import math
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.reading import Quantity
from gatewayd.store.book import Book
from gatewayd.store.chart import POINTS, chart
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.rollup import QUARTER
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from tests.bench.result import Row, alternate, middle, ratio
from tests.bench.rows import BEGIN, ZONE

YEAR = 365 * DAY
SENSOR, TEMPERATURE = "probe", Quantity.TEMPERATURE


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

    def chart(self, span: int) -> bytes:
        """Make the chart that the pages would show of a span."""
        found = chart(self._conn, SENSOR, TEMPERATURE, self._end - span, self._end, POINTS)
        return json.dumps([[b.start, b.low, b.high, b.mean] for b in found]).encode()


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
                "month": _timed(charts.chart, month),
                "year": _timed(charts.chart, YEAR),
                "five years": _timed(charts.chart, 5 * YEAR),
            }
            for case in cases.values():
                case()  # into the cache: all are measured warm
            found = alternate(cases)
    against = {"month": "month fetched"}
    wanted = (
        ("month", 1.5, "30-day chart, against fetching its rows"),
        ("year", 0.15, "1-year chart (15-min roll-up), against fetching the year's rows"),
        ("five years", 0.05, "5-year chart (days), against fetching one year's rows"),
    )
    rows = []
    for case, limit, words in wanted:
        base = found[against.get(case, "year fetched")]
        figures = f"{middle(found[case], 1e3, ' ms')} against {middle(base, 1e3, ' ms')}"
        rows.append(Row(words, limit, ratio(found[case], base), figures))
    return rows
