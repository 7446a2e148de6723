"""The main ways in a browser whose script is switched off."""

from typing import Any

import pytest
from playwright.async_api import Browser

from tests.pages.browser import opened
from tests.pages.demo_house import PASSWORD, DemoHouse

pytestmark = [pytest.mark.rig, pytest.mark.asyncio(loop_scope="session")]


async def test_sign_in_and_say_where_one_is(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """Without script somebody signs in, says that they are at a freezer, and that they have left."""
    async with opened(browser, house, java_script_enabled=False) as watched:
        page = watched.page
        await watched.go("/freezer/cellar-upright")
        await page.select_option("#who", "ben")
        await page.fill("#password", PASSWORD)
        await watched.press("Sign in")
        curve = await page.locator("main img, main svg").count()
        await watched.press("I am at the freezer")
        there = await watched.words()
        await watched.shot("way-script-off")
        await watched.press("I am done here")
        left = await watched.words()

    assert page.url.startswith(f"{house.begins}/freezer/cellar-upright")
    assert curve
    assert "quiet" in there.lower()
    assert "I am at the freezer" in left


async def test_add_take_and_throw_out(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """Without script food is added in words, found, taken out and written off."""
    async with opened(browser, house, ann, java_script_enabled=False) as watched:
        page = watched.page
        await watched.go("/stock/add?box=venison-crate")
        await page.locator("form[action='/stock/add'] textarea, form[action='/stock/add'] input[type=text]").first.fill(
            "3 bags of peas, 0.4 kg each, frozen November 2026, Venison crate"
        )
        await watched.press("Put it on the list")
        added = await watched.words()
        await watched.go("/stock?q=peas")
        await watched.press("Take one out: 3 bags of peas")
        taken = await watched.words()
        await watched.go("/stock?q=peas")
        await page.locator("main .take summary").first.click()
        await watched.press("Thrown out")
        thrown = await watched.words()

    assert "Added" in added
    assert "Left: 2 bags of peas" in taken
    assert "Thrown out" in thrown


async def test_defrost_is_begun_and_cancelled(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """Without script a defrost begins, shows its times as clock times, and is cancelled with a reason."""
    async with opened(browser, house, ann, java_script_enabled=False) as watched:
        page = watched.page
        await watched.go("/defrost/cellar-upright")
        await watched.press("Begin the defrost")
        begun = await watched.words()
        await page.locator("summary", has_text="Cancel it").click()
        await page.fill("#why", "no time today")
        await watched.press("Cancel the defrost")
        cancelled = await watched.words()

    assert "Step 1 of" in begun
    assert "Begin the defrost" in cancelled
