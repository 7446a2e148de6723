"""Exports that stream: whole, bounded in memory, ended when the phone goes away, safe in a spreadsheet."""

import asyncio
import csv
import io
import json
import sqlite3
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import aiohttp
import pytest

from gatewayd.model.moment import DAY, MINUTE
from gatewayd.store import export
from gatewayd.web.api.stream import MOST, PIECE, cut
from tests.fakes.clock import START
from tests.web.living import warm
from tests.web.open_house import Opened, open_house

pytestmark = pytest.mark.rig
SENSORS = 5
ROWS = 16_000  # of each sensor, a year at every 33 minutes: 10 MB in all

ENOUGH = 3_000_000  # bytes of it that are taken: the meter of memory makes it ten times as slow
BOUND = 2_500_000  # bytes: a page of rows of each series, some pieces, and the sockets' own


def fill(path: Path, rows: int) -> None:
    """Put a year of readings of five sensors into a store, as the hourly move keeps them."""
    with sqlite3.connect(path) as conn:
        boot = conn.execute("SELECT id FROM boot LIMIT 1").fetchone()
        boot = boot[0] if boot else conn.execute("INSERT INTO boot (name, lead) VALUES ('boot-a', 0)").lastrowid
        how = conn.execute(
            "INSERT INTO how (boot, arrival, quality, offset) VALUES (?, 'live', 'good', 7)", (boot,)
        ).lastrowid
        for sensor in range(SENSORS):
            series = conn.execute(
                "INSERT INTO series (sensor, quantity) VALUES (?, 'temperature')", (f"old-{sensor}",)
            ).lastrowid
            conn.executemany(
                "INSERT INTO reading (series, t, value, how) VALUES (?, ?, ?, ?)",
                ((series, START - 366 * DAY + row * 33 * MINUTE, -18_000 + row % 900, how) for row in range(rows)),
            )
    conn.close()


def stored(house: Opened) -> Path:
    """Return where the store is."""
    return house.gateway.store.path


async def test_readings_and_events_come_whole(tmp_path: Path) -> None:
    """All rows come, as CSV and as JSON lines, by a name that says what they are; those of one sensor where asked."""
    async with open_house(tmp_path) as house:
        await warm(house)
        fill(stored(house), 700)
        page = await house.phone.get("/export/readings.csv?sensor=&since=&until=")
        one = await house.phone.get("/api/v1/export/readings.jsonl?sensor=old-1&sensor=old-2")
        events = await house.phone.get("/export/events.csv")
        lines = await house.phone.get("/api/v1/export/events.jsonl?since=2020-01-01&until=1 h")
        async with house.phone.session.head(house.begins + "/export/readings.csv") as head:
            head_said = head.status, await head.read()

    rows = list(csv.DictReader(io.StringIO(page.text)))
    assert len([row for row in rows if row["sensor"].startswith("old-")]) == 700 * SENSORS
    assert page.headers["Content-Disposition"] == 'attachment; filename="heron-lane-readings-2026-11-25.csv"'
    assert page.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert {json.loads(line)["sensor"] for line in one.text.splitlines()} == {"old-1", "old-2"}
    assert len(one.text.splitlines()) == 1400
    assert "high" in {row["kind"] for row in csv.DictReader(io.StringIO(events.text))}
    assert lines.status == 200
    assert head_said == (200, b"")


async def test_unknown_sensor_is_refused(tmp_path: Path) -> None:
    """A sensor that the house neither has nor had gives no empty file, but says which there are."""
    async with open_house(tmp_path) as house:
        fill(stored(house), 1)
        asked = [
            await house.phone.get(f"{way}/readings.{form}?sensor={sensor}")
            for way in ("/export", "/api/v1/export")
            for form in ("csv", "jsonl")
            for sensor in ("shed-chest-air", "old-1", "nobody")
        ]

    assert [page.status for page in asked] == [200, 200, 404] * 4
    assert "nobody" in asked[2].words
    assert "shed-chest-air" in asked[2].words


async def test_formulas_are_safe(tmp_path: Path) -> None:
    """A text that a spreadsheet would take for a formula has an apostrophe before it."""
    async with open_house(tmp_path) as house:
        await house.phone.get("/")
        await warm(house)
        await house.home.ask({"ask": "order", "verb": "acknowledge", "alarm": 0, "why": "=HYPERLINK(1)"}, "ann")
        page = await house.phone.get("/export/events.csv")

    assert "'=HYPERLINK(1)" in page.text
    assert not [row for row in csv.reader(io.StringIO(page.text)) if any(cell.startswith("=") for cell in row)]


async def test_year_of_five_sensors_takes_little_memory(tmp_path: Path) -> None:
    """A year of five sensors goes out in bounded memory, also where the phone stops taking it for a while."""
    async with open_house(tmp_path) as house:
        await asyncio.to_thread(fill, stored(house), ROWS)
        size = 0
        way = house.begins + "/export/readings.csv"
        async with house.phone.session.get(way, headers={"Accept-Encoding": "identity"}) as answer:
            size += len(await answer.content.readany())
            tracemalloc.start()
            try:
                await asyncio.sleep(0.7)  # what nobody takes must not pile up
                while size < ENOUGH:
                    size += len(await answer.content.readany())
                peak = tracemalloc.get_traced_memory()[1]
            finally:
                tracemalloc.stop()

    assert size >= ENOUGH
    assert peak < BOUND


async def test_reading_ends_when_the_phone_goes(tmp_path: Path) -> None:
    """When the phone goes away the reading ends, and its place is free for the next."""
    async with open_house(tmp_path) as house:
        await asyncio.to_thread(fill, stored(house), 6_000)
        for _ in range(MOST + 1):
            answer = await house.phone.session.get(house.begins + "/export/readings.csv")
            assert answer.status == 200
            await answer.content.readany()
            answer.close()
            async with asyncio.timeout(10):
                await asyncio.gather(*(task for task in asyncio.all_tasks() if task.get_name() == "read an export"))


async def test_no_more_than_a_few_at_a_time(tmp_path: Path) -> None:
    """While as many exports run as may, the next is told to come again; pages are answered meanwhile."""
    async with open_house(tmp_path) as house:
        await asyncio.to_thread(fill, stored(house), 6_000)
        running = [await house.phone.session.get(house.begins + "/export/readings.csv") for _ in range(MOST)]
        page = await house.phone.get("/export/readings.csv")
        told = await house.phone.get("/api/v1/export/events.csv")
        log = await house.phone.get("/log")
        for each in running:
            each.close()

    assert (page.status, told.status, log.status) == (503, 503, 200)
    assert "running already" in page.words
    assert "running already" in json.loads(told.text)["error"]


async def test_broken_file_breaks_the_line_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What cannot be read to its end breaks off, so that nobody takes a part for all."""

    def broken(*_: object) -> Iterator[str]:
        yield "a" * PIECE
        raise sqlite3.DatabaseError("database disk image is malformed")

    monkeypatch.setattr(export, "readings_csv", broken)
    async with open_house(tmp_path) as house:
        with pytest.raises(aiohttp.ClientError):
            await house.phone.get("/export/readings.csv")


@pytest.mark.parametrize("asked", ["since=yesterdayish", "until=2026-99-99", "sensor=A B", "x=1"])
async def test_wrong_wishes_are_told(tmp_path: Path, asked: str) -> None:
    """What cannot be meant is told: on the page with what was typed, to a program with a pointer."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get(f"/export/readings.csv?{asked}")
        told = await house.phone.get(f"/api/v1/export/readings.csv?{asked}")

    assert page.status == told.status == 422
    assert "Not done." in page.words
    assert json.loads(told.text)["pointer"]


async def test_page_of_exports(tmp_path: Path) -> None:
    """The page offers each sensor, and is there for whoever may only look."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/export")
        assert page.sheet("/export/readings.csv").buttons == ["Readings as CSV", "As JSON lines"]
        assert "shed-chest probe" in page.words


def test_pieces_hold_all() -> None:
    """Pieces are of some 64 kB and hold every line, in order."""
    lines = [f"{number}\n" for number in range(50_000)]
    pieces = list(cut(iter(lines)))

    assert b"".join(pieces).decode() == "".join(lines)
    assert all(PIECE <= len(piece) < PIECE + 10 for piece in pieces[:-1])
