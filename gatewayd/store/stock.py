"""Read and write what is in the freezers: the tables box, package and move.

A reader takes any connection to the file. A writer takes the connection of an open transaction (`Store.carry_out`),
changes rows and keeps in `move` what each was before and after; `Pen` holds who writes, when, and which order it is.
A file that an older gatewayd wrote last has no such tables: it holds no food.
"""

# ruff: noqa: S608 -- only names of our own are put into the SQL; values are always bound

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from gatewayd.model.stock import Box, Move, Package, Sure, Turn
from gatewayd.store.row import clean

Key = int | str
_PACKAGE = "p.id, p.box, p.food, p.count, p.each, p.frozen, p.about, p.packed, p.who, p.note, p.since, p.fresh, p.gone"
_MOVE = 'm.id, m.at, m.who, m.turn, m."set", m.box, m.package, m.before, m.after, m.why, m.undone'


# -- reading ---------------------------------------------------------------------------------------------------


def boxes(conn: sqlite3.Connection, freezer: str | None = None) -> list[Box]:
    """Return the boxes there are, of one freezer or of all, by freezer and name."""
    if not _known(conn):
        return []
    found = conn.execute(
        'SELECT id, name, freezer, layer, place, "full", looked, sure FROM box '
        "WHERE gone IS NULL AND (?1 IS NULL OR freezer = ?1) ORDER BY freezer, name, id",
        (freezer,),
    )
    return [box_of(row) for row in found]


def packages(conn: sqlite3.Connection, freezer: str | None = None, *, gone: bool = False) -> list[Package]:
    """Return the packages there are, of one freezer or of all, by box and number; with `gone` also those of old."""
    if not _known(conn):
        return []
    if freezer is None:
        found = conn.execute(
            f"SELECT {_PACKAGE} FROM package p WHERE (?1 OR p.gone IS NULL) ORDER BY p.box, p.id",
            (gone,),
        )
    else:
        found = conn.execute(
            f"SELECT {_PACKAGE} FROM package p JOIN box b ON b.id = p.box "
            "WHERE (?1 OR p.gone IS NULL) AND b.freezer = ?2 ORDER BY p.box, p.id",
            (gone, freezer),
        )
    return [package_of(row) for row in found]


def package(conn: sqlite3.Connection, number: int) -> Package | None:
    """Return one package, there or gone, None if there never was one of that number."""
    if not _known(conn):
        return None
    row = conn.execute(f"SELECT {_PACKAGE} FROM package p WHERE p.id = ?", (number,)).fetchone()
    return None if row is None else package_of(row)


def moves(
    conn: sqlite3.Connection,
    last: int | None = None,
    package: int | None = None,
    box: str | None = None,
    below: int | None = None,
) -> list[Move]:
    """Return the history, the newest first: all, the `last` so many, of one package, or of one box and all in it.

    With `below` it is what comes before the line of that number.
    """
    if not _known(conn):
        return []
    found = conn.execute(
        f"SELECT {_MOVE} FROM move m WHERE (?1 IS NULL OR m.package = ?1) AND "
        "(?2 IS NULL OR m.box = ?2 OR m.package IN (SELECT id FROM package WHERE box = ?2)) "
        "AND (?4 IS NULL OR m.id < ?4) ORDER BY m.id DESC LIMIT ?3",
        (package, box, -1 if last is None else last, below),
    )
    return [move_of(row) for row in found]


def box_of(row: tuple[Any, ...]) -> Box:
    """Build a box from its columns, `gone` left out."""
    number, name, freezer, layer, place, full, looked, sure = row[:8]
    return Box(number, name, freezer, layer, place, full, looked, Sure(sure))


def package_of(row: tuple[Any, ...]) -> Package:
    """Build a package from its columns."""
    number, box, food, count, each, frozen, about, packed, who, note, since, fresh, gone = row
    return Package(
        number, box, food, count, each, frozen, about == 1, packed, who, note, since, fresh == 1, gone
    )  # fmt: skip


def move_of(row: tuple[Any, ...]) -> Move:
    """Build a line of the history from its columns."""
    number, at, who, turn, of, box, _, before, after, why, undone = row
    old, new = _loaded(before), _loaded(after)
    if box is not None:
        return Move(number, at, who, Turn(turn), of, _box(old), _box(new), None, None, why, undone)
    return Move(number, at, who, Turn(turn), of, None, None, _package(old), _package(new), why, undone)


def _loaded(text: str | None) -> Mapping[str, Any] | None:
    found: Mapping[str, Any] | None = None if text is None else json.loads(text)
    return found


def _box(plain: Mapping[str, Any] | None) -> Box | None:
    return None if plain is None else Box(**{**plain, "sure": Sure(plain["sure"])})


def _package(plain: Mapping[str, Any] | None) -> Package | None:
    return None if plain is None else Package(**plain)


def _known(conn: sqlite3.Connection) -> bool:
    return conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'package'").fetchone() is not None


# -- writing ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pen:
    """Write one order: at `now` (wall ms), by `who`. All it changes is undone together. `set` is its number."""

    conn: sqlite3.Connection
    now: int
    who: str
    set: int

    def new_box(self, box: Box, why: str = "") -> None:
        """Make a box; its id must never have been used, see `free_box_id`."""
        self._put_box(box)
        self._keep(Turn.ADDED, None, box, why)

    def change_box(self, before: Box, after: Box, turn: Turn = Turn.CHANGED, why: str = "") -> None:
        """Write a box as it is now."""
        self._put_box(after)
        self._keep(turn, before, after, why)

    def drop_box(self, box: Box, why: str = "") -> None:
        """Take a box off the list; its id stays taken."""
        self.conn.execute("UPDATE box SET gone = ? WHERE id = ?", (self.now, box.id))
        self._keep(Turn.CHANGED, box, None, why)

    def add(self, package: Package, why: str = "") -> Package:
        """Add a package and return it with its number."""
        added = replace(package, id=self.free_number())
        self.add_all((added,), why)
        return added

    def free_number(self) -> int:
        """Return the first of the numbers that no package has ever had."""
        return 1 + _highest(self.conn)

    def add_all(self, those: Iterable[Package], why: str = "") -> list[Package]:
        """Add packages and return them; who has the number 0 gets a free one, the others have one from there on."""
        begin = self.free_number()
        added = [one if one.id else replace(one, id=begin + n) for n, one in enumerate(those)]
        self.conn.executemany(_PUT, map(_package_row, added))
        kept = self.now, clean(self.who), Turn.ADDED.value, self.set
        self.conn.executemany(_KEEP, ((*kept, None, one.id, None, _plain(one), clean(why)) for one in added))
        return added

    def change(self, before: Package, after: Package, turn: Turn, why: str = "") -> None:
        """Write a package as it is now; with `gone` set it is off the list, and kept."""
        self._put_package(after)
        self._keep(turn, before, after, why)

    def _put_box(self, box: Box) -> None:
        self.conn.execute(
            "INSERT INTO box VALUES (?, ?, ?, ?, ?, ?, ?, ?, NULL) ON CONFLICT (id) DO UPDATE SET "
            "name = excluded.name, freezer = excluded.freezer, layer = excluded.layer, place = excluded.place, "
            '"full" = excluded."full", looked = excluded.looked, sure = excluded.sure, gone = NULL',
            (
                box.id, clean(box.name), box.freezer, clean(box.layer), clean(box.place), box.full, box.looked,
                box.sure.value,
            ),
        )  # fmt: skip

    def _put_package(self, one: Package) -> None:
        self.conn.execute(
            f"{_PUT} ON CONFLICT (id) DO UPDATE SET "
            "box = excluded.box, food = excluded.food, count = excluded.count, each = excluded.each, "
            "frozen = excluded.frozen, about = excluded.about, packed = excluded.packed, who = excluded.who, "
            "note = excluded.note, since = excluded.since, fresh = excluded.fresh, gone = excluded.gone",
            _package_row(one),
        )

    def _keep(self, turn: Turn, before: Box | Package | None, after: Box | Package | None, why: str) -> None:
        one = after or before
        box = one.id if isinstance(one, Box) else None
        number = one.id if isinstance(one, Package) else None
        self.conn.execute(
            _KEEP,
            (self.now, clean(self.who), turn.value, self.set, box, number, _plain(before), _plain(after), clean(why)),
        )


_PUT = "INSERT INTO package VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_KEEP = 'INSERT INTO move (at, who, turn, "set", box, package, before, after, why) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)'


def _package_row(one: Package) -> tuple[object, ...]:
    return (
        one.id, one.box, clean(one.food), one.count, one.each, one.frozen, one.about, clean(one.packed),
        clean(one.who), clean(one.note), one.since, one.fresh, one.gone,
    )  # fmt: skip


def pen(conn: sqlite3.Connection, now: int, who: str) -> Pen:
    """Begin to write an order, inside the caller's transaction."""
    highest = conn.execute('SELECT coalesce(max("set"), 0) FROM move').fetchone()[0]
    return Pen(conn, now, who, int(highest) + 1)


def free_box_id(conn: sqlite3.Connection, wish: str) -> str:
    """Return `wish` (a slug), or it with a number behind, as an id that no box has ever had."""
    taken = {row[0] for row in conn.execute("SELECT id FROM box UNION SELECT box FROM move WHERE box IS NOT NULL")}
    number, found = 1, wish
    while found in taken:
        number += 1
        found = f"{wish[: 39 - len(str(number))]}-{number}"
    return found


def standing(conn: sqlite3.Connection) -> int | None:
    """Return the number of the last order that stands, None if there is none."""
    found: int | None = conn.execute(
        'SELECT max("set") FROM move WHERE undone IS NULL AND turn != ?', (Turn.UNDONE.value,)
    ).fetchone()[0]
    return found


def undo(conn: sqlite3.Connection, now: int, who: str) -> list[Move]:
    """Undo the last order that stands, and return its moves, the newest first; empty if there is none.

    Every row is put back as it was before; a package that was added then is taken off the table, and its number is not
    given again. What an undo did is not undone by the next, which goes one order further back.
    """
    of = standing(conn)
    if of is None:
        return []
    found = conn.execute(f'SELECT {_MOVE} FROM move m WHERE m."set" = ? ORDER BY m.id DESC', (of,))
    done = [move_of(row) for row in found.fetchall()]
    writing = pen(conn, now, who)
    for move in done:
        if move.before is not None or move.after is not None:
            _put_back(writing, move.before, move.after)
        else:
            _put_box_back(writing, move.box_before, move.box_after)
    conn.execute('UPDATE move SET undone = ? WHERE "set" = ?', (now, of))
    return done


def _put_back(writing: Pen, before: Package | None, after: Package | None) -> None:
    if before is not None:
        writing.change(after or before, before, Turn.UNDONE)
    elif after is not None:
        writing.conn.execute("DELETE FROM package WHERE id = ?", (after.id,))
        writing._keep(Turn.UNDONE, after, None, "")  # noqa: SLF001 - its own kind


def _put_box_back(writing: Pen, before: Box | None, after: Box | None) -> None:
    if before is not None:
        writing.change_box(after or before, before, Turn.UNDONE)
    elif after is not None:
        writing.conn.execute("UPDATE box SET gone = ? WHERE id = ?", (writing.now, after.id))
        writing._keep(Turn.UNDONE, after, None, "")  # noqa: SLF001 - its own kind


def _highest(conn: sqlite3.Connection) -> int:
    """Return the highest number that a package has ever had."""
    row = conn.execute(
        "SELECT max(coalesce((SELECT max(id) FROM package), 0), "
        "coalesce((SELECT max(package) FROM move WHERE package IS NOT NULL), 0))"
    ).fetchone()
    return int(row[0])


# (field, what it is where nothing was said: that need not be kept)
_UNSAID = {cls: tuple((field.name, field.default) for field in fields(cls)) for cls in (Box, Package)}


def _plain(one: Box | Package | None) -> str | None:
    if one is None:
        return None
    plain = {name: value for name, unsaid in _UNSAID[type(one)] if (value := getattr(one, name)) != unsaid}
    if isinstance(one, Box):
        plain["sure"] = one.sure.value
    return clean(json.dumps(plain, ensure_ascii=False))
