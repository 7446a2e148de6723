"""The stock of 5 000 packages: files in and out, the list, a search, each against reading the same rows raw.

A file is read against the standard reader alone, stored against that and one plain insert of its rows; what comes out
of the store is held against fetching the rows with nothing made of them. Starts of the command are not in it.
"""

import csv
import io
import random
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path

from gatewayd.cli.larder import Larder, overview
from gatewayd.daemon.stocking import Stocking
from gatewayd.food import exchange
from gatewayd.food.place import Places
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.stock import Box, Package
from gatewayd.store import comma, stock
from gatewayd.store.file import open_writer
from gatewayd.store.transaction import transaction
from tests.bench.result import Row, alternate, middle, ratio
from tests.bench.rows import BEGIN, ZONE

PACKAGES, BOXES, MOST = 5_000, 40, 10.0
FOODS = ("runner beans", "plums", "trout", "venison", "bread", "milk", "gran's pie", "stock", "peas", "ice cream")
FREEZERS = {who: Freezer(who, who.replace("-", " ").title()) for who in ("shed-chest", "porch-chest", "cellar-upright")}
HOUSE = House("heron-lane", "Heron Lane", ZONE, freezers=FREEZERS)
RAW = "SELECT * FROM package WHERE gone IS NULL"


def boxes() -> list[Box]:
    """Return the boxes, spread over the freezers."""
    return [Box(f"box-{n}", f"Box {n}", tuple(FREEZERS)[n % 3], looked=BEGIN) for n in range(BOXES)]


def packages() -> list[Package]:
    """Return packages as a large household has them: few foods, many days, a note here and there."""
    rng = random.Random(7)
    return [
        Package(
            n + 1, f"box-{rng.randrange(BOXES)}", rng.choice(FOODS), float(rng.randint(1, 12)),
            rng.choice((0.25, 0.5, 0.45359237, 1.0, None)), BEGIN - BEGIN % DAY - rng.randrange(700) * DAY + DAY // 2,
            rng.random() < 0.3, rng.choice(("bag", "box", "")), rng.choice(("ann", "ben", "")),
            f"row {n}" if n % 4 == 0 else "", BEGIN - rng.randrange(10**6) * MINUTE,
        )
        for n in range(PACKAGES)
    ]  # fmt: skip


def fill(path: Path) -> None:
    """Write a store with all of them."""
    with closing(open_writer(path)) as conn, transaction(conn):
        writing = stock.pen(conn, BEGIN, "ann")
        for box in boxes():
            writing.new_box(box)
        writing.add_all(packages())


def timed(work: Callable[[], object]) -> float:
    """Return how long it takes (s)."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def taken(raw: bytes, places: Places) -> exchange.Taken:
    """Read a file as the command does."""
    text, _ = comma.decode(raw)
    here = exchange.House(places, date(2026, 11, 25), ZONE, as_new=True)
    found = exchange.take(comma.cut(text, exchange.column), here)
    assert len(found.drafts) == PACKAGES, found.faults[:3]
    return found


def stored(raw: bytes) -> float:
    """Read a file and store it in a new store."""
    with tempfile.TemporaryDirectory() as folder, closing(open_writer(Path(folder) / "ours.db")) as conn:
        begin = time.perf_counter()
        drafts = taken(raw, Places((), FREEZERS)).drafts
        with transaction(conn):
            Stocking(conn, HOUSE, BEGIN, "ann").bring(drafts)
        return time.perf_counter() - begin


def stored_raw(raw: bytes) -> float:
    """Read a file with the standard reader and store its rows as they are."""
    with tempfile.TemporaryDirectory() as folder, closing(sqlite3.connect(Path(folder) / "raw.db")) as conn:
        conn.isolation_level = None
        conn.execute("PRAGMA journal_mode = WAL")
        conn.execute("PRAGMA synchronous = FULL")
        columns = ", ".join(f"c{n}" for n in range(len(exchange.HEADER)))
        conn.execute(f"CREATE TABLE package (id INTEGER PRIMARY KEY, {columns})")
        begin = time.perf_counter()
        rows = list(csv.reader(io.StringIO(raw.decode(), newline="")))
        marks = ", ".join("?" * len(exchange.HEADER))
        with transaction(conn):
            conn.executemany(f"INSERT INTO package ({columns}) VALUES ({marks})", rows[1:])  # noqa: S608 - our own names
        return time.perf_counter() - begin


def measure() -> list[Row]:
    """Compare each of the five with its raw reading."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "house.db"
        fill(path)
        with closing(sqlite3.connect(path)) as conn:
            places = Places(boxes(), FREEZERS)
            raw = "".join(comma.lines(exchange.give(packages(), boxes(), places, ZONE))).encode()

            def larder() -> Larder:
                return Larder(HOUSE, BEGIN, stock.boxes(conn), stock.packages(conn))

            def out() -> str:
                there = larder()
                return "".join(comma.lines(exchange.give(there.packages, there.boxes, there.places, ZONE)))

            def find() -> list[Package]:
                there = larder()
                return list(there.finder().search("plums porch 2025", there.packages))

            cases: dict[str, Callable[[], float]] = {
                "reader": lambda: timed(lambda: list(csv.reader(io.StringIO(raw.decode(), newline="")))),
                "file read": lambda: timed(lambda: taken(raw, places)),
                "reader and insert": lambda: stored_raw(raw),
                "file stored": lambda: stored(raw),
                "fetch": lambda: timed(lambda: conn.execute(RAW).fetchall()),
                "file written": lambda: timed(out),
                "list": lambda: timed(lambda: overview(there := larder(), there.boxes)),
                "search": lambda: timed(find),
                "rows read": lambda: timed(lambda: stock.packages(conn)),
            }
            found = alternate(cases, 7)
    beside = {
        "file read": "reader", "file stored": "reader and insert", "file written": "fetch", "rows read": "fetch",
        "list": "fetch", "search": "fetch",
    }  # fmt: skip
    return [
        Row(
            f"{PACKAGES} packages, {what}, against {raw_way}", MOST,
            ratio(found[what], found[raw_way]),
            f"{middle(found[what], 1e3, ' ms')} against {middle(found[raw_way], 1e3, ' ms')}",
        )
        for what, raw_way in beside.items()
    ]  # fmt: skip
