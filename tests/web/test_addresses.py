"""The addresses of forms: whoever loads one anew, or comes back to it, gets the page that the form stands on."""

import re
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from aiohttp import web

from tests.web.larder import stocked
from tests.web.open_house import Opened, open_house
from tests.web.thawed import thawed

pytestmark = pytest.mark.rig

# What stands for each part of an address in the house of the tests, by what is before it.
MEANT = {"/freezer/": "shed-chest", "/defrost/": "shed-chest", "/settings/": "shed-chest", "/box/": "top-basket",
         "/stock/": "1", "/sensor/": "shed-chest-air", "/people/of/": "ann"}  # fmt: skip
OPEN = ("/seen/", "/beat/", "/api/")  # they have no page of their own but for the one that a message leads to


def _forms(house: Opened) -> list[str]:
    """Return the addresses of all forms of the pages, with what they are about filled in where it is known."""
    app = web.Application()
    for part in house.parts:
        part.add(app)
    ways = {route.resource.canonical for route in app.router.routes() if route.method == "POST" and route.resource}
    found = []
    for way in sorted(ways):
        if not way.startswith(OPEN):
            begin = next((begin for begin in MEANT if way.startswith(begin + "{")), "")
            one = re.sub(r"\{\w+\}", MEANT[begin], way, count=1) if begin else way
            found.append(one.replace("{part}", "limits").replace("{do}", "begin").replace("{route}", "mail"))
    return found


async def test_every_form_has_a_page(tmp_path: Path) -> None:
    """Each address that takes a form answers who only looks with a page, or leads to the nearest above it."""
    async with thawed(tmp_path) as (house, spell):
        forms = [way.replace("/what-happened/{number}", spell).replace("{id}", "1") for way in _forms(house)]
        got = {}
        for way in forms:
            page = await house.phone.get(f"{way}?freezer=shed-chest")
            got[way] = page.status, urlsplit(page.path)

    assert len(forms) > 40
    assert {way for way, (status, _) in got.items() if status != 200} == set()
    for way, (_, led) in got.items():
        assert led.path in (way, "/", "/sign-in") or way.startswith(f"{led.path}/"), (way, led)
    assert got[f"{spell}/walk/undo"][1] == urlsplit(f"{spell}/walk?freezer=shed-chest")


async def test_refused_forms_can_be_loaded_anew(tmp_path: Path) -> None:
    """After each form that was filled in wrongly, or with nothing, the address in the browser is one of a page."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/add")
        csrf = dict(house.phone.page.sheet("/stock/add").fields)["csrf"]
        statuses = set()
        for way in (form.replace("{id}", "1").replace("{number}", "1") for form in _forms(house)):
            if way == "/sign-out":
                continue
            refused = await house.phone.post(way, {"csrf": csrf, "key": f"{hash(way):x}", "name": "", "span": "soon"})
            statuses.add(refused.status)
            again = await house.phone.get(refused.path)
            assert again.status in ({200} if refused.status != 404 else {200, 404}), (way, refused.path)

    assert 422 in statuses
    assert not statuses & {405, 500}


async def test_every_error_leads_home(tmp_path: Path) -> None:
    """A page that is not there has a link to those that are."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/no/such/page")
        forged = await house.phone.post("/stock/do", {"csrf": "forged"})

    assert (page.status, page.links) == (404, ["/"])
    assert (forged.status, forged.links) == (403, ["/"])
