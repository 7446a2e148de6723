"""Open the file: to write it, by the daemon alone, or to read it, by anybody."""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from gatewayd.store.migrations import MIGRATIONS, Migration, migrate, refuse_newer
from gatewayd.store.schema import APPLICATION_ID
from gatewayd.store.trouble import StoreTrouble, explain

# How long a reader waits for the moments in which the file is closed to it (recovery after a crash).
BUSY = 5.0  # s
# Another writer is at work for moments only. The daemon tries again by itself and must stop within 5 s, with one
# commit under way and one to come: so it waits a second in here and does the rest of its waiting in the event loop.
WRITER_BUSY = 1.0  # s

# WAL: readers never block the writer. FULL: what was committed survives a power cut (WAL with NORMAL may lose the last
# commits, sqlite.org/pragma.html#pragma_synchronous); with commits 10 s and more apart it costs next to nothing.
_SETTINGS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA journal_size_limit = 8388608",  # bytes; a WAL that grew behind a long reader is cut back to 8 MiB
)


def open_writer(path: Path, steps: Sequence[Migration] = MIGRATIONS) -> sqlite3.Connection:
    """Open or create our file and bring it to the present schema. Raise StoreTrouble with a sentence."""
    if not path.parent.is_dir():
        text = f"The folder {path.parent} for the store does not exist. Create it, or change the path."
        raise StoreTrouble(text, passes=True)  # as when a disk is not there yet
    try:
        conn = sqlite3.connect(path, timeout=WRITER_BUSY, isolation_level=None)
    except sqlite3.Error as error:
        raise explain(error, path) from error
    try:
        _identify(conn, path, new_is_fine=True)
        for setting in _SETTINGS:
            conn.execute(setting)
        migrate(conn, path, steps)
    except (sqlite3.Error, OSError) as error:
        conn.close()
        raise explain(error, path) from error
    except BaseException:
        conn.close()
        raise
    return conn


def open_reader(path: Path, *, across_threads: bool = False) -> sqlite3.Connection:
    """Open our file so that nothing can be written. Raise StoreTrouble with a sentence.

    `across_threads` allows another thread than this one to use it (one at a time).
    """
    if not path.is_file():
        raise StoreTrouble(f"There is no store at {path}. It appears when gatewayd runs for the first time.")
    try:
        try:
            return _reader(path, "mode=ro", across_threads=across_threads)
        except sqlite3.OperationalError:
            # A WAL file needs its index beside it, which a reader without the right to write there cannot make.
            # With no WAL, or an empty one, nobody is writing and everything is in the file itself.
            log = path.with_name(path.name + "-wal")
            if log.exists() and log.stat().st_size:
                raise
            return _reader(path, "immutable=1", across_threads=across_threads)
    except sqlite3.Error as error:
        raise explain(error, path) from error


def _reader(path: Path, how: str, *, across_threads: bool) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{how}"
    conn = sqlite3.connect(uri, uri=True, timeout=BUSY, isolation_level=None, check_same_thread=not across_threads)
    try:
        _identify(conn, path, new_is_fine=False)
        refuse_newer(conn, path)
    except BaseException:
        conn.close()
        raise
    return conn


def _identify(conn: sqlite3.Connection, path: Path, *, new_is_fine: bool) -> None:
    """Refuse a file that is not a database, or is another program's."""
    try:
        mark = conn.execute("PRAGMA application_id").fetchone()[0]
        tables = conn.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB:
            text = f"{path} is not a database. Nothing was changed. Name another file, or move this one away."
            raise StoreTrouble(text, damaged=True) from error
        raise
    if mark == APPLICATION_ID or (new_is_fine and mark == 0 and tables == 0):
        return
    raise StoreTrouble(f"{path} belongs to another program. Nothing was changed. Name another file for the store.")
