"""Say in the keeper's words what is wrong with the file."""

import sqlite3
from pathlib import Path

_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_PRIMARY = 0xFF  # the low byte of an SQLite result code is its family (sqlite.org/rescode.html)


class StoreTrouble(Exception):
    """The store could not do what was asked, and nothing of it was done.

    The text is for the keeper. `damaged` says that the file itself is broken, so that trying again is of no use:
    it must be set aside and a copy put in its place. `gone` says that the file is no longer where it was.
    """

    def __init__(self, text: str, *, damaged: bool = False, gone: bool = False) -> None:
        """Take the sentence."""
        super().__init__(text)
        self.damaged = damaged
        self.gone = gone


def explain(error: sqlite3.Error | OSError, path: Path) -> StoreTrouble:
    """Return the trouble behind an error of SQLite or of the file system."""
    code = getattr(error, "sqlite_errorcode", None)
    family = code & _PRIMARY if code is not None else None
    if family in _DAMAGED:
        return StoreTrouble(
            f"The store {path} is damaged ({error}). It is left as it is; put a copy in its place with: "
            "gatewayd restore COPY",
            damaged=True,
        )
    match family:
        case sqlite3.SQLITE_FULL:
            text = f"The disk that holds {path} is full. Nothing was stored; free some space and it goes on by itself."
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            text = f"The store {path} is locked by another program. Nothing was stored; close that program."
        case sqlite3.SQLITE_READONLY:
            text = f"The store {path} cannot be written: the file or its disk is read-only. Make it writable again."
        case sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_PERM:
            text = f"The store {path} cannot be opened. See that its folder exists and that gatewayd may write there."
        case sqlite3.SQLITE_IOERR:
            text = f"The disk that holds {path} does not work as it should ({error}). Look at the disk or the card."
        case _:
            text = f"The store {path} could not be used: {error}."
    return StoreTrouble(text)
