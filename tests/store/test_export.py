"""Readings and events for spreadsheets and scripts."""

import csv
import io
import json
import math
import tracemalloc
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.reading import Quality
from gatewayd.store import export
from gatewayd.store.file import open_reader
from gatewayd.store.store import Store
from tests.store.make import LONDON, T0, batch, event, late, reading


@pytest.fixture
async def filled(store: Store) -> Store:
    """Fill the store with one row of each sort."""
    await store.commit(
        batch(
            reading(T0, -18.437, offset=0.25),
            late(T0 + MINUTE, T0 + 2 * MINUTE, T0 + 2 * MINUTE),
            reading(T0 + 3 * MINUTE, math.nan, quality=Quality.UNKNOWN),
            events=[event(1, who="=1+1", why='lid, "ajar"\nagain', settings="v1")],
        )
    )
    return store


async def test_readings_csv(filled: Store, path: Path) -> None:
    """Each reading is one CSV line with CRLF, numbers as numbers, stamps with zone, no value where there was none."""
    with closing(open_reader(path)) as conn:
        lines = list(export.readings_csv(conn, LONDON, 0))

    unknown = "sensor says: not known"
    stamps = [f"2026-11-25T10:0{minute}:00.000+00:00" for minute in range(4)]
    assert lines == [
        "sensor,quantity,value,unit,measured_from,measured_to,heard,arrival,quality,offset,boot\r\n",
        f"shed-chest-air,temperature,-18.437,°C,{stamps[0]},{stamps[0]},{stamps[0]},live,good,0.25,boot-a\r\n",
        f"shed-chest-air,temperature,-18.5,°C,{stamps[1]},{stamps[2]},{stamps[2]},late,good,0.0,boot-a\r\n",
        f"shed-chest-air,temperature,,°C,{stamps[3]},{stamps[3]},{stamps[3]},live,{unknown},0.0,boot-a\r\n",
    ]


async def test_readings_jsonl(filled: Store, path: Path) -> None:
    """Each reading is one JSON object on a line; a missing value is null."""
    with closing(open_reader(path)) as conn:
        found = [json.loads(line, parse_constant=pytest.fail) for line in export.readings_jsonl(conn, LONDON, 0)]

    assert [row["value"] for row in found] == [-18.437, -18.5, None]
    assert tuple(found[0]) == export.READING_COLUMNS


async def test_events_csv(filled: Store, path: Path) -> None:
    """Events read back from CSV as they were, a formula in a text made harmless."""
    with closing(open_reader(path)) as conn:
        text = "".join(export.events_csv(conn, LONDON))

    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert (row["number"], row["who"], row["why"]) == ("1", "'=1+1", 'lid, "ajar"\nagain')
    assert json.loads(row["facts"]) == {"value": -9.5, "limit": -12.0}
    assert row["priority"] == "high"


async def test_events_jsonl(filled: Store, path: Path) -> None:
    """Events come as JSON with their facts as an object and texts as they were given."""
    with closing(open_reader(path)) as conn:
        (row,) = map(json.loads, export.events_jsonl(conn, LONDON))

    assert (row["number"], row["who"], row["facts"]["limit"]) == (1, "=1+1", -12.0)
    assert datetime.fromisoformat(row["at"]).timestamp() * 1000 == T0


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
async def test_formula(store: Store, path: Path, start: str) -> None:
    """A text that begins like a formula gets an apostrophe in front."""
    await store.commit(batch(events=[event(1, why=f"{start}cmd")]))

    with closing(open_reader(path)) as conn:
        (row,) = csv.DictReader(io.StringIO("".join(export.events_csv(conn, LONDON)), newline=""))

    assert row["why"] == f"'{start}cmd"


async def test_summer_time(store: Store, path: Path) -> None:
    """Stamps carry the offset of their own day: +01:00 in July."""
    july = T0 - 140 * DAY
    await store.commit(batch(reading(july)))

    with closing(open_reader(path)) as conn:
        (line,) = export.readings_jsonl(conn, LONDON, 0)

    assert json.loads(line)["heard"] == "2026-07-08T11:00:00.000+01:00"


async def test_constant_memory(store: Store, path: Path) -> None:
    """An export of four times the rows takes no more memory."""

    async def peak(rows: int, start: int) -> int:
        await store.commit(batch(*(reading(start + n * SECOND) for n in range(rows))))
        with closing(open_reader(path)) as conn:
            lines: Iterator[str] = export.readings_csv(conn, LONDON, start)
            tracemalloc.start()
            for _ in lines:
                pass
            found = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        return found

    assert await peak(8_000, T0 + DAY) < 2 * await peak(2_000, T0)
