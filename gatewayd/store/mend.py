"""Put a damaged or vanished file right: keep what is there, take the newest good copy, bring over what can be read."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from gatewayd.model.moment import Moment
from gatewayd.store.copy import carry_over, keep, parts, put_in_place, verify
from gatewayd.store.duplicate import check_whole, duplicate, sync
from gatewayd.store.file import open_reader
from gatewayd.store.salvage import Salvaged, salvage
from gatewayd.store.state import alive, get, last_event, put
from gatewayd.store.trouble import StoreTrouble, explain

# Numbers that a file we can no longer read may have given since the copy: a house makes some tens of events a day.
NUMBERS_UNKNOWN = 1000


@dataclass(frozen=True, slots=True)
class Mended:
    """Say what was done: where the old file is kept, which copy took its place, up to when it reaches, what was saved.

    `copy` is None where there was no good one and a new file was begun.
    """

    aside: Path | None
    copy: Path | None
    reaches: Moment | None
    saved: Salvaged


def examine(path: Path) -> None:
    """Raise StoreTrouble if any page of the file is damaged. Reads all of it, beside whoever writes."""
    with closing(open_reader(path, across_threads=True)) as reader:
        try:
            check_whole(reader, path)
        except sqlite3.Error as error:
            raise explain(error, path) from error


def mend(store: Path, copies: Sequence[Path], stamp: str, floor: int) -> Mended:
    """Put the newest good of `copies` in the place of the damaged `store`, which nobody may have open to write.

    What the damaged file still tells is brought over; the file itself is kept as `<store>.<stamp>`. `floor` is the
    highest event number known to have been given, 0 if that is not known. Raise StoreTrouble when it cannot be done.
    """
    copy = next((each for each in copies if _good(each)), None)
    found: list[tuple[Salvaged, Moment | None]] = []

    def fit(conn: sqlite3.Connection) -> None:
        reaches = alive(conn)
        carry_over(conn, store, floor)
        saved, readable = _salvage(conn, store)
        highest = max(last_event(conn), int(get(conn, "event_floor") or 0))
        put(conn, "event_floor", str(highest if readable or floor else highest + NUMBERS_UNKNOWN))
        found.append((saved, reaches))

    try:
        aside = put_in_place(store, copy, stamp, fit)
    except (sqlite3.Error, OSError) as error:
        raise explain(error, store) from error
    saved, reaches = found[0]
    return Mended(aside, copy, reaches, saved)


def _salvage(conn: sqlite3.Connection, store: Path) -> tuple[Salvaged, bool]:
    """Return what was saved, and whether the events could be read, whose numbers people know."""
    try:
        with closing(open_reader(store)) as old:
            saved = salvage(conn, old)
            old.execute("SELECT max(number) FROM event").fetchone()
            return saved, True
    except (StoreTrouble, sqlite3.Error):
        return Salvaged(), False


def _good(copy: Path) -> bool:
    try:
        verify(copy)
    except (StoreTrouble, OSError):
        return False
    return True


def rescue(conn: sqlite3.Connection, store: Path, stamp: str) -> Path | None:
    """Write the file anew from the connection that still has it open, after it lost its name; nothing is missing.

    Return where a file that somebody put in its place is kept, None if there was none. The connection is to be closed
    before the new file is opened.
    """
    try:
        store.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        whole = store.with_name(f".{store.name}.rescued")
        duplicate(conn, whole)
        aside = store.with_name(f"{store.name}.{stamp}")
        other = store.is_file()
        if other:
            keep(store, aside)
        for part in parts(store)[
            1:
        ]:  # of the lost file: all of it is in the new one, which must not take it for its own
            part.unlink(missing_ok=True)
        whole.replace(store)
        sync(store.parent)
    except (sqlite3.Error, OSError) as error:
        raise explain(error, store) from error
    return aside if other else None
