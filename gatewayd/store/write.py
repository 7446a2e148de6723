"""Write one batch, inside the caller's transaction."""

import json
import math
import sqlite3
from collections.abc import Iterable

from gatewayd.model.delivery import Delivery
from gatewayd.model.event import Decision, Event
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Arrival, Quality, Reading
from gatewayd.store import chore, outbox
from gatewayd.store.batch import Batch, Calibration
from gatewayd.store.book import Book, Row
from gatewayd.store.row import clean, stamped, thousandths

ALIVE = 0  # the series of the log rows that say "the watcher was awake"

_LOG = "INSERT INTO log (series, t, value, how) VALUES (?, ?, ?, ?)"


def write(conn: sqlite3.Connection, book: Book, batch: Batch) -> list[Delivery]:
    """Write the batch and return its deliveries with their ids. Everything in it may be written twice unharmed."""
    now = batch.alive
    book.look_at_clock(now)
    rows = list(_readings(conn, book, batch.readings))
    awake = book.how(now, Arrival.LIVE, Quality.GOOD, 0)
    rows.append((ALIVE, now.wall, now.steady, awake))
    conn.executemany(_LOG, rows)
    for event in batch.events:
        _event(conn, book, event)
    for decision in batch.decisions:
        _decision(conn, book, decision)
    if batch.snapshot is not None:
        conn.execute(
            "INSERT INTO snapshot VALUES (1, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET at = excluded.at, "
            "steady = excluded.steady, boot = excluded.boot, text = excluded.text",
            (now.wall, now.steady, book.boot(now), clean(batch.snapshot)),
        )
    if batch.settings is not None:
        version, text = batch.settings
        conn.execute("INSERT INTO settings VALUES (?, ?, ?) ON CONFLICT DO NOTHING", (version, now.wall, clean(text)))
    for key, text in batch.answers:
        conn.execute(
            "INSERT INTO answer VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
            (clean(key), now.wall, book.boot(now), clean(text)),
        )
    for calibration in batch.calibrations:
        _calibration(conn, book, calibration, now)
    for done in batch.chores:
        chore.add_once(conn, done)
    conn.executemany(
        "INSERT INTO counter VALUES (?, ?) ON CONFLICT (sensor) DO UPDATE SET value = excluded.value",
        batch.counters.items(),
    )
    stored = outbox.add(conn, book, batch.deliveries)
    outbox.drop(conn, book, batch.dropped, now)
    return stored


def _readings(conn: sqlite3.Connection, book: Book, readings: Iterable[Reading]) -> Iterable[Row]:
    for reading in readings:
        if reading.arrival is Arrival.RETAINED:
            continue  # its age is not known, so it belongs nowhere in time
        if stamped(reading):
            row = book.place(reading)
            if row is not None:
                yield row
            continue
        offset = thousandths(reading.offset) or 0
        conn.execute(
            "INSERT INTO late (series, first, last, heard, value, how) VALUES (?, ?, ?, ?, ?, ?)",
            (
                book.series(reading.sensor, reading.quantity.value),
                reading.measured_from,
                reading.measured_to,
                reading.heard.wall,
                thousandths(reading.value),
                book.how(reading.heard, reading.arrival, reading.quality, offset),
            ),
        )


def _event(conn: sqlite3.Connection, book: Book, event: Event) -> None:
    facts = {
        clean(key): clean(fact) if isinstance(fact, str) else None if _no_number(fact) else fact
        for key, fact in event.facts.items()
    }
    conn.execute(
        "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (number) DO NOTHING",
        (
            event.number,
            event.at.wall,
            event.at.steady,
            book.boot(event.at),
            clean(event.subject),
            clean(event.kind),
            event.what.value,
            int(event.priority),
            event.occurrence,
            event.first,
            clean(event.who),
            clean(event.why),
            json.dumps(facts, ensure_ascii=False),
            clean(event.settings),
        ),
    )


def _decision(conn: sqlite3.Connection, book: Book, decision: Decision) -> None:
    at = decision.at
    of = (clean(decision.person), clean(decision.reason), at.wall, at.steady, book.boot(at), decision.until)
    conn.execute(
        "INSERT INTO decision (event, person, reason, at, steady, boot, until) VALUES (?, ?, ?, ?, ?, ?, ?) "
        "ON CONFLICT DO NOTHING",
        (decision.event, *of),
    )


def _no_number(fact: object) -> bool:
    return isinstance(fact, float) and not math.isfinite(fact)  # JSON has no word for it


def _calibration(conn: sqlite3.Connection, book: Book, calibration: Calibration, now: Moment) -> None:
    conn.execute(
        "INSERT INTO calibration VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (sensor, quantity, at) DO UPDATE SET "
        "offset = excluded.offset, who = excluded.who",
        (
            calibration.sensor,
            calibration.quantity.value,
            calibration.since,
            thousandths(calibration.offset) or 0,
            clean(calibration.who),
            book.boot(now),
        ),
    )
