"""Write and read what was done for freezers and sensors: the table `chore`, and with it the checks in ice."""

import json
import math
import sqlite3
from collections.abc import Mapping

from gatewayd.model.chore import Chore, Kind
from gatewayd.model.event import Fact
from gatewayd.store.row import clean

_COLUMNS = "id, subject, kind, at, who, facts"
_Row = tuple[int, str, str, int, str, str]


def add(
    conn: sqlite3.Connection, subject: str, kind: Kind, at: int, who: str = "", facts: Mapping[str, Fact] | None = None
) -> Chore:
    """Write one line, inside the caller's transaction, and return it with its number. `at` in wall ms.

    A fact that is no number (NaN, infinite) is kept as nothing, for JSON has no word for it.
    """
    plain = {clean(key): _plain(fact) for key, fact in (facts or {}).items()}
    made = conn.execute(
        "INSERT INTO chore (subject, kind, at, who, facts) VALUES (?, ?, ?, ?, ?)",
        (clean(subject), kind.value, at, clean(who), json.dumps(plain, ensure_ascii=False)),
    )
    return Chore(int(made.lastrowid or 0), clean(subject), kind, at, clean(who), plain)


def add_once(conn: sqlite3.Connection, chore: Chore) -> None:
    """Write what the watch saw done, inside the caller's transaction; a batch that is written twice writes it once."""
    there = "SELECT 1 FROM chore WHERE subject = ? AND kind = ? AND at = ?"
    if conn.execute(there, (clean(chore.subject), chore.kind.value, chore.at)).fetchone() is None:
        add(conn, chore.subject, chore.kind, chore.at, chore.who, chore.facts)


def chores(conn: sqlite3.Connection, subject: str | None = None, kind: Kind | None = None) -> list[Chore]:
    """Return what was done, the oldest first; of one subject or kind where it is given.

    The file of an older gatewayd, which has no such table yet, holds nothing.
    """
    if conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'chore'").fetchone() is None:
        return []
    found = conn.execute(
        f"SELECT {_COLUMNS} FROM chore WHERE (?1 IS NULL OR subject = ?1) AND (?2 IS NULL OR kind = ?2) "  # noqa: S608 - names of our own
        "ORDER BY at, id",
        (subject, None if kind is None else kind.value),
    )
    return [_chore(row) for row in found]


def newest(conn: sqlite3.Connection) -> dict[tuple[str, Kind], Chore]:
    """Return the last of each kind for each subject; of two at the same ms the one written later."""
    return {(chore.subject, chore.kind): chore for chore in chores(conn)}


def _chore(row: _Row) -> Chore:
    number, subject, kind, at, who, facts = row
    return Chore(number, subject, Kind(kind), at, who, json.loads(facts))


def _plain(fact: Fact) -> Fact:
    if isinstance(fact, str):
        return clean(fact)
    return None if isinstance(fact, float) and not math.isfinite(fact) else fact
