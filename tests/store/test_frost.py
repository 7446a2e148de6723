"""The frost log is kept and found again."""

import sqlite3

from gatewayd.model.chore import Chore, Kind
from gatewayd.store import chore, frost
from gatewayd.store.schema import VERSION_4
from gatewayd.upkeep.frost import Thickness
from tests.store.make import T0


def opened() -> sqlite3.Connection:
    """Open a store in memory that has only what this part needs."""
    made = sqlite3.connect(":memory:", isolation_level=None)
    for statement in VERSION_4:
        made.execute(statement)
    return made


def test_comes_back_whole_and_in_order() -> None:
    """What was written is read again whole, the oldest first, of all freezers or one."""
    conn = opened()
    late, early = Thickness("shed-chest", T0 + 9, 6.35, "ann", "left wall"), Thickness("porch-chest", T0, 0.0)
    frost.add(conn, late)
    frost.add(conn, early)

    assert frost.rows(conn) == [early, late]
    assert frost.rows(conn, "shed-chest") == [late]
    conn.close()


def test_a_file_of_an_older_gatewayd_has_no_log() -> None:
    """Without the table nothing was measured."""
    conn = sqlite3.connect(":memory:")
    assert frost.rows(conn) == []
    conn.close()


def test_a_batch_written_twice_writes_its_chore_once() -> None:
    """What the watch saw done is in the book once, however often its batch is tried."""
    conn = opened()
    done = Chore(0, "shed-chest", Kind.DEFROSTED, T0, "ann", {"ice": "3 kg"})
    chore.add_once(conn, done)
    chore.add_once(conn, done)

    assert [(row.subject, row.facts) for row in chore.chores(conn)] == [("shed-chest", {"ice": "3 kg"})]
    conn.close()
