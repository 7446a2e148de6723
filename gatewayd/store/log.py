"""Read the log a page at a time, by the numbers of its events: they stay where they are while new ones come."""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import json
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from gatewayd.model.delivery import Progress
from gatewayd.model.event import Decision, Event, Stage, What
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

_EVENT = """SELECT e.number, e.at, e.steady, b.name, e.subject, e.kind, e.what, e.priority, e.occurrence, e.first,
    e.who, e.why, e.facts, e.settings FROM event e JOIN boot b ON b.id = e.boot"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Hold which events are wanted: of these subjects (ids), of these kinds; empty is all. `but` leaves kinds out."""

    subjects: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    but: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sent:
    """Hold one message by one route: how far it came and since when (wall ms), how often it was tried, what failed.

    `made` is when it was decided on. `maybe` says that an earlier try may have arrived although it looked failed.
    """

    event: int
    person: str
    stage: Stage
    title: str
    body: str
    made: int
    route: str
    progress: Progress
    changed: int
    tries: int
    error: str
    maybe: bool


@dataclass(frozen=True, slots=True)
class Leaf:
    """Hold a page of events, the newest first, and whether there are older and newer ones."""

    events: tuple[Event, ...]
    older: bool
    newer: bool


def leaf(
    conn: sqlite3.Connection, wanted: Wanted, most: int, before: int | None = None, after: int | None = None
) -> Leaf:
    """Return at most `most` events: those just below number `before`, or just above `after`, or the newest."""
    if after is not None and before is None:
        found = list(_events(conn, wanted, "e.number > ?", (after,), "", most + 1))
        newer, older = len(found) > most, _any(conn, wanted, "e.number <= ?", after)
        return Leaf(tuple(reversed(found[:most])), older, newer)
    if before is None:
        found = list(_events(conn, wanted, "1", (), "DESC", most + 1))
        return Leaf(tuple(found[:most]), len(found) > most, newer=False)
    lower = " AND e.number > ?" if after is not None else ""
    bounds = (before,) if after is None else (before, after)
    found = list(_events(conn, wanted, f"e.number < ?{lower}", bounds, "DESC", most + 1))
    return Leaf(tuple(found[:most]), len(found) > most, _any(conn, wanted, "e.number >= ?", before))


def event(conn: sqlite3.Connection, number: int) -> Event | None:
    """Return one event, None where there is none of that number."""
    row = conn.execute(f"{_EVENT} WHERE e.number = ?", (number,)).fetchone()
    return None if row is None else _event(row)


def story(conn: sqlite3.Connection, first: int, most: int) -> list[Event]:
    """Return the turns of the alarm that event `first` raised, the oldest first, `most` at most."""
    found = conn.execute(f"{_EVENT} WHERE e.number = ?1 OR e.first = ?1 ORDER BY e.number LIMIT ?2", (first, most))
    return [_event(row) for row in found]


def answers(conn: sqlite3.Connection, firsts: Sequence[int]) -> dict[int, Event]:
    """Return by whom the alarms that these events raised were first seen, by the number of the event."""
    found = conn.execute(
        f"{_EVENT} WHERE e.number > ? AND e.first IN ({_marks(firsts)}) AND e.what = ? ORDER BY e.number DESC",
        (min(firsts, default=0), *firsts, What.ACKNOWLEDGED.value),
    )
    return {event.first: event for event in map(_event, found)}


def decisions(conn: sqlite3.Connection, numbers: Sequence[int]) -> list[Decision]:
    """Return why people were told of some events or not, in order; a file of an older gatewayd has none."""
    if conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'decision'").fetchone() is None:
        return []
    found = conn.execute(
        "SELECT d.event, d.person, d.reason, d.at, d.steady, b.name, d.until FROM decision d JOIN boot b "
        f"ON b.id = d.boot WHERE d.event IN ({_marks(numbers)}) ORDER BY d.event, d.at, d.steady, d.person, d.reason",
        tuple(numbers),
    )
    return [Decision(n, person, reason, Moment(*moment), until) for n, person, reason, *moment, until in found]


def sent(conn: sqlite3.Connection, numbers: Sequence[int]) -> list[Sent]:
    """Return what became of the messages of some events, in the order in which they were made and tried."""
    found = conn.execute(
        "SELECT n.event, n.person, n.stage, n.title, n.body, n.at, d.route, d.progress, d.changed, d.attempts, "
        "d.error, d.maybe_sent FROM notice n JOIN delivery d ON d.notice = n.id "
        f"WHERE n.event IN ({_marks(numbers)}) ORDER BY n.id, d.rank",
        tuple(numbers),
    )
    return [
        Sent(n, who, Stage(stage), title, body, made, route, Progress(progress), changed, tries, error, bool(maybe))
        for n, who, stage, title, body, made, route, progress, changed, tries, error, maybe in found
    ]


def _events(
    conn: sqlite3.Connection, wanted: Wanted, where: str, bound: Sequence[int], order: str, most: int
) -> Iterator[Event]:
    more, values = _which(wanted)
    asked = f"{_EVENT} WHERE {where}{more} ORDER BY e.number {order} LIMIT ?"
    return map(_event, conn.execute(asked, (*bound, *values, most)))


def _any(conn: sqlite3.Connection, wanted: Wanted, where: str, bound: int) -> bool:
    more, values = _which(wanted)
    found = conn.execute(f"SELECT 1 FROM event e WHERE {where}{more} LIMIT 1", (bound, *values)).fetchone()
    return found is not None


def _which(wanted: Wanted) -> tuple[str, tuple[str, ...]]:
    parts, values = [], list[str]()
    for column, those, word in (
        ("e.subject", wanted.subjects, "IN"), ("e.kind", wanted.kinds, "IN"), ("e.kind", wanted.but, "NOT IN"),
    ):  # fmt: skip
        if those:
            parts.append(f" AND {column} {word} ({_marks(those)})")
            values += those
    return "".join(parts), tuple(values)


def _marks(those: Collection[object]) -> str:
    return ", ".join("?" * len(those))


def _event(row: tuple[object, ...]) -> Event:
    number, at, steady, boot, subject, kind, what, priority, *rest = row
    occurrence, first, who, why, facts, settings = rest
    return Event(
        number, Moment(at, steady, boot), subject, kind, What(what), Priority(priority), occurrence, first, who, why,  # type: ignore[arg-type]  # the columns are as the schema says
        json.loads(facts), settings,  # type: ignore[arg-type]
    )  # fmt: skip
