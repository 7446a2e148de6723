"""Stream exports: read in a thread with a connection of its own, a piece at a time, as fast as the phone takes it."""

import asyncio
import logging
import sqlite3
import threading
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import tzinfo
from typing import Annotated

from aiohttp import web

from gatewayd.model.moment import from_wall
from gatewayd.model.period import FOREVER, read_when
from gatewayd.store import export, row
from gatewayd.store.trouble import StoreTrouble
from gatewayd.web.api.fit import from_query
from gatewayd.web.api.operation import Refused
from gatewayd.web.api.says import Id, Says, Time
from gatewayd.web.home import Home
from gatewayd.web.server import staying

log = logging.getLogger(__name__)

PIECE = 64 << 10  # characters that go out at once; small enough for a small computer, large enough to be quick
WAITING = 2  # pieces that wait for the phone; then the reading waits
STUCK = 120.0  # s for one piece; a phone that takes none for so long has gone without a word (our choice)
MOST = 2  # exports at a time: each keeps a thread, of which a small computer has six or eight for all pages
TYPES = {"csv": "text/csv", "jsonl": "application/x-ndjson"}

Lines = Callable[[sqlite3.Connection], Iterator[str]]


@dataclass(frozen=True, slots=True)
class OfReadings:
    """Which readings: of these sensors, of all where none is named; measured from since on, until before until."""

    sensor: Annotated[tuple[Id, ...], Says("Ids of sensors.", longest=100)] = ()
    since: Time = ""
    until: Time = ""


@dataclass(frozen=True, slots=True)
class OfEvents:
    """Which events: from since on, until before until."""

    since: Time = ""
    until: Time = ""


class Streams:
    """Stream exports of one house."""

    def __init__(self, home: Home) -> None:
        """Take the house."""
        self._home = home
        self._running = 0

    async def answer(self, request: web.Request) -> web.StreamResponse:
        """Answer with an export: `what` and `form` stand in the path. Raise Unfit, Refused or StoreTrouble."""
        what, form = request.match_info["what"], request.match_info["form"]
        lines = await self._lines(what, form, request)
        day = f"{from_wall(self._home.now().wall).astimezone(self._home.house.zone):%Y-%m-%d}"
        answer = web.StreamResponse(
            headers={
                "Content-Type": f"{TYPES[form]}; charset=utf-8",
                "Content-Disposition": f'attachment; filename="{self._home.house.id}-{what}-{day}.{form}"',
            }
        )
        if request.method == "HEAD":
            await answer.prepare(request)
            return answer
        if self._running >= MOST:
            raise Refused(f"{MOST} exports are running already; try again when one is done.", 503)
        self._running += 1
        try:
            with staying(request):
                return await self._send(request, answer, lines)
        finally:
            self._running -= 1

    async def _send(self, request: web.Request, answer: web.StreamResponse, lines: Lines) -> web.StreamResponse:
        """Send what is read; the reading ends when the phone goes away."""
        pieces: asyncio.Queue[bytes | None] = asyncio.Queue(WAITING)
        gone, loop = threading.Event(), asyncio.get_running_loop()

        def fill(conn: sqlite3.Connection) -> None:
            for piece in cut(lines(conn)):
                if gone.is_set():
                    return
                asyncio.run_coroutine_threadsafe(pieces.put(piece), loop).result()

        async def reading() -> None:
            try:
                await self._home.read(fill)
            finally:
                await pieces.put(None)

        task = asyncio.create_task(reading(), name="read an export")
        try:
            piece = await pieces.get()
            if piece is None:
                await task  # what went wrong before the first piece can still be said
            answer.enable_compression()
            await answer.prepare(request)
            try:
                while piece is not None:
                    async with asyncio.timeout(STUCK):
                        await answer.write(piece)
                    piece = await pieces.get()
                await task
            except (StoreTrouble, sqlite3.Error, TimeoutError) as trouble:
                log.warning("an export was broken off: %s", trouble or "nobody takes it")
                if request.transport is not None:
                    request.transport.abort()  # so that nobody takes a part for all
                raise ConnectionResetError from trouble
        finally:
            gone.set()
            while not pieces.empty():  # so that the one piece that may wait gets through, and the thread looks up
                pieces.get_nowait()
            await asyncio.wait((task,))
        return answer

    async def _lines(self, what: str, form: str, request: web.Request) -> Lines:
        """Return what reads the lines of an export."""
        given = {name: texts for name in request.query if (texts := [t for t in request.query.getall(name) if t])}
        zone: tzinfo = self._home.house.zone
        if what == "readings":
            asked: OfReadings = from_query(OfReadings, given)
            since, until = self._span(asked.since, asked.until)
            await self._check(asked.sensor)
            write = export.readings_jsonl if form == "jsonl" else export.readings_csv
            return lambda conn: write(conn, zone, since, until, asked.sensor)
        asked_events: OfEvents = from_query(OfEvents, given)
        begin, end = self._span(asked_events.since, asked_events.until)
        tell = export.events_jsonl if form == "jsonl" else export.events_csv
        return lambda conn: tell(conn, zone, begin, end)

    async def _check(self, wanted: Collection[str]) -> None:
        """Raise Refused for a sensor that the house neither has nor had: an empty file would look like silence."""
        unknown = set(wanted) - set(self._home.house.sensors)
        if unknown:
            unknown -= await self._home.read(lambda conn: {sensor for sensor, _ in row.series(conn).values()})
        if unknown:
            there = ", ".join(self._home.house.sensors) or "none"
            raise Refused(f"There is no sensor {min(unknown)!r} and nothing is stored of one; there are: {there}.", 404)

    def _span(self, since: str, until: str) -> tuple[int, int]:
        """Return from when until when (wall ms), all where nothing is said. Raise Refused."""
        found = []
        for name, text, otherwise in (("since", since, 0), ("until", until, FOREVER)):
            try:
                found.append(read_when(text, self._home.house.zone, self._home.now().wall) if text else otherwise)
            except ValueError as wrong:
                raise Refused(f"{name}: {wrong}") from None  # such as the 31st of June
        return found[0], found[1]


def cut(lines: Iterator[str]) -> Iterator[bytes]:
    """Yield lines in pieces of some 64 kB."""
    held: list[str] = []
    size = 0
    for line in lines:
        held.append(line)
        size += len(line)
        if size >= PIECE:
            yield "".join(held).encode()
            held, size = [], 0
    if held:
        yield "".join(held).encode()


WAY = "/{what:readings|events}.{form:csv|jsonl}"
