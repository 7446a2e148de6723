"""Say in the keeper's words what is wrong with the file."""

import errno
import sqlite3
from pathlib import Path

_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_PASSES = {
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_IOERR,
}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_PRIMARY = 0xFF  # the low byte of an SQLite result code is its family (sqlite.org/rescode.html)


class StoreTrouble(Exception):
    """The store could not do what was asked, and nothing of it was done.

    The text is for the keeper. `damaged` says that the file itself is broken, so that trying again is of no use:
    it must be set aside and a copy put in its place. `gone` says that the file is no longer where it was. `passes`
    says that it may end without anybody touching the settings: a full or read-only disk, a lock, a disk that fails;
    `busy` that it is a lock, which most often ends within seconds.
    """

    def __init__(
        self, text: str, *, damaged: bool = False, gone: bool = False, passes: bool = False, busy: bool = False
    ) -> None:
        """Take the sentence."""
        super().__init__(text)
        self.damaged = damaged
        self.gone = gone
        self.passes = passes or busy
        self.busy = busy


def explain(error: sqlite3.Error | OSError, path: Path) -> StoreTrouble:
    """Return the trouble behind an error of SQLite or of the file system."""
    code = getattr(error, "sqlite_errorcode", None)
    family = code & _PRIMARY if code is not None else None
    if family in _DAMAGED:
        return StoreTrouble(
            f"The store {path} is damaged ({error}). It is left as it is. Put a copy in its place with: "
            "gatewayd restore COPY",
            damaged=True,
        )
    full = f"The disk that holds {path} is full. Nothing was stored; free some space and it goes on by itself."
    read_only = f"The store {path} cannot be written: the file or its disk is read-only. Make it writable again."
    match family:
        case sqlite3.SQLITE_FULL:
            text = full
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            text = f"The store {path} is locked by another program. Nothing was stored; close that program."
        case sqlite3.SQLITE_READONLY:
            text = read_only
        case sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_PERM:
            text = f"The store {path} cannot be opened. See that its folder exists and that gatewayd may write there."
        case sqlite3.SQLITE_IOERR:
            text = f"The disk that holds {path} does not work as it should ({error}). Look at the disk or the card."
        case _:
            number = getattr(error, "errno", None)
            if number in _NO_ROOM:
                text = full
            elif number == errno.EROFS:
                text = read_only
            else:
                text = f"The store {path} could not be used: {error}."
    busy = family in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
    return StoreTrouble(text, passes=family in _PASSES or isinstance(error, OSError), busy=busy)
