"""Copies: the nightly one without raw readings, a whole backup while running, and putting one back.

What a restored file keeps: every id and number in it (sensors, series, events, deliveries). Event numbers and delivery
ids go on above the highest that either file has used, so that no number a person has seen comes to mean something else.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import os
import re
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import tzinfo
from pathlib import Path

from gatewayd.model.moment import Moment, from_wall
from gatewayd.store.duplicate import Told, check_whole, duplicate, settle, sync, temp_beside
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.state import alive, last_event, put, set_alive
from gatewayd.store.transaction import transaction
from gatewayd.store.trouble import StoreTrouble, explain

RAW = ("log", "reading", "late")  # most of the file, and worth least after a bad night: the roll-ups tell the story

_COPY = re.compile(r"gatewayd-\d{4}-\d\d-\d\d\.db")
_INSIDE = {"sqlite_sequence"}  # written by SQLite itself as rows with AUTOINCREMENT arrive; its value is copied after


def nightly(source: Path, folder: Path, now: Moment, zone: tzinfo, keep: int) -> Path:
    """Copy all but the raw readings to `gatewayd-<local date>.db` in `folder` and keep the newest `keep` by date."""
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"gatewayd-{from_wall(now.wall).astimezone(zone):%Y-%m-%d}.db"
    temp = temp_beside(target)
    try:
        with closing(open_reader(source, across_threads=True)) as reader:
            reader.execute("BEGIN")  # one moment for all tables
            _copy_tables(reader, temp)
        settle(temp, target)
    finally:
        temp.unlink(missing_ok=True)
    for old in copies(folder)[max(keep, 1) :]:
        old.unlink()
    return target


def copies(folder: Path) -> list[Path]:
    """Return the nightly copies in `folder`, the newest first, by the date in their names."""
    if not folder.is_dir():
        return []
    return sorted((path for path in folder.iterdir() if _COPY.fullmatch(path.name)), reverse=True)


def _copy_tables(reader: sqlite3.Connection, temp: Path) -> None:
    mark = reader.execute("PRAGMA application_id").fetchone()[0]
    with closing(sqlite3.connect(temp, isolation_level=None)) as copy, transaction(copy):
        copy.execute(f"PRAGMA application_id = {mark}")
        made = reader.execute(
            "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type = 'index', rowid"
        ).fetchall()
        tables = [(name, sql) for kind, name, sql in made if kind == "table" and name not in _INSIDE]
        for name, sql in tables:
            copy.execute(sql)
            if name not in RAW:
                _copy_rows(reader, copy, name)
        for kind, _, sql in made:
            if kind == "index":
                copy.execute(sql)
        copy.execute("DELETE FROM sqlite_sequence")
        _copy_rows(reader, copy, "sqlite_sequence")
        awake = alive(reader)
        if awake is not None:
            set_alive(copy, awake)


def _copy_rows(reader: sqlite3.Connection, copy: sqlite3.Connection, table: str) -> None:
    found = reader.execute(f"SELECT * FROM {table}")  # table names come from our own schema
    marks = ", ".join("?" * len(found.description))
    copy.executemany(f"INSERT INTO {table} VALUES ({marks})", found)


def backup(source: Path, target: Path, told: Told | None = None, stop: Callable[[], bool] = lambda: False) -> None:
    """Copy the whole file as it is at this moment; commits go on meanwhile. `target` must not exist.

    `told` hears (pages done, pages in all). When `stop` says so it ends early with StoreTrouble and leaves nothing.
    """
    if target.exists():
        raise StoreTrouble(f"{target} exists already. Nothing was written; name a new file.")
    if not target.parent.is_dir():
        raise StoreTrouble(f"The folder {target.parent} does not exist. Nothing was written; create it first.")

    def step(done: int, total: int) -> None:
        if stop():
            raise StoreTrouble("The backup was stopped; nothing was left behind.")
        if told is not None:
            told(done, total)

    with closing(open_reader(source, across_threads=True)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM migration").fetchone()  # the read transaction begins here
        duplicate(reader, target, step)


def verify(path: Path) -> None:
    """Raise StoreTrouble unless `path` is a whole file of ours that this version can read."""
    with closing(open_reader(path)) as reader:
        try:
            check_whole(reader, path)
        except sqlite3.Error as error:
            raise explain(error, path) from error


def put_back(store: Path, copy: Path, stamp: str, floor: int = 0) -> Path | None:
    """Put `copy` in the place of `store`, which nobody may have open to write. Return where the old file went.

    The copy is verified first and stays where it is. The old file is kept beside as `<store>.<stamp>`, None if there
    was none. `floor` is an event number that is known to have been given, for an old file that cannot be read.
    Messages that were waiting in the copy are marked as perhaps sent, unless the old file knows what became of them.
    """
    verify(copy)
    return put_in_place(store, copy, stamp, lambda conn: carry_over(conn, store, floor))


def put_in_place(store: Path, copy: Path | None, stamp: str, fit: Callable[[sqlite3.Connection], None]) -> Path | None:
    """Put `copy`, or a new file, in the place of `store`, after `fit` has worked on it in one transaction."""
    aside = store.with_name(f"{store.name}.{stamp}")
    if aside.exists():
        raise StoreTrouble(f"{aside} exists already. Nothing was changed; try again in a moment.")
    temp = temp_beside(store)
    try:
        if copy is not None:
            with closing(open_reader(copy)) as reader:
                duplicate(reader, temp)
        with closing(open_writer(temp)) as conn:
            with transaction(conn):
                fit(conn)
            conn.execute("PRAGMA journal_mode = DELETE")  # nothing of it may lie in a log beside it when it is renamed
        sync(temp)
        had_one = store.is_file()
        if had_one:
            keep(store, aside)
        temp.replace(store)
        sync(store.parent)
    finally:
        for part in parts(temp):
            part.unlink(missing_ok=True)
    return aside if had_one else None


def set_aside(store: Path, stamp: str) -> Path:
    """Move a damaged file out of the way, with its log, and keep it; return where it is now."""
    aside = store.with_name(f"{store.name}.{stamp}")
    keep(store, aside)
    store.unlink()
    sync(store.parent)
    return aside


def parts(store: Path) -> tuple[Path, Path, Path]:
    """Return the file, its log and the index of the log."""
    return store, store.with_name(store.name + "-wal"), store.with_name(store.name + "-shm")


def keep(store: Path, aside: Path) -> None:
    """Give the file a second name and move its log there, so that the next file cannot take that log for its own.

    The first name stays until it is replaced, so there is no moment at which a start would find no file.
    """
    _, log, index = parts(store)
    try:
        os.link(store, aside)
    except OSError:  # a file system without links, as on a memory stick
        shutil.copyfile(store, aside)
        sync(aside)
    if log.exists() and log.stat().st_size:
        log.replace(parts(aside)[1])
    log.unlink(missing_ok=True)
    index.unlink(missing_ok=True)


def carry_over(conn: sqlite3.Connection, store: Path, floor: int) -> None:
    """Take from the old file how far numbers were used and what became of the messages that wait in the copy."""
    highest, deliveries = max(floor, last_event(conn)), 0
    conn.execute("UPDATE delivery SET maybe_sent = 1 WHERE progress IN ('waiting', 'sending')")
    if store.is_file():
        # an old file that cannot be read may be the very reason for putting a copy back
        with suppress(StoreTrouble, sqlite3.Error), closing(open_reader(store)) as old:
            highest = max(highest, last_event(old))
            deliveries = old.execute("SELECT coalesce(max(id), 0) FROM delivery").fetchone()[0]
            for key, *name in conn.execute(_WAITING).fetchall():
                became = old.execute(_BECAME, name).fetchone()
                if became is not None:
                    conn.execute(
                        "UPDATE delivery SET progress = ?, attempts = ?, next_try = ?, maybe_sent = ?, error = ? "
                        "WHERE id = ?",
                        (*became, key),
                    )
    put(conn, "event_floor", str(highest))
    used = conn.execute("SELECT seq FROM sqlite_sequence WHERE name = 'delivery'").fetchone()
    conn.execute("DELETE FROM sqlite_sequence WHERE name = 'delivery'")
    conn.execute("INSERT INTO sqlite_sequence VALUES ('delivery', ?)", (max(deliveries, used[0] if used else 0),))


_WAITING = """SELECT d.id, n.event, n.person, n.stage, d.route FROM delivery d JOIN notice n ON n.id = d.notice
    WHERE d.progress IN ('waiting', 'sending')"""
_BECAME = """SELECT d.progress, d.attempts, d.next_try, d.maybe_sent, d.error FROM delivery d
    JOIN notice n ON n.id = d.notice WHERE n.event = ? AND n.person = ? AND n.stage = ? AND d.route = ?"""
