"""Two phones that change settings at once: neither undoes what the other did, and where both did it the page asks."""

import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from yarl import URL

from gatewayd.clock import SystemClock
from gatewayd.model.house import House
from gatewayd.web import session
from tests.web.open_house import Opened, open_house
from tests.web.phone import Page, Phone

pytestmark = pytest.mark.rig

LIMITS = "/settings/shed-chest/limits"
HIGH, HIGHHIGH = "freezers.shed-chest.limits.high", "freezers.shed-chest.limits.highhigh"
PERSON = "/people/of/ann"
QUIET, FROM = "people.ann.quiet_hours", "people.ann.told_from"


@contextlib.asynccontextmanager
async def two_phones(folder: Path, action: str) -> AsyncIterator[tuple[Opened, Phone, Phone]]:
    """Open the house with one form open on two phones, Ann's and Ben's."""
    async with open_house(folder) as house, Phone(house.begins) as ben:
        cookie = session.write(session.begin("ben", SystemClock().now().wall), house.lock.key)
        ben.session.cookie_jar.update_cookies({session.COOKIE: cookie}, URL(house.begins))
        for phone in (house.phone, ben):
            await phone.get(action)
        yield house, house.phone, ben


def field(page: Page, action: str, name: str) -> str:
    """Return what stands in a field of a page."""
    return dict(page.sheet(action).fields)[name]


def limits(house: House) -> tuple[float, float]:
    """Return the two limits in force."""
    found = house.freezers["shed-chest"].limits
    return found.high, round(found.highhigh, 1)


async def test_different_limits(tmp_path: Path) -> None:
    """Who saves second changes what they typed alone, and reads what the other changed and who that was."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13"})
        page = await ben.press(LIMITS, **{HIGHHIGH: "-8"})

        assert page.status == 200
        assert limits(house.home.house) == (-13.0, -8.0)
        assert "Saved." in page.words
        assert "Too warm above was changed meanwhile: it is now -13 °C, by Ann." in page.words
        assert (field(page, LIMITS, HIGH), field(page, LIMITS, HIGHHIGH)) == ("-13 °C", "-8 °C")


async def test_same_limit(tmp_path: Path) -> None:
    """Where both changed one limit the page says what it is now, by whom, and asks; saved again, the second counts."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13 °C"})
        clash = await ben.press(LIMITS, **{HIGH: "-14 °C", HIGHHIGH: "-8 °C"})
        between = limits(house.home.house)
        again = await ben.press(LIMITS)

        assert clash.status == 422
        assert "It was changed meanwhile: it is now -13 °C, by Ann. Save again" in clash.words
        assert field(clash, LIMITS, HIGH) == "-14 °C"
        assert between == (-13.0, -6.7)
        assert again.status == 200
        assert limits(house.home.house) == (-14.0, -8.0)


async def test_same_limit_given_up(tmp_path: Path) -> None:
    """Who leaves the other's limit in place after reading of it keeps it, and the rest is saved."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13 °C"})
        await ben.press(LIMITS, **{HIGH: "-14 °C", HIGHHIGH: "-8 °C"})
        await ben.press(LIMITS, **{HIGH: "-13 °C"})

        assert limits(house.home.house) == (-13.0, -8.0)


async def test_refused_page_takes_nothing_back(tmp_path: Path) -> None:
    """A page that was refused for something else shows what stands now, and saving it again takes nothing back."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13 °C"})
        refused = await ben.press(LIMITS, **{HIGHHIGH: "warm"})
        await ben.press(LIMITS, **{HIGHHIGH: "-8 °C"})

        assert (refused.status, field(refused, LIMITS, HIGH)) == (422, "-13 °C")
        assert "It was changed meanwhile: it is now -13 °C, by Ann." in refused.words
        assert limits(house.home.house) == (-13.0, -8.0)


async def test_limit_by_default_again(tmp_path: Path) -> None:
    """A limit that was taken back to its default meanwhile stays there."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13 °C"})
        await ben.get(LIMITS)
        await ann.get("/settings")
        await ann.press("/settings/undo")
        page = await ben.press(LIMITS, **{HIGHHIGH: "-8 °C"})

        assert limits(house.home.house) == (-12.0, -8.0)
        assert "Too warm above was changed meanwhile: it is now −12 °C (the default), by Ann." in page.words


async def test_different_fields_of_a_person(tmp_path: Path) -> None:
    """The quiet hours that Ann set stay when Ben changes from which priority on she is told."""
    async with two_phones(tmp_path, PERSON) as (house, ann, ben):
        await ann.press(PERSON, **{QUIET: "22:00-07:00"})
        page = await ben.press(PERSON, **{FROM: "high"})
        person = house.home.house.people["ann"]

        assert (person.quiet, person.told_from.word) == ((22 * 60, 7 * 60), "high")
        assert "Quiet hours was changed meanwhile: it is now 22:00-07:00, by Ann." in page.words


async def test_same_field_of_a_person(tmp_path: Path) -> None:
    """Quiet hours that both set are asked about, and count once they are saved again."""
    async with two_phones(tmp_path, PERSON) as (house, ann, ben):
        await ann.press(PERSON, **{QUIET: "22:00-07:00", FROM: "high"})
        clash = await ben.press(PERSON, **{QUIET: "23:00-06:00"})
        between = house.home.house.people["ann"].quiet
        await ben.press(PERSON)
        person = house.home.house.people["ann"]

        assert (clash.status, between) == (422, (22 * 60, 7 * 60))
        assert "It was changed meanwhile: it is now 22:00-07:00, by Ann." in clash.words
        assert (field(clash, PERSON, QUIET), field(clash, PERSON, FROM)) == ("23:00-06:00", "high")
        assert (person.quiet, person.told_from.word) == ((23 * 60, 6 * 60), "high")


async def test_undo_of_an_old_page(tmp_path: Path) -> None:
    """Who takes the last change back from a page that shows another one is shown what would be taken back now."""
    async with two_phones(tmp_path, LIMITS) as (house, ann, ben):
        await ann.press(LIMITS, **{HIGH: "-13 °C"})
        await ben.get("/settings")
        await ann.get(LIMITS)
        await ann.press(LIMITS, **{HIGH: "-14 °C"})
        page = await ben.press("/settings/undo")
        stays = limits(house.home.house)[0]
        await ben.press("/settings/undo")

        assert "Something else was changed since" in page.words
        assert "it was -14 °C" in page.words
        assert stays == -14.0
        assert limits(house.home.house)[0] == -13.0
