"""The pages: what *Now* and a year's curve cost beyond their queries, and what an open page costs a daemon at rest.

On a store with a year of five sensors at one reading a minute, a page is loaded over loopback by somebody who has
signed in, against the queries it needs, run again with nothing made of their rows. Those of a curve are the very ones
that the page made. *Now* shows what the watch has in memory and asks the store for next to nothing, so beside its own
queries stand those that the same figures would come from: the days of each freezer that the watch reads after a start.
The daemon at rest has one page open that is kept up to date; its memory stands against a bare asyncio process, its
wake-ups against a tick a second.
"""

import asyncio
import contextlib
import math
import socket
import sqlite3
import statistics
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import aiohttp

from gatewayd.daemon import visitors
from gatewayd.model.given import Rewired
from gatewayd.model.house import Freezer, House, Kind, Sensor
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.reading import Heard, Quantity
from gatewayd.store import read
from gatewayd.store.book import Book
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.tidy import move
from gatewayd.store.transaction import transaction
from gatewayd.thermal.course import MINUTES
from gatewayd.web.lock import Lock
from tests.bench.house import WINDOW, Daemon
from tests.bench.idle import LIMIT, STRETCH, TICKING
from tests.bench.memory import BEFORE_LIMIT, bare
from tests.bench.process import private_of_all, python, quiet, wakeups
from tests.bench.result import ROUNDS, Row, middle, ratio
from tests.bench.rows import ZONE
from tests.days.player import BROKER, house
from tests.fakes.clock import START
from tests.rigs.broker import Mosquitto
from tests.web.open_house import Opened, open_house
from tests.web.phone import Phone

YEAR = 365 * DAY
PROBES = {"shed-chest": 2, "cellar-upright": 2, "porch-chest": 1}
QUERIES_LIMIT = 5.0  # times
LOADS = 7  # of a page in a round, of which the median counts
PASSWORD = "plums and beans"
# what is loaded, the limit, and whether the queries for what the watch has in memory count
PAGES = (
    ("/", None, False, "*Now* over a year of five sensors, against the few queries it makes"),
    ("/", QUERIES_LIMIT, True, "*Now* over a year of five sensors, against the queries for what it shows"),
    (
        "/freezer/shed-chest/curve.json?span=year", QUERIES_LIMIT, False,
        "a year's curve as JSON, against its queries",
    ),
    (
        "/freezer/shed-chest?span=year", QUERIES_LIMIT, False,
        "the page of a freezer over a year, against its queries",
    ),
)  # fmt: skip


def build(path: Path, end: int) -> None:
    """Write a store with a year of five sensors up to `end` (wall ms)."""
    sensors = [f"{freezer}-{n}" for freezer, many in PROBES.items() for n in range(many)]
    with closing(open_writer(path)) as conn:
        conn.execute("PRAGMA synchronous = OFF")  # it is thrown away
        with transaction(conn):
            conn.execute("INSERT INTO boot VALUES (1, 'bench', 0)")
            conn.execute("INSERT INTO how VALUES (1, 1, 'live', 'good', 0)")
            for key, sensor in enumerate(sensors, 1):
                conn.execute("INSERT INTO series VALUES (?, ?, ?)", (key, sensor, Quantity.TEMPERATURE.value))
        for begin in range(end - YEAR, end, 30 * DAY):
            stop = min(end, begin + 30 * DAY)
            with transaction(conn):
                for key, _ in enumerate(sensors, 1):
                    rows = (
                        (key, t, round(-18_500 + 1_500 * math.sin(t / 2.7e6) + t % 41), 1)
                        for t in range(begin, stop, MINUTE)
                    )
                    conn.executemany("INSERT INTO log (series, t, value, how) VALUES (?, ?, ?, ?)", rows)
                move(conn, Book(conn), ZONE)
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def five_sensors() -> House:
    """Return the house of the store."""
    freezers = {
        who: Freezer(
            who, who.replace("-", " ").capitalize(), Kind.CHEST, sensors=tuple(f"{who}-{n}" for n in range(many))
        )
        for who, many in PROBES.items()
    }
    sensors = {
        sensor: Sensor(sensor, f"{freezer.name}'s probe {sensor[-1]}", BROKER, sensor)
        for freezer in freezers.values()
        for sensor in freezer.sensors
    }
    return replace(house(1), freezers=freezers, sensors=sensors)


class Asked:
    """Write down the queries that are made of the store while it is held."""

    def __init__(self, opened: Opened) -> None:
        """Take the house whose store it is."""
        self._opened = opened
        self.queries: list[str] = []

    def _note(self, query: str) -> None:
        if query.lstrip().upper().startswith(("SELECT", "WITH")):
            self.queries.append(query)

    async def __aenter__(self) -> "Asked":
        """Listen at the writer's connection and at every reader's."""
        self._before = visitors.open_reader

        def reader(path: Path, *, across_threads: bool = False) -> sqlite3.Connection:
            conn = self._before(path, across_threads=across_threads)
            conn.set_trace_callback(self._note)
            return conn

        visitors.open_reader = reader
        await self._opened.gateway.store.ask(lambda conn: conn.set_trace_callback(self._note))
        return self

    async def __aexit__(self, *exc: object) -> None:
        """Listen no more."""
        visitors.open_reader = self._before
        await self._opened.gateway.store.ask(lambda conn: conn.set_trace_callback(None))


async def asked_for(opened: Opened, path: str) -> list[str]:
    """Load a page and return its queries."""
    page = await opened.phone.get(path)  # compiles its template
    if page.status != 200:
        raise RuntimeError(f"{path} answers {page.status}")
    async with Asked(opened) as asked:
        await opened.phone.get(path)
    return asked.queries


def remembered(store: Path, house: House, now: int) -> list[str]:
    """Return the queries with which the watch would have to read what it has in memory."""
    queries: list[str] = []
    with closing(open_reader(store)) as conn:
        conn.set_trace_callback(queries.append)
        for freezer in house.freezers.values():
            for sensor in freezer.sensors:
                read.minutes(conn, sensor, now - MINUTES * MINUTE, now)
    return queries


async def cost(opened: Opened, path: str, queries: list[str], store: Path) -> tuple[list[float], list[float]]:
    """Return the seconds of each round for a page, and for queries alone."""
    pages, raw = [], []
    with closing(open_reader(store)) as conn:
        for _ in range(ROUNDS):
            taken: dict[str, list[float]] = {"page": [], "raw": []}
            for _ in range(LOADS):
                begin = time.perf_counter()
                await opened.phone.get(path)
                taken["page"].append(time.perf_counter() - begin)
                begin = time.perf_counter()
                for query in queries:
                    conn.execute(query).fetchall()
                taken["raw"].append(time.perf_counter() - begin)
            pages.append(statistics.median(taken["page"]))
            raw.append(statistics.median(taken["raw"]))
    return pages, raw


async def year() -> list[Row]:
    """Compare the front page and a year's curve with their queries."""
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = folder / "house.db"
        build(store, START)
        async with open_house(folder) as opened:
            home = opened.home
            opened.gateway.give(Rewired(five_sensors()))
            for sensor in home.house.sensors:
                opened.gateway.hear(Heard(BROKER, sensor, b"-18.5", opened.clock.now()), None)
            past = remembered(store, home.house, START)
            for path, limit, memory, words in PAGES:
                queries = [*await asked_for(opened, path), *(past if memory else ())]
                ours, raw = await cost(opened, path, queries, store)
                figures = f"{middle(ours, 1e3, ' ms')} against {middle(raw, 1e3, ' ms')} of {len(queries)} queries"
                rows.append(Row(words, limit, ratio(ours, raw), figures))
    return rows


def locked(state: Path) -> None:
    """Set the password before the daemon starts."""
    state.mkdir(parents=True, exist_ok=True, mode=0o700)
    Lock(state).set(PASSWORD)


@contextlib.asynccontextmanager
async def watched(folder: Path, broker: Mosquitto) -> AsyncIterator[Daemon]:
    """Run the daemon with one page open that is kept up to date."""
    daemon = Daemon(folder, broker)
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with daemon.gateway.settings.open("a") as file:
        file.write(f"pages: {{listen: 127.0.0.1:{port}}}\n")
    locked(Path(daemon.gateway.env["STATE_DIRECTORY"]))
    with daemon:
        async with Phone(f"http://127.0.0.1:{port}") as phone:
            page = await phone.sign_in()
            if page.status != 200:
                raise RuntimeError(f"the front page answers {page.status}")
            async with phone.session.get(f"{phone.begins}/live", timeout=aiohttp.ClientTimeout(None)) as stream:
                heard = asyncio.create_task(stream.read(), name="hear what changes")
                yield daemon
                if heard.done():
                    raise RuntimeError("the open page was hung up on")
                heard.cancel()


async def rest() -> list[Row]:
    """Compare a daemon with an open page with a bare process, and with one that ticks."""
    memory: dict[str, list[float]] = {"ours": [], "bare": []}
    woken: dict[int, list[float]] = {}
    with (
        tempfile.TemporaryDirectory() as folder,
        Mosquitto(extra=WINDOW) as broker,
    ):
        ticking = await asyncio.create_subprocess_exec(*python("-c", TICKING), stdout=asyncio.subprocess.PIPE)
        assert ticking.stdout is not None
        await ticking.stdout.readline()
        try:
            async with watched(Path(folder), broker) as daemon:
                await asyncio.to_thread(quiet, daemon.pid, still=2.0)
                woken = {daemon.pid: [], ticking.pid: []}
                for _ in range(ROUNDS):
                    before = {pid: wakeups(pid) for pid in woken}
                    await asyncio.sleep(STRETCH)
                    for pid, wakes in before.items():
                        woken[pid].append(wakeups(pid) - wakes)
                    memory["ours"].append(private_of_all(daemon.pid))
                    memory["bare"].append(await asyncio.to_thread(bare))
        finally:
            ticking.kill()
            await ticking.wait()
    ours, theirs = woken.values()
    minute = 60 / STRETCH
    return [
        Row(
            "private memory with a page open",
            BEFORE_LIMIT,
            ratio(memory["ours"], memory["bare"]),
            f"{middle(memory['ours'], 2**-20, ' MiB')} against {middle(memory['bare'], 2**-20, ' MiB')}",
        ),
        Row(
            "wake-ups with a quiet broker and a page open",
            LIMIT,
            ratio(ours, theirs),
            f"{middle(ours, minute)} a minute against {middle(theirs, minute)}",
        ),
    ]


def measure() -> list[Row]:
    """Compare loads, then rest."""
    return [*asyncio.run(year()), *asyncio.run(rest())]
