"""The page of what to use first."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.food.first import AFTER_WARM, HONEST, QUALITY
from gatewayd.model.stock import Turn
from gatewayd.store import stock
from tests.web.larder import put, rows, stocked
from tests.web.open_house import Opened, open_house
from tests.web.thawed import thawed

pytestmark = pytest.mark.rig


async def test_oldest_leads_with_its_reason(tmp_path: Path) -> None:
    """The list says which, why, what was taken for granted, and that it is about quality."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/use-first")
    assert QUALITY in page.words
    assert AFTER_WARM in page.words
    assert HONEST in page.words
    assert page.words.index("Runner beans, ") < page.words.index("Trout: nobody wrote")
    assert "months' keeping used" in page.words
    assert "without a sensor" in page.words


async def test_take_out_from_there(tmp_path: Path) -> None:
    """One is taken out from the list, which then is shown again with the same filter."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/use-first?freezer=shed-chest&group=vegetables-fruit")
        page = await house.phone.press("/stock/do", do="take")
        assert (await rows(house))[1].count == 11
    assert page.path == "/use-first?freezer=shed-chest&group=vegetables-fruit"
    assert "11 bags of runner beans" in page.words
    assert "trout" not in page.words


async def test_nothing_of_that(tmp_path: Path) -> None:
    """A filter that nothing fits says so, and a kind that there is not is no filter."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        none = await house.phone.get("/use-first?group=bread")
        odd = await house.phone.get("/use-first?group=stones&freezer=moon&page=x")
    assert "Nothing of that is on the list." in none.words
    assert "runner beans" in odd.words


async def test_one_note_for_all(tmp_path: Path) -> None:
    """What was taken for granted of many packages, of each for another time, is one note below the list."""
    async with open_house(tmp_path) as house:
        await stocked(house, many=60)
        page = await house.phone.get("/use-first")
    assert "Note 1: Some days without a sensor: how warm it was is not known" in page.words
    assert page.words.count("without a sensor") == 1


@pytest.mark.parametrize("ended", [True, False])
async def test_not_judged_yet(tmp_path: Path, *, ended: bool) -> None:
    """Food that was too warm and waits to be judged says so wherever it is offered, until it is decided on."""
    ways = ("/use-first", "/stock?q=trout", "/box/top-basket", "/stock/1", "/stock")
    words = f"{'Was' if ended else 'Is'} too warm, not judged yet: What happened"
    async with thawed(tmp_path, ended=ended) as (house, spell):
        fresh = await house.home.ask({"ask": "stock", "do": "add", "lines": ["6 pears, low basket"]}, "ann")
        marked = {way: (await house.phone.get(way)) for way in ways}
        first = (await house.phone.get("/use-first")).words.count(words)
        new = await house.phone.get(f"/stock/{fresh['packages'][0]['id']}")
        number = int(spell.rpartition("/")[2])
        order = {"ask": "excursion", "do": "decide", "number": number, "all": True, "decision": "throw", "key": "k"}
        done = await house.home.ask({**order, "packages": [1]}, "ann")
        after = await house.phone.get("/stock?q=trout")

    assert done["done"], done
    for way, page in marked.items():
        assert words in page.words, way
        assert f"{spell}?freezer=shed-chest" in page.links
    assert first == 5
    assert "not judged" not in new.words
    assert words not in after.words


async def _elsewhere(house: Opened, box: str) -> None:
    """Carry a box to the cellar, as the door does where there are two freezers."""

    def carry(conn: sqlite3.Connection) -> str:
        pen = stock.pen(conn, house.clock.now().wall, "ann")
        before = next(each for each in stock.boxes(conn) if each.id == box)
        pen.change_box(before, replace(before, freezer="cellar-upright"), Turn.MOVED)
        for one in [each for each in stock.packages(conn) if each.box == box]:
            pen.change(one, replace(one, since=pen.now), Turn.MOVED)
        return ""

    await house.gateway.store.carry_out(carry, house.clock.now())


async def test_carried_elsewhere(tmp_path: Path) -> None:
    """What was carried away from the warm freezer is marked on the stock's page in the box where it lies now."""
    words = "Was too warm, not judged yet: What happened"
    async with thawed(tmp_path) as (house, spell):
        await put(house, do="box", what="Clean basket", freezer="shed-chest")
        await put(house, do="add", lines=["6 pears, clean basket"])
        before = await house.phone.get("/stock")
        await _elsewhere(house, "clean-basket")
        clean = await house.phone.get("/stock")
        await _elsewhere(house, "top-basket")
        both = await house.phone.get("/stock")

    assert before.words.count(words) == 1  # for the whole freezer, not again for each box
    assert clean.words.count(words) == 1
    assert both.words.count(words) == 2
    row = both.text.partition('href="/box/top-basket"')[2].partition("</li>")[0]
    assert f"{spell}?freezer=shed-chest" in row
