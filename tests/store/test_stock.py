"""The stock in the file: rows, history, undo."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.model.stock import Box, Package, Sure, Turn
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.migrations import MIGRATIONS
from gatewayd.store.stock import boxes, free_box_id, moves, package, packages, pen, undo
from gatewayd.store.store import Store
from gatewayd.store.transaction import transaction
from tests.store.make import LONDON, T0, at, batch, event

TOP = Box("top-basket", "Top basket", "porch-chest", layer="top", full=0.5, looked=T0, sure=Sure.COUNTED)
BEANS = Package(0, "top-basket", "beans", 12, 0.45359237, T0, about=True, packed="bag", who="ann", since=T0)


@pytest.fixture
def conn(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a new file to write."""
    with closing(open_writer(path)) as conn:
        yield conn


def filled(conn: sqlite3.Connection) -> Package:
    """Put twelve bags of beans into the top basket of the porch chest."""
    with transaction(conn):
        writing = pen(conn, T0, "ann")
        writing.new_box(TOP)
        return writing.add(BEANS)


def test_what_was_written(conn: sqlite3.Connection) -> None:
    """A box and a package are read back as they were written, whole or of one freezer."""
    beans = filled(conn)

    assert boxes(conn) == boxes(conn, "porch-chest") == [TOP]
    assert packages(conn) == packages(conn, "porch-chest") == [beans] == [replace(BEANS, id=1)]
    assert package(conn, 1) == beans
    assert boxes(conn, "shed-chest") == packages(conn, "shed-chest") == []


def test_bare(conn: sqlite3.Connection) -> None:
    """A package of which only the food is known is kept as such."""
    with transaction(conn):
        writing = pen(conn, T0, "ann")
        writing.new_box(Box("somewhere", "Somewhere"))
        bare = writing.add(Package(0, "somewhere", "plums"))

    assert packages(conn) == [bare]
    assert (bare.count, bare.each, bare.frozen, bare.weight) == (None, None, None, None)


def test_history(conn: sqlite3.Connection) -> None:
    """Every move is kept with the row before and after, the newest first."""
    beans = filled(conn)
    eleven = replace(beans, count=11)
    with transaction(conn):
        pen(conn, T0 + 1, "ben").change(beans, eleven, Turn.TAKEN, "supper")

    last, added, boxed = moves(conn)

    assert (last.turn, last.before, last.after, last.who, last.why) == (Turn.TAKEN, beans, eleven, "ben", "supper")
    assert (added.turn, added.before, added.after) == (Turn.ADDED, None, beans)
    assert (boxed.box_before, boxed.box_after, boxed.set) == (None, TOP, added.set)
    assert moves(conn, package=1) == [last, added]
    assert moves(conn, box="top-basket") == [last, added, boxed]
    assert moves(conn, last=1) == [last]


def test_gone(conn: sqlite3.Connection) -> None:
    """What was used up is off the list and still known."""
    beans = filled(conn)
    with transaction(conn):
        pen(conn, T0 + 1, "ben").change(beans, replace(beans, count=0, gone=T0 + 1), Turn.USED)

    assert packages(conn) == []
    assert [one.gone for one in packages(conn, gone=True)] == [T0 + 1]


class TestUndo:
    def test_change(self, conn: sqlite3.Connection) -> None:
        """An undone change leaves the row as it was before, and both stay in the history."""
        beans = filled(conn)
        with transaction(conn):
            pen(conn, T0 + 1, "ben").change(beans, replace(beans, count=0, gone=T0 + 1), Turn.USED)
        with transaction(conn):
            undone = undo(conn, T0 + 2, "ann")

        assert [move.turn for move in undone] == [Turn.USED]
        assert packages(conn) == [beans]
        assert [(m.turn, m.undone) for m in moves(conn, last=2)] == [(Turn.UNDONE, None), (Turn.USED, T0 + 2)]

    def test_one_after_the_other(self, conn: sqlite3.Connection) -> None:
        """Undoing again goes one order further back, down to the empty list, and then does nothing."""
        beans = filled(conn)
        with transaction(conn):
            pen(conn, T0 + 1, "ben").change(beans, replace(beans, count=3), Turn.COUNTED)
        for _ in range(2):
            with transaction(conn):
                undo(conn, T0 + 2, "ann")

        assert boxes(conn) == packages(conn, gone=True) == []
        with transaction(conn):
            assert undo(conn, T0 + 3, "ann") == []

    def test_numbers(self, conn: sqlite3.Connection) -> None:
        """The number of a package whose adding was undone, and the id of such a box, are not given again."""
        filled(conn)
        with transaction(conn):
            undo(conn, T0 + 1, "ann")
        with transaction(conn):
            writing = pen(conn, T0 + 2, "ann")
            assert free_box_id(conn, "top-basket") == "top-basket-2"
            writing.new_box(Box("top-basket-2", "Top basket"))
            assert writing.add(replace(BEANS, box="top-basket-2")).id == 2

    def test_box(self, conn: sqlite3.Connection) -> None:
        """A box that was taken off the list, or changed, is as before."""
        with transaction(conn):
            pen(conn, T0, "ann").new_box(TOP)
        with transaction(conn):
            pen(conn, T0, "ann").drop_box(TOP)
        assert boxes(conn) == []
        with transaction(conn):
            undo(conn, T0, "ann")
        assert boxes(conn) == [TOP]


def test_older_file(path: Path) -> None:
    """A file that an older gatewayd wrote is read as holding no food."""
    open_writer(path, MIGRATIONS[:3]).close()

    with closing(open_reader(path)) as conn:
        assert boxes(conn) == packages(conn) == moves(conn) == []
        assert package(conn, 1) is None


class TestCarryOut:
    async def test_once(self, store: Store) -> None:
        """An order with the same key is carried out once and answered alike."""

        def work(conn: sqlite3.Connection) -> str:
            writing = pen(conn, T0, "ann")
            writing.new_box(Box(free_box_id(conn, "bin"), "Bin"))
            return "There is a bin."

        assert await store.carry_out(work, at(T0), "key-1") == ("There is a bin.", True)
        assert await store.carry_out(work, at(T0), "key-1") == ("There is a bin.", False)
        assert [box.id for box in await store.ask(boxes)] == ["bin"]

    async def test_nothing_half_done(self, store: Store) -> None:
        """Work that fails in the middle leaves nothing behind."""

        def work(conn: sqlite3.Connection) -> str:
            pen(conn, T0, "ann").new_box(TOP)
            raise ValueError("no such food")

        with pytest.raises(ValueError, match="no such food"):
            await store.carry_out(work, at(T0), "key-1")

        assert await store.ask(boxes) == await store.ask(moves) == []


async def test_damaged_file(path: Path) -> None:
    """After damage the stock is as it was last, also what changed since the copy and what was taken back."""
    store = await Store.open(path, LONDON)
    await store.commit(batch(events=[event(1)]))

    def begin(conn: sqlite3.Connection) -> str:
        writing = pen(conn, T0, "ann")
        writing.new_box(TOP)
        writing.add(BEANS)
        return ""

    def more(conn: sqlite3.Connection) -> str:
        pen(conn, T0 + 1, "ann").add(replace(BEANS, food="plums"))
        return ""

    def less(conn: sqlite3.Connection) -> str:
        undo(conn, T0 + 3, "ann")
        beans = packages(conn)[0]
        pen(conn, T0 + 3, "ann").change(beans, replace(beans, count=2), Turn.TAKEN)
        return ""

    await store.carry_out(begin, at(T0))
    await store.carry_out(more, at(T0 + 1))
    copy = await store.copy(path.parent / "copies", at(T0 + 2), 3)
    await store.carry_out(less, at(T0 + 3))

    await store.mend([copy], "20261125T100000Z", 1)

    assert [(one.food, one.count) for one in await store.ask(packages)] == [("beans", 2)]
    assert [move.turn for move in await store.ask(moves)][:2] == [Turn.TAKEN, Turn.UNDONE]
    await store.close()
