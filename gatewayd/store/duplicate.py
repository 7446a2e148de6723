"""Write a whole, checked copy of an open database to a new file."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from gatewayd.store.trouble import StoreTrouble

Told = Callable[[int, int], None]  # pages done, pages in all

STEP = 256  # pages of 4 KiB: 1 MiB a step, some tens of ms on a card, so that progress shows and a stop is prompt


def duplicate(conn: sqlite3.Connection, target: Path, told: Told | None = None) -> None:
    """Copy the database of `conn` to `target`, which appears only when it is complete, checked and on the disk.

    The caller holds a read transaction on `conn` where others may write meanwhile. `told` may raise to stop it.
    """
    temp = temp_beside(target)
    try:
        with closing(sqlite3.connect(temp, isolation_level=None)) as copy:
            conn.backup(copy, pages=STEP, progress=_progress(told), sleep=0)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, that can be read from a read-only disk too
        settle(temp, target)
    finally:
        temp.unlink(missing_ok=True)


def _progress(told: Told | None) -> Callable[[int, int, int], None] | None:
    if told is None:
        return None
    return lambda _status, remaining, total: told(total - remaining, total)


def temp_beside(target: Path) -> Path:
    """Return a free temporary name in the folder of `target`, from which a rename is atomic."""
    temp = target.with_name(f".{target.name}.part")
    temp.unlink(missing_ok=True)
    return temp


def settle(temp: Path, target: Path) -> None:
    """Check `temp`, force it to the disk and give it its name; raise StoreTrouble if it is not sound."""
    with closing(sqlite3.connect(temp, isolation_level=None)) as copy:
        check_whole(copy, temp)
    sync(temp)
    temp.replace(target)
    sync(target.parent)


def check_whole(conn: sqlite3.Connection, path: Path) -> None:
    """Raise StoreTrouble if any page of the database is damaged."""
    found = [str(row[0]) for row in conn.execute("PRAGMA integrity_check(3)")]
    if found != ["ok"]:
        raise StoreTrouble(f"The file {path} is damaged: {'; '.join(found)}. Choose another copy.", damaged=True)


def sync(path: Path) -> None:
    """Force a file, or the names in a folder, to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
