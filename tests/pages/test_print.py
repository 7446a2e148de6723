"""What is printed: each printable becomes a PDF of as many sheets as it should have."""

import re
from typing import Any

import pytest
from playwright.async_api import Browser

from tests.pages.browser import SHOTS, named, opened
from tests.pages.demo_house import DemoHouse

pytestmark = [pytest.mark.rig, pytest.mark.asyncio(loop_scope="session")]

MARGIN = dict.fromkeys(("top", "bottom", "left", "right"), "10mm")  # what a browser leaves by itself
SHEET = re.compile(rb"/Type\s*/Page\b(?!s)")


@pytest.mark.parametrize(
    ("path", "sheets"),
    [
        ("/print/stock?freezer=porch-chest", 1),
        ("/print/stock", 1),
        ("/print/labels", 1),
        ("/print/defrost?freezer=shed-chest", 1),
        ("/print/month?freezer=porch-chest&month=2026-11", 1),
        ("", 2),  # the report of the warm spell
    ],
)
async def test_printable(browser: Browser, house: DemoHouse, ann: Any, path: str, sheets: int) -> None:
    """It fits its sheets of A4, with the ink of text on them, and nothing of the menu."""
    async with opened(browser, house, ann) as watched:
        if not path:
            await watched.go("/print")
            path = await watched.page.locator("main a[href^='/print/what-happened/']").first.get_attribute("href") or ""
        await watched.go(path)
        await watched.page.emulate_media(media="print")
        menu = await watched.page.locator("nav.menu").is_visible()
        pdf = await watched.page.pdf(format="A4", margin=MARGIN, path=SHOTS / f"{named(path)}.pdf")

    assert pdf.startswith(b"%PDF")
    assert len(SHEET.findall(pdf)) == sheets
    assert len(pdf) > 5000
    assert not menu
