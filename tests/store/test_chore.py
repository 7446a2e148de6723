"""What was done for freezers and sensors is kept and found again."""

import math
import sqlite3
from collections.abc import Iterator

import pytest

from gatewayd.model.chore import Kind
from gatewayd.store import chore
from gatewayd.store.schema import VERSION_4
from tests.store.make import T0


@pytest.fixture
def conn() -> Iterator[sqlite3.Connection]:
    """Open a store in memory that has only what this part needs."""
    made = sqlite3.connect(":memory:", isolation_level=None)
    for statement in VERSION_4:
        made.execute(statement)
    yield made
    made.close()


def test_comes_back_whole(conn: sqlite3.Connection) -> None:
    """What was written is read again whole, the oldest first, whatever the order of writing."""
    late = chore.add(conn, "shed-chest", Kind.DEFROSTED, T0 + 5, "ann", {"kg": 2.5, "minutes": 40, "note": "thick"})
    early = chore.add(conn, "porch-air", Kind.BATTERY, T0)

    assert chore.chores(conn) == [early, late]
    assert late.note == "thick"
    assert early.note == ""


def test_by_subject_and_kind(conn: sqlite3.Connection) -> None:
    """One can ask for what was done to one thing, for one kind of work, or for both."""
    gasket = chore.add(conn, "shed-chest", Kind.GASKET, T0)
    defrosted = chore.add(conn, "shed-chest", Kind.DEFROSTED, T0 + 1)
    other = chore.add(conn, "porch-chest", Kind.GASKET, T0 + 2)

    assert chore.chores(conn, "shed-chest") == [gasket, defrosted]
    assert chore.chores(conn, kind=Kind.GASKET) == [gasket, other]
    assert chore.chores(conn, "shed-chest", Kind.GASKET) == [gasket]
    assert chore.chores(conn, "cellar") == []


def test_newest_of_each(conn: sqlite3.Connection) -> None:
    """The newest by date counts, also when an older one was written down later."""
    chore.add(conn, "shed-chest", Kind.GASKET, T0)
    last = chore.add(conn, "shed-chest", Kind.GASKET, T0 + 9)
    chore.add(conn, "shed-chest", Kind.GASKET, T0 + 3)
    note = chore.add(conn, "shed-chest", Kind.NOTE, T0)

    assert chore.newest(conn) == {("shed-chest", Kind.GASKET): last, ("shed-chest", Kind.NOTE): note}


def test_file_of_an_older_gatewayd() -> None:
    """A file that was written before there were chores holds none, and is read all the same."""
    older = sqlite3.connect(":memory:")

    assert chore.chores(older) == []
    assert chore.newest(older) == {}
    older.close()


def test_what_json_cannot_hold(conn: sqlite3.Connection) -> None:
    """A fact that is no number and a half character from a sloppy keyboard are kept harmlessly."""
    kept = chore.add(conn, "shed-chest", Kind.NOTE, T0, "a\ud800nn", {"kg": math.nan, "note": "x\udfff"})

    assert chore.chores(conn) == [kept]
    assert kept.facts == {"kg": None, "note": "x?"}
    assert kept.who == "a?nn"
