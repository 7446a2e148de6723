"""The page of a box: what is in it, counted again, named anew, carried away."""

from pathlib import Path

import pytest

from gatewayd.store import stock
from tests.web.larder import put, rows, stocked
from tests.web.open_house import Opened, open_house

pytestmark = pytest.mark.rig


async def _boxes(house: Opened) -> dict[str, tuple[str, str, float | None, str]]:
    found = await house.home.read(stock.boxes)
    return {box.id: (box.name, box.layer, box.full, box.sure.value) for box in found}


async def test_take_out_of_a_box(tmp_path: Path) -> None:
    """The page that a label opens takes one out in one tap and shows the box again."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/box/top-basket")
        taken = await house.phone.press("/stock/do", do="take")
        assert (await rows(house))[1].count == 11
    assert "50% full" in page.words
    assert taken.path == "/box/top-basket"
    assert "Taken out" in taken.words


async def test_all_as_listed(tmp_path: Path) -> None:
    """One tap says that the list is right, and the box is counted."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/box/top-basket")
        page = await house.phone.press("/box/top-basket/listed")
        assert (await _boxes(house))["top-basket"][3] == "counted"
    assert "right as it stands" in page.words
    assert "its list is counted" in page.words


async def test_count_again(tmp_path: Path) -> None:
    """Who counts changes one number; a wrong one is refused, and what was typed stays."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/box/top-basket/count")
        wrong = await house.phone.press("/box/top-basket/count", **{"n-1": "a few"})
        page = await house.phone.press("/box/top-basket/count", **{"n-1": "7"})
        counted = (await rows(house))[1].count
        await house.phone.press("/stock/undo")
        back = (await rows(house))[1].count
    assert (counted, back) == (7, 12)
    assert wrong.status == 422
    assert "a few" in wrong.text
    assert "right as it stands" in page.words


async def test_boxes_of_one_name(tmp_path: Path) -> None:
    """Of two boxes that are called alike, a page changes the one that it shows."""
    async with open_house(tmp_path) as house:
        await put(house, do="box", what="drawer", freezer="shed-chest")
        await put(house, do="box", what="drawers", freezer="shed-chest")
        await house.phone.get("/box/drawers")
        await house.phone.press("/box/drawers/change", name="drawer", layer="second", full="0.25")
        await house.phone.get("/box/drawers")
        await house.phone.press("/box/drawers/listed")
        found = await _boxes(house)
        await house.phone.get("/box/drawers")
        page = await house.phone.press("/box/drawers/remove")
        left = await _boxes(house)

    assert found == {"drawer": ("drawer", "", None, "guessed"), "drawers": ("drawer", "second", 0.25, "counted")}
    assert page.path == "/stock"
    assert set(left) == {"drawer"}


async def test_box_with_something_in_it_stays(tmp_path: Path) -> None:
    """A box with something on its list is not taken off, whoever sends the form."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/box/top-basket")
        form = dict(page.sheet("/box/top-basket/listed").fields)
        refused = await house.phone.post("/box/top-basket/remove", form)
        nowhere = await house.phone.post("/box/top-basket/move", form | {"to": "moon"})
        assert "top-basket" in await _boxes(house)
    assert "1 row on its list" in refused.words
    assert "Choose a freezer" in nowhere.words


async def test_label_of_a_box_that_is_gone(tmp_path: Path) -> None:
    """The label of a box that was taken off leads to a sentence, not into nothing, and changes nothing."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/box/no-such")
        form = dict((await house.phone.get("/box/top-basket")).sheet("/box/top-basket/listed").fields)
        refused = await house.phone.post("/box/no-such/change", form | {"name": "x"})
        assert set(await _boxes(house)) == {"top-basket", "red-crate"}
    assert page.status == 404
    assert "not on the list" in page.words
    assert refused.status == 404


async def test_new_box(tmp_path: Path) -> None:
    """A new box is made in a freezer, and its page opens; one without a name is refused."""
    async with open_house(tmp_path) as house:
        await house.phone.get("/stock/new-box")
        wrong = await house.phone.press("/stock/new-box", name="", layer="top")
        page = await house.phone.press("/stock/new-box", name="Blue tub", freezer="shed-chest", full="1")
        assert await _boxes(house) == {"blue-tub": ("Blue tub", "top", 1.0, "guessed")}
    assert wrong.status == 422
    assert 'value="top"' in wrong.text
    assert page.path == "/box/blue-tub"
