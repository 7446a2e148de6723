"""A warm spell read from the file: its rows, its food, what was said; and only those."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.food.fate import Finding
from gatewayd.model.event import What
from gatewayd.model.excursion import Answer, Excursion
from gatewayd.model.house import Freezer, House, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.stock import Box, Package, Turn
from gatewayd.store import excursion, stock
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.store import Store
from gatewayd.store.transaction import transaction
from tests.store.make import LONDON, T0, batch, event, late, reading

HOUSE = House(
    "heron-lane",
    "Heron Lane",
    LONDON,
    freezers={
        "shed-chest": Freezer("shed-chest", "Shed chest", sensors=("shed-chest-air",)),
        "porch-chest": Freezer("porch-chest", "Porch chest"),
    },
    sensors={"shed-chest-air": Sensor("shed-chest-air", "Shed probe", "here", "air")},
)
SPELL = Excursion(1, "shed-chest", T0, T0 + 4 * HOUR, ("high",), events=(1, 2))
NOW = T0 + DAY


@pytest.fixture
def conn(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a new file to write."""
    with closing(open_writer(path)) as conn:
        yield conn


def basket(conn: sqlite3.Connection, *those: Package, now: int = T0 - DAY, freezer: str = "shed-chest") -> None:
    """Put packages into a basket of their own."""
    with transaction(conn):
        writing = stock.pen(conn, now, "ann")
        for name in dict.fromkeys(one.box for one in those):
            writing.new_box(Box(name, name.capitalize(), freezer))
        for one in those:
            writing.add(one)


def foods(conn: sqlite3.Connection, spell: Excursion = SPELL) -> list[str]:
    """Return what lay in the freezer in the spell."""
    return sorted(item.food for item in excursion.items(conn, spell, NOW))


async def test_readings(store: Store, path: Path) -> None:
    """The spell is seen by its own rows, with the sensor's usual interval as it was before, and by late rows in it."""
    rows = [reading(T0 + m * MINUTE, -18.0) for m in range(-300, 0, 10)]
    rows += [reading(T0 + m * MINUTE, 5.0) for m in range(0, 241, 10) if m != 100]
    await store.commit(batch(*rows, late(T0 - HOUR, T0 + HOUR, T0 + 5 * HOUR, 7.0), wall=T0 + 6 * HOUR))
    with closing(open_reader(path)) as conn:
        seen = excursion.seen(conn, HOUSE, SPELL, NOW)
    assert seen.curve.gaps == 0  # one lost report of a sensor that says something every ten minutes
    assert seen.curve.above["4.4"] == pytest.approx(4, abs=0.01)
    assert seen.curve.peak == 7.0
    assert seen.curve.core is not None


async def test_spells(store: Store, path: Path) -> None:
    """Spells are told from the events in the file, and every event of one leads to it."""
    high = replace(event(1, T0, 1), facts={"lasted": 10 * MINUTE})
    over = replace(event(4, T0 + HOUR, 1), what=What.OVER)
    rest = replace(event(2, T0, 2), kind="battery")
    await store.commit(batch(events=[high, rest, over]))
    with closing(open_reader(path)) as conn:
        found = excursion.spells(conn, HOUSE)
    assert found == [Excursion(1, "shed-chest", T0 - 10 * MINUTE, T0 + HOUR, ("high",), False, (1, 4))]
    assert excursion.numbered(found, 4) == found
    assert excursion.numbered(found, 2) == excursion.numbered(found, 1, "porch-chest") == []


def test_food_that_was_there(conn: sqlite3.Connection) -> None:
    """What lay there in the spell is judged: also what was taken elsewhere meanwhile or written down only later."""
    trout, beans, old = Package(0, "top", "trout", since=T0 - DAY), Package(0, "top", "beans"), Package(0, "top", "old")
    basket(conn, trout, beans, old)
    basket(conn, Package(0, "there", "plums", since=T0 - DAY), freezer="porch-chest")
    with transaction(conn):
        writing = stock.pen(conn, T0 - HOUR, "ann")
        first, second, third = stock.packages(conn, "shed-chest")
        writing.change(third, replace(third, gone=T0 - HOUR), Turn.USED)
        writing = stock.pen(conn, T0 + HOUR, "ann")
        writing.change(first, replace(first, box="there", since=T0 + HOUR), Turn.MOVED)
        writing = stock.pen(conn, T0 + 5 * HOUR, "ann")
        writing.add(Package(0, "top", "new", since=T0 + 5 * HOUR))
        writing.add(Package(0, "top", "found later", frozen=T0 - 40 * DAY))
        plums = stock.packages(conn, "porch-chest")[
            1 - [p.food for p in stock.packages(conn, "porch-chest")].index("trout")
        ]
        writing.change(plums, replace(plums, box="top", since=T0 + 5 * HOUR), Turn.MOVED)
    assert foods(conn) == ["beans", "found later", "trout"]
    assert second.food == "beans"


def test_moved_box(conn: sqlite3.Connection) -> None:
    """A box that was carried to another freezer in the spell is judged with all in it; one that came later is not."""
    basket(conn, Package(0, "top", "trout"))
    basket(conn, Package(0, "there", "plums"), freezer="porch-chest")
    with transaction(conn):
        boxes = {box.id: box for box in stock.boxes(conn)}
        stock.pen(conn, T0 + HOUR, "ann").change_box(boxes["top"], replace(boxes["top"], freezer="porch-chest"))
        stock.pen(conn, T0 + 9 * HOUR, "ann").change_box(boxes["there"], replace(boxes["there"], freezer="shed-chest"))
    assert foods(conn) == ["trout"]


def test_unlisted_box(conn: sqlite3.Connection) -> None:
    """A box of which nobody wrote down what is in it is judged as one; one whose list was used up is empty."""
    basket(conn, Package(0, "used", "trout"))
    with transaction(conn):
        writing = stock.pen(conn, T0 - HOUR, "ann")
        only = stock.packages(conn)[0]
        writing.change(only, replace(only, gone=T0 - HOUR), Turn.USED)
        writing.new_box(Box("bottom", "Bottom", "shed-chest"))
    assert foods(conn) == ["all that is in it"]


def test_box_made_since(conn: sqlite3.Connection) -> None:
    """A new box is not judged: made when it was over, or empty meanwhile; a full one and what lay there before are."""
    with transaction(conn):
        writing = stock.pen(conn, T0 + HOUR, "ann")
        writing.new_box(Box("blue", "Blue crate", "shed-chest"))
        writing.new_box(Box("full", "Full crate", "shed-chest", full=0.8))
        writing = stock.pen(conn, T0 + 9 * HOUR, "ann")
        writing.new_box(Box("red", "Red crate", "shed-chest", full=0.8))
    assert [item.box.id for item in excursion.items(conn, SPELL, T0 + 10 * HOUR)] == ["full"]
    with transaction(conn):
        stock.pen(conn, T0 + 9 * HOUR, "ann").add(Package(0, "red", "trout", frozen=T0 - 40 * DAY))
    assert [item.food for item in excursion.items(conn, SPELL, T0 + 10 * HOUR)] == ["all that is in it", "trout"]


def test_findings(conn: sqlite3.Connection) -> None:
    """What was said is read back as it was said, hours and all, by any event of the spell."""
    said = [
        Finding("top", None, T0 + 1, "ann", answer=Answer.WARM, hours=3.5),
        Finding(None, 7, T0 + 2, "ben", touched=False),
    ]
    with transaction(conn):
        for one in said:
            excursion.add(conn, 2, one)
        excursion.add(conn, 99, said[0])
        excursion.finish(conn, SPELL, "ann", T0 + 3)
    assert excursion.findings(conn, SPELL) == said
    assert not excursion.done(conn, SPELL)  # said before it was over
    with transaction(conn):
        excursion.finish(conn, SPELL, "ann", T0 + 5 * HOUR)
    assert excursion.done(conn, SPELL)
    assert not excursion.done(conn, replace(SPELL, freezer="porch-chest"))
