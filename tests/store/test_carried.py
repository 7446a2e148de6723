"""Food that was carried from a warm freezer to another takes its warm time along."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.food.fate import Fate, Finding
from gatewayd.model.event import What
from gatewayd.model.excursion import Answer, Decision, Ruling
from gatewayd.model.house import Freezer, House, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.stock import Box, Package, Turn
from gatewayd.store import carried, excursion, stock
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.store import Store
from gatewayd.store.transaction import transaction
from tests.store.make import LONDON, T0, batch, event, reading

SHED, PORCH = "shed-chest", "porch-chest"
HOUSE = House(
    "heron-lane",
    "Heron Lane",
    LONDON,
    freezers={who: Freezer(who, who, sensors=(f"{who}-air",)) for who in (SHED, PORCH)},
    sensors={f"{who}-air": Sensor(f"{who}-air", who, "here", "air") for who in (SHED, PORCH)},
)
NOW = T0 + DAY
OPEN = {SHED: Ruling.NOT_JUDGED, PORCH: Ruling.NOT_JUDGED}


async def two_spells(store: Store, begin: int = 3) -> None:
    """Live through 6 h at +9 °C in the shed, and from hour `begin` 4 h at -6 °C in the porch, all seen."""
    rows = []
    for m in range(-60, 24 * 60, 5):
        rows.append(reading(T0 + m * MINUTE, 9.0 if 0 <= m <= 360 else -18.0, sensor=f"{SHED}-air"))
        cool = begin * 60 <= m <= begin * 60 + 240
        rows.append(reading(T0 + m * MINUTE, -6.0 if cool else -18.0, sensor=f"{PORCH}-air"))
    events = [
        replace(event(1, T0, 1), subject=SHED),
        replace(event(2, T0 + begin * HOUR, 2), subject=PORCH),
        replace(event(3, T0 + 6 * HOUR, 1), subject=SHED, what=What.OVER),
        replace(event(4, T0 + (begin + 4) * HOUR, 2), subject=PORCH, what=What.OVER),
    ]
    await store.commit(batch(*rows, events=sorted(events, key=lambda each: each.number), wall=NOW))


def settle(path: Path, at: int, *, how: str = "package", said: Sequence[Finding] = ()) -> None:
    """Put trout and venison into the shed's basket, and carry the trout, or all, to the porch."""
    with closing(open_writer(path)) as conn, transaction(conn):
        writing = stock.pen(conn, T0 - DAY, "ann")
        top = Box("top", "Top", SHED)
        writing.new_box(top)
        writing.new_box(Box("shelf", "Shelf", PORCH))
        trout = writing.add(Package(0, "top", "trout", 4, since=T0 - DAY))
        writing.add(Package(0, "shelf", "peas", since=T0 - DAY))
        writing = stock.pen(conn, at, "ann")
        if how == "box":
            writing.change_box(top, replace(top, freezer=PORCH), Turn.MOVED)
            writing.change(trout, replace(trout, since=at), Turn.MOVED)
        elif how == "part":
            writing.change(trout, replace(trout, count=2), Turn.MOVED)
            writing.add(replace(trout, id=0, box="shelf", count=2, since=at))
        else:
            writing.change(trout, replace(trout, box="shelf", since=at), Turn.MOVED)
        for number, finding in enumerate(said):
            excursion.add(conn, 1 + number, finding)


def fates(path: Path, number: int = 1) -> dict[str, Fate]:
    """Return the fate of a package in each freezer's spell."""
    with closing(open_reader(path)) as conn:
        spells = excursion.spells(conn, HOUSE)
        told = {spell.freezer: carried.story(conn, HOUSE, spell, NOW)[1] for spell in spells}
    return {
        who: one for who, those in told.items() for one in those if one.item.package and one.item.package.id == number
    }


def rulings(path: Path, number: int = 1) -> dict[str, Ruling]:
    """Return what is said of a package in each freezer's spell."""
    return {who: fate.verdict.ruling for who, fate in fates(path, number).items()}


@pytest.mark.parametrize("how", ["package", "box"])
@pytest.mark.parametrize("hour", [2, 5, 8])
async def test_open_question(store: Store, path: Path, how: str, hour: int) -> None:
    """What was thawed and then carried to a colder freezer is not kept there for its sensor, whenever it came."""
    await two_spells(store, begin=3 if hour < 8 else 9)
    settle(path, T0 + hour * HOUR, how=how)
    found = fates(path)
    assert rulings(path) == OPEN
    assert found[PORCH].also == ((1, SHED),)
    assert found[SHED].also == ((2, PORCH),)
    assert rulings(path, 2) == {PORCH: Ruling.REFREEZE}  # what lay there all the time


async def test_part(store: Store, path: Path) -> None:
    """A part that was carried away takes its warm time along, and is in both spells."""
    await two_spells(store)
    settle(path, T0 + 5 * HOUR, how="part")
    assert rulings(path, 3) == OPEN
    assert rulings(path, 1) == {SHED: Ruling.NOT_JUDGED}


async def test_answer_counts_in_both(store: Store, path: Path) -> None:
    """What somebody found of it in one spell is its verdict in the other too."""
    await two_spells(store)
    settle(path, T0 + 5 * HOUR, said=[Finding(None, 1, T0 + 8 * HOUR, "ann", answer=Answer.WARM)])
    assert rulings(path) == {SHED: Ruling.DISCARD, PORCH: Ruling.DISCARD}


async def test_decided_before(store: Store, path: Path) -> None:
    """What was decided on before the next spell began does not count in that one any more."""
    await two_spells(store, begin=12)
    kept = Finding(None, 1, T0 + 10 * HOUR, "ann", decision=Decision.KEPT, ruling=Ruling.REFREEZE)
    settle(path, T0 + 10 * HOUR, said=[kept])
    assert rulings(path)[PORCH] is Ruling.REFREEZE
    assert fates(path)[PORCH].also == ()


async def test_part_of_what_was_decided(store: Store, path: Path) -> None:
    """A part of food that was decided on, and only then carried away, opens no question anew."""
    await two_spells(store, begin=12)
    kept = Finding(None, 1, T0 + 10 * HOUR, "ann", decision=Decision.KEPT, ruling=Ruling.REFREEZE)
    settle(path, T0 + 11 * HOUR, how="part", said=[kept])
    with closing(open_writer(path)) as conn, transaction(conn):
        one = stock.package(conn, 1)
        assert one is not None
        stock.pen(conn, T0 + 10 * HOUR, "ann").change(one, one, Turn.KEPT)
    found = fates(path, 3)
    assert (found[PORCH].verdict.ruling, found[PORCH].also) == (Ruling.REFREEZE, ())
    assert SHED not in found or not found[SHED].open


@pytest.mark.parametrize(
    ("frozen", "about", "also"), [(-9 * DAY, False, True), (8 * HOUR, False, False), (8 * HOUR, True, True)]
)
async def test_dated(store: Store, path: Path, frozen: int, *, about: bool, also: bool) -> None:
    """Food with only a date was in the spells of its first freezer since that date, unless it is a guess, no others."""
    await two_spells(store, begin=12)
    with closing(open_writer(path)) as conn, transaction(conn):
        pen = stock.pen(conn, T0 + 9 * HOUR, "ann")
        pen.new_box(Box("top", "Top", SHED))
        pen.new_box(Box("shelf", "Shelf", PORCH))
        trout = pen.add(Package(0, "top", "trout", 4, frozen=T0 + frozen, about=about))
        pen = stock.pen(conn, T0 + 10 * HOUR, "ann")
        pen.change(trout, replace(trout, box="shelf", since=T0 + 10 * HOUR), Turn.MOVED)
    assert fates(path)[PORCH].also == (((1, SHED),) if also else ())
