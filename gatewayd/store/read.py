"""Read the file without writing it: for the commands, while the daemon runs or not.

Long answers are fetched in short pages, so that no read transaction stays open while somebody leafs through an export:
an open one keeps the write-ahead log from being emptied.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import heapq
import json
import sqlite3
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import Enum

from gatewayd.model.delivery import Progress
from gatewayd.model.event import Decision, Event, Notice, Stage, What
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.store import row
from gatewayd.store.rollup import QUARTER
from gatewayd.store.row import How
from gatewayd.store.schema import KEY_BITS, KEY_MASK

PAGE = 1000  # rows fetched at once: some ms of reading, some 100 kB
FOREVER = 2**62  # ms; later than any stamp

_HERE = """SELECT t, value, how FROM (
    SELECT t, value, how FROM reading WHERE series = ?1 AND t > ?2 AND t < ?3
    UNION ALL SELECT t, value, how FROM log WHERE series = ?1 AND t > ?2 AND t < ?3) ORDER BY t LIMIT ?4"""
_LATE = """SELECT first, id, last, heard, value, how FROM late
    WHERE series = ?1 AND (first, id) > (?2, ?3) AND first < ?4 ORDER BY first, id LIMIT ?5"""


def readings(
    conn: sqlite3.Connection, since: int, until: int = FOREVER, sensors: Collection[str] = (), *, late: bool = True
) -> Iterator[Reading]:
    """Yield the readings measured from `since` until before `until` (wall ms), in order of time, in constant memory.

    No `sensors` means all. `late` says whether those without a stamp of their own come too, at the beginning of the
    span in which they were measured.
    """
    sources: list[Iterator[Reading]] = []
    known = _Hows(conn)
    for key, of in row.series(conn).items():
        if not sensors or of[0] in sensors:
            sources.append(_stamped(conn, key, of, since, until, known))
            if late:
                sources.append(_unstamped(conn, key, of, since, until, known))
    return heapq.merge(*sources, key=lambda reading: reading.measured_from)


class _Hows:
    """Look up combinations, also those made since the last look."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self._conn = conn
        self._known = row.hows(conn)

    def __getitem__(self, packed: int) -> How:
        key = packed & KEY_MASK
        if key not in self._known:
            self._known = row.hows(self._conn)
        return self._known[key]


def _stamped(
    conn: sqlite3.Connection, key: int, of: tuple[str, Quantity], since: int, until: int, known: _Hows
) -> Iterator[Reading]:
    after = since - 1
    while page := conn.execute(_HERE, (key, after, until, PAGE)).fetchall():
        for stamp, value, packed in page:
            yield row.reading(of, known[packed], stamp, value, packed)
        after = page[-1][0]


def _unstamped(
    conn: sqlite3.Connection, key: int, of: tuple[str, Quantity], since: int, until: int, known: _Hows
) -> Iterator[Reading]:
    after = (since - 1, FOREVER)
    while page := conn.execute(_LATE, (key, *after, until, PAGE)).fetchall():
        for first, _, last, heard, value, packed in page:
            yield row.late_reading(of, known[packed], first, last, heard, value)
        after = page[-1][:2]


def count(conn: sqlite3.Connection, since: int, until: int = FOREVER, sensors: Collection[str] = ()) -> int:
    """Return how many readings `readings` would yield, for a progress bar."""
    total = 0
    for key, (sensor, _) in row.series(conn).items():
        if sensors and sensor not in sensors:
            continue
        for table, stamp in (("reading", "t"), ("log", "t"), ("late", "first")):
            within = f"SELECT count(*) FROM {table} WHERE series = ? AND {stamp} >= ? AND {stamp} < ?"
            total += conn.execute(within, (key, since, until)).fetchone()[0]
    return total


def newest(conn: sqlite3.Connection) -> list[Reading]:
    """Return the newest reading of each sensor and quantity, by when it was measured."""
    known = _Hows(conn)
    found: list[Reading] = []
    for key, of in row.series(conn).items():
        rows = [
            conn.execute(
                f"SELECT t, value, how FROM {table} WHERE series = ? ORDER BY t DESC LIMIT 1", (key,)
            ).fetchone()
            for table in ("reading", "log")
        ]
        last = max((r for r in rows if r is not None), key=lambda r: int(r[0]), default=None)
        if last is not None:
            stamp, value, packed = last
            found.append(row.reading(of, known[packed], stamp, value, packed))
    return found


def minutes(conn: sqlite3.Connection, sensor: str, since: int, until: int) -> list[tuple[int, float]]:
    """Return the minutes in which good live temperatures of a sensor were heard, from `since` until before `until`.

    Each is (wall ms of its begin, mean in °C), in order. Nothing of a sensor that is not known.
    """
    good = [key for key, how in row.hows(conn).items() if how.arrival is Arrival.LIVE and how.quality is Quality.GOOD]
    series = [key for key, of in row.series(conn).items() if of == (sensor, Quantity.TEMPERATURE)]
    if not good or not series:
        return []
    within = f"series = ?1 AND t >= ?2 AND t < ?3 AND how & {KEY_MASK} IN ({', '.join(map(str, good))})"
    found = conn.execute(
        f"SELECT (t + (how >> {KEY_BITS})) / {MINUTE} AS minute, avg(value) FROM ("
        f"SELECT t, value, how FROM reading WHERE {within} UNION ALL SELECT t, value, how FROM log WHERE {within}) "
        "WHERE value IS NOT NULL GROUP BY minute ORDER BY minute",
        (series[0], since, until),
    )
    return [(minute * MINUTE, value / 1000) for minute, value in found]


def events(conn: sqlite3.Connection, since: int = 0, until: int = FOREVER) -> Iterator[Event]:
    """Yield the events from `since` until before `until` (wall ms), in the order of their numbers."""
    after = 0
    while page := conn.execute(
        "SELECT e.number, e.at, e.steady, b.name, e.subject, e.kind, e.what, e.priority, e.occurrence, e.first, e.who, "
        "e.why, e.facts, e.settings FROM event e JOIN boot b ON b.id = e.boot "
        "WHERE e.number > ? AND e.at >= ? AND e.at < ? ORDER BY e.number LIMIT ?",
        (after, since, until, PAGE),
    ).fetchall():
        for number, at, steady, boot, subject, kind, what, priority, *rest in page:
            occurrence, first, who, why, facts, settings = rest
            yield Event(
                number, Moment(at, steady, boot), subject, kind, What(what), Priority(priority), occurrence, first,
                who, why, json.loads(facts), settings,
            )  # fmt: skip
        after = page[-1][0]


def decisions(conn: sqlite3.Connection, event: int | None = None, since: int | None = None) -> list[Decision]:
    """Return why people were told or not: of one event, or decided since a wall stamp (ms), or all.

    They come by the number of their event, the oldest of each first.

    A file that an older gatewayd wrote last has none.
    """
    if conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'decision'").fetchone() is None:
        return []
    found = conn.execute(
        "SELECT d.event, d.person, d.reason, d.at, d.steady, b.name, d.until FROM decision d "
        "JOIN boot b ON b.id = d.boot WHERE (?1 IS NULL OR d.event = ?1) AND (?2 IS NULL OR d.at >= ?2) "
        "ORDER BY d.event, d.at, d.steady, d.person, d.reason",
        (event, since),
    )
    return [
        Decision(number, person, reason, Moment(at, steady, boot), until)
        for number, person, reason, at, steady, boot, until in found
    ]


def notices(conn: sqlite3.Connection, since: int = 0, until: int = FOREVER) -> Iterator[Notice]:
    """Yield the messages decided on from `since` until before `until` (wall ms), in the order in which they were kept.

    Their texts are left out: who wants to count need not read them.
    """
    found = conn.execute(
        "SELECT n.event, n.person, n.stage, n.priority, n.at, n.steady, b.name, n.subject, n.kind FROM notice n "
        "JOIN boot b ON b.id = n.boot WHERE n.at >= ? AND n.at < ? ORDER BY n.id",
        (since, until),
    )
    for event, person, stage, priority, at, steady, boot, subject, kind in found:
        made = Moment(at, steady, boot)
        yield Notice(event, person, Stage(stage), Priority(priority), "", "", made, (), subject, kind)


def deliveries(conn: sqlite3.Connection, event: int) -> list[tuple[str, str, Progress, int]]:
    """Return what became of the messages of one event: (person, route, how far it came, since when in wall ms)."""
    found = conn.execute(
        "SELECT n.person, d.route, d.progress, d.changed FROM delivery d JOIN notice n ON n.id = d.notice "
        "WHERE n.event = ? ORDER BY n.id, d.rank",
        (event,),
    )
    return [(person, route, Progress(progress), changed) for person, route, progress, changed in found]


def count_events(conn: sqlite3.Connection, since: int = 0, until: int = FOREVER) -> int:
    """Return how many events `events` would yield."""
    found = conn.execute("SELECT count(*) FROM event WHERE at >= ? AND at < ?", (since, until)).fetchone()
    return int(found[0])


class Tier(Enum):
    """Name a roll-up: table and column of its key."""

    QUARTER = "quarter"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class Rollup:
    """Hold the sum of the good readings of one span that begins at `start` (wall ms), in the unit of the quantity."""

    start: int
    n: int
    low: float
    high: float
    mean: float


def rollups(
    conn: sqlite3.Connection, tier: Tier, sensor: str, quantity: Quantity, since: int, until: int = FOREVER
) -> Iterator[Rollup]:
    """Yield the roll-ups of one series whose span begins from `since` until before `until` (wall ms), in order.

    They hold what the last hourly move has taken in; newer rows are in `readings`.
    """
    start = f"slot * {QUARTER}" if tier is Tier.QUARTER else "start"
    key = "slot" if tier is Tier.QUARTER else "start"
    step = QUARTER if tier is Tier.QUARTER else 1
    found = conn.execute(
        f"SELECT {start}, n, low, high, total FROM {tier.value} JOIN series s ON s.id = series "
        f"WHERE s.sensor = ? AND s.quantity = ? AND {key} >= ? AND {key} < ? ORDER BY {key}",
        (sensor, quantity.value, -(-since // step), -(-until // step)),
    )
    for begins, n, low, high, total in found:
        yield Rollup(begins, n, low / 1000, high / 1000, total / n / 1000)
