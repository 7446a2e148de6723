"""Write readings and events out, as CSV (RFC 4180) or JSON lines, one text per row, in constant memory.

Stamps are ISO 8601 with milliseconds and offset. A text that a spreadsheet would take for a formula gets an apostrophe
in front (OWASP, CSV injection); numbers stay numbers.
"""

import csv
import io
import json
import math
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import tzinfo
from itertools import chain

from gatewayd.model.event import Event
from gatewayd.model.moment import iso
from gatewayd.model.reading import Reading
from gatewayd.store import comma, read

Cell = str | int | float | bool | None | Mapping[str, object]

READING_COLUMNS = (
    "sensor", "quantity", "value", "unit", "measured_from", "measured_to", "heard", "arrival", "quality", "offset",
    "boot",
)  # fmt: skip
EVENT_COLUMNS = (
    "number", "at", "subject", "kind", "what", "priority", "occurrence", "first", "who", "why", "facts", "settings",
    "boot",
)  # fmt: skip


def readings_csv(
    conn: sqlite3.Connection, zone: tzinfo, since: int, until: int = read.FOREVER, sensors: Collection[str] = ()
) -> Iterator[str]:
    """Yield the header and one CSV line per reading, each with its CRLF."""
    return _csv(READING_COLUMNS, (_reading(r, zone) for r in read.readings(conn, since, until, sensors)))


def readings_jsonl(
    conn: sqlite3.Connection, zone: tzinfo, since: int, until: int = read.FOREVER, sensors: Collection[str] = ()
) -> Iterator[str]:
    """Yield one JSON line per reading, each with its newline."""
    return _jsonl(READING_COLUMNS, (_reading(r, zone) for r in read.readings(conn, since, until, sensors)))


def events_csv(conn: sqlite3.Connection, zone: tzinfo, since: int = 0, until: int = read.FOREVER) -> Iterator[str]:
    """Yield the header and one CSV line per event, each with its CRLF; the facts are one cell of JSON."""
    return _csv(EVENT_COLUMNS, (_event(e, zone) for e in read.events(conn, since, until)))


def events_jsonl(conn: sqlite3.Connection, zone: tzinfo, since: int = 0, until: int = read.FOREVER) -> Iterator[str]:
    """Yield one JSON line per event, each with its newline."""
    return _jsonl(EVENT_COLUMNS, (_event(e, zone) for e in read.events(conn, since, until)))


def _reading(reading: Reading, zone: tzinfo) -> tuple[Cell, ...]:
    return (
        reading.sensor,
        reading.quantity.value,
        None if math.isnan(reading.value) else reading.value,
        reading.quantity.unit,
        iso(reading.measured_from, zone),
        iso(reading.measured_to, zone),
        iso(reading.heard.wall, zone),
        reading.arrival.value,
        reading.quality.value,
        reading.offset,
        reading.heard.boot,
    )


def _event(event: Event, zone: tzinfo) -> tuple[Cell, ...]:
    return (
        event.number,
        iso(event.at.wall, zone),
        event.subject,
        event.kind,
        event.what.value,
        event.priority.word,
        event.occurrence,
        event.first,
        event.who,
        event.why,
        event.facts,
        event.settings,
        event.at.boot,
    )


def _csv(columns: tuple[str, ...], rows: Iterable[tuple[Cell, ...]]) -> Iterator[str]:
    line = io.StringIO(newline="")
    writer = csv.writer(line, lineterminator="\r\n")
    for cells in chain([columns], rows):
        writer.writerow([_cell(cell) for cell in cells])
        yield line.getvalue()
        line.seek(0)
        line.truncate()


def _cell(cell: Cell) -> object:
    if isinstance(cell, Mapping):
        cell = json.dumps(cell, ensure_ascii=False)
    return comma.safe(cell) if isinstance(cell, str) else cell


def _jsonl(columns: tuple[str, ...], rows: Iterable[tuple[Cell, ...]]) -> Iterator[str]:
    for cells in rows:
        yield json.dumps(dict(zip(columns, cells, strict=True)), ensure_ascii=False) + "\n"
