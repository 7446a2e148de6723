"""The outbox: one row per notice, one per notice and route; what was told is recorded only after it was told."""

import json
import sqlite3
from collections.abc import Sequence

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.store.book import Book
from gatewayd.store.row import clean

_WAITING, _SENDING = Progress.WAITING.value, Progress.SENDING.value

_SELECT = """SELECT d.id, d.route, d.rank, d.progress, d.attempts, d.next_try, d.maybe_sent, d.error,
    n.event, n.person, n.stage, n.priority, n.title, n.body, n.at, n.steady, b.name, n.routes, n.subject, n.kind
    FROM delivery d JOIN notice n ON n.id = d.notice JOIN boot b ON b.id = n.boot"""


def add(conn: sqlite3.Connection, book: Book, deliveries: Sequence[Delivery]) -> list[Delivery]:
    """Write deliveries and their notices and return them as stored; one that is there already stays as it is."""
    stored: list[Delivery] = []
    for delivery in deliveries:
        notice = _notice(conn, book, delivery.notice)
        values = (
            notice,
            delivery.route,
            delivery.rank,
            delivery.progress.value,
            delivery.attempts,
            delivery.next_try,
            delivery.maybe_sent,
            clean(delivery.error),
            delivery.notice.made.wall,
            book.boot(delivery.notice.made),
        )
        conn.execute(
            "INSERT INTO delivery (notice, route, rank, progress, attempts, next_try, maybe_sent, error, changed, "
            "boot) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (notice, route) DO NOTHING",
            values,
        )
        found = conn.execute(f"{_SELECT} WHERE d.notice = ? AND d.route = ?", (notice, delivery.route))
        stored.append(_delivery(found.fetchone()))
    return stored


def _notice(conn: sqlite3.Connection, book: Book, notice: Notice) -> int:
    conn.execute(
        "INSERT INTO notice (event, person, stage, priority, title, body, at, steady, boot, routes, subject, kind) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (event, person, stage) DO NOTHING",
        (
            notice.event,
            notice.person,
            notice.stage.value,
            int(notice.priority),
            clean(notice.title),
            clean(notice.body),
            notice.made.wall,
            notice.made.steady,
            book.boot(notice.made),
            json.dumps(notice.routes),
            clean(notice.subject),
            clean(notice.kind),
        ),
    )
    name = (notice.event, notice.person, notice.stage.value)
    found = conn.execute("SELECT id FROM notice WHERE event = ? AND person = ? AND stage = ?", name).fetchone()
    return int(found[0])


def _delivery(row: tuple[object, ...]) -> Delivery:
    key, route, rank, progress, attempts, next_try, maybe_sent, error, *of = row
    event, person, stage, priority, title, body, wall, steady, boot, routes, subject, kind = of
    made = Moment(wall, steady, boot)  # type: ignore[arg-type]  # the columns are as the schema says
    notice = Notice(
        event, person, Stage(stage), Priority(priority), title, body, made, tuple(json.loads(routes)), subject, kind  # type: ignore[arg-type]
    )  # fmt: skip
    return Delivery(key, notice, route, rank, Progress(progress), attempts, next_try, bool(maybe_sent), error)  # type: ignore[arg-type]


def pending(conn: sqlite3.Connection) -> list[Delivery]:
    """Return what is waiting or being sent: the most urgent first, then the oldest, then by rank."""
    open_ones = f"{_SELECT} WHERE d.progress IN ('waiting', 'sending') ORDER BY n.priority DESC, n.at, n.event, d.rank"
    return [_delivery(row) for row in conn.execute(open_ones)]


def started(conn: sqlite3.Connection, book: Book, key: int, now: Moment) -> None:
    """Record that a delivery is about to be sent: from here on a crash leaves a doubt, and the doubt is known."""
    conn.execute(
        "UPDATE delivery SET progress = ?, changed = ?, boot = ? WHERE id = ? AND progress IN ('waiting', 'sending')",
        (_SENDING, now.wall, book.boot(now), key),
    )


def finished(
    conn: sqlite3.Connection,
    book: Book,
    key: int,
    outcome: Progress,
    now: Moment,
    next_try: int,
    error: str,
    *,
    maybe_sent: bool,
) -> None:
    """Record how a try ended and what that means for the other routes of the same notice.

    Sent: those that wait are not needed. Given up: the next in rank is due now. Failed, while another route has sent
    it in the meantime: not needed either.
    """
    row = conn.execute("SELECT notice, rank FROM delivery WHERE id = ?", (key,)).fetchone()
    if row is None:
        return  # of a file that was replaced by a copy while the message was under way
    notice, rank = row
    boot = book.boot(now)
    told = "SELECT 1 FROM delivery WHERE notice = ? AND id <> ? AND progress = 'sent'"
    if outcome is Progress.WAITING and conn.execute(told, (notice, key)).fetchone():
        outcome = Progress.NOT_NEEDED
    conn.execute(
        "UPDATE delivery SET progress = ?, attempts = attempts + 1, next_try = ?, error = ?, "
        "maybe_sent = max(maybe_sent, ?), changed = ?, boot = ? WHERE id = ?",
        (outcome.value, next_try, clean(error), maybe_sent, now.wall, boot, key),
    )
    if outcome is Progress.SENT:
        conn.execute(
            "UPDATE delivery SET progress = 'not needed', changed = ?, boot = ? WHERE notice = ? "
            "AND progress = 'waiting'",
            (now.wall, boot, notice),
        )
    elif outcome is Progress.GIVEN_UP:
        conn.execute(
            "UPDATE delivery SET next_try = min(next_try, ?) WHERE id = (SELECT id FROM delivery WHERE notice = ? "
            "AND progress = 'waiting' AND rank > ? ORDER BY rank LIMIT 1)",
            (now.wall, notice, rank),
        )


def drop(conn: sqlite3.Connection, book: Book, firsts: Sequence[int], now: Moment) -> None:
    """Void the waiting deliveries of the alarms that `firsts` raised; one under way takes its course."""
    for first in firsts:
        conn.execute(
            "UPDATE delivery SET progress = 'not needed', changed = ?, boot = ? WHERE progress = 'waiting' AND notice "
            "IN (SELECT n.id FROM notice n JOIN event e ON e.number = n.event WHERE e.number = ? OR e.first = ?)",
            (now.wall, book.boot(now), first, first),
        )


def recover(conn: sqlite3.Connection) -> int:
    """Return how many deliveries a crash caught under way; they wait again, and the next try says "sent again"."""
    done = conn.execute(
        "UPDATE delivery SET progress = ?, maybe_sent = 1, attempts = attempts + 1 WHERE progress = ?",
        (_WAITING, _SENDING),
    )
    return done.rowcount
