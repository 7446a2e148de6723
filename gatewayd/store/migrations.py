"""Bring a file to the present schema, one numbered and named step at a time.

To add one: append a `Migration` to MIGRATIONS, never change an old one, and add a test that starts from the file
before it with rows in it.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gatewayd.store.duplicate import duplicate
from gatewayd.store.schema import VERSION_1, VERSION_2, VERSION_3, VERSION_4
from gatewayd.store.transaction import transaction
from gatewayd.store.trouble import StoreTrouble


@dataclass(frozen=True, slots=True)
class Migration:
    """Name one step; its statements and the record that it ran are committed together."""

    number: int
    name: str
    statements: tuple[str, ...]


MIGRATIONS = (
    Migration(1, "first tables", VERSION_1),
    Migration(2, "counters of encrypted sensors", VERSION_2),
    Migration(3, "why people were told or not", VERSION_3),
    Migration(4, "the food, and what was done for it", VERSION_4),
)


def version(conn: sqlite3.Connection) -> int:
    """Return the number of the last migration the file has seen, 0 for a new file."""
    if conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migration'").fetchone() is None:
        return 0
    return int(conn.execute("SELECT coalesce(max(number), 0) FROM migration").fetchone()[0])


def refuse_newer(conn: sqlite3.Connection, path: Path, steps: Sequence[Migration] = MIGRATIONS) -> None:
    """Raise StoreTrouble if a newer gatewayd wrote the file."""
    found, known = version(conn), steps[-1].number
    if found > known:
        raise StoreTrouble(
            f"{path} was written by a newer gatewayd (schema {found}; this one knows up to {known}). Nothing was "
            "changed. Install the newer gatewayd again, or restore a copy made before the change."
        )


def migrate(conn: sqlite3.Connection, path: Path, steps: Sequence[Migration] = MIGRATIONS) -> list[str]:
    """Run the steps the file lacks and return their names. A file that is in use is first copied beside itself.

    A step that fails leaves the file as it was before that step. The copy is called `<file>.before-<number>`.
    """
    refuse_newer(conn, path, steps)
    found = version(conn)
    due = [step for step in steps if step.number > found]
    if due and found:
        duplicate(conn, path.with_name(f"{path.name}.before-{due[0].number}"))
    for step in due:
        with transaction(conn):
            for statement in step.statements:
                conn.execute(statement)
            conn.execute("INSERT INTO migration VALUES (?, ?)", (step.number, step.name))
    return [step.name for step in due]
