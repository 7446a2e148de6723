"""The page of what to use first."""

from pathlib import Path

import pytest

from gatewayd.food.first import HONEST, QUALITY
from tests.web.larder import rows, stocked
from tests.web.open_house import open_house

pytestmark = pytest.mark.rig


async def test_oldest_leads_with_its_reason(tmp_path: Path) -> None:
    """The list says which, why, what was taken for granted, and that it is about quality."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/use-first")
    assert QUALITY in page.words
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
