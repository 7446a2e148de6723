"""The food on the pages, with a browser: take out, judge what was warm, defrost."""

import re
from typing import Any

import pytest
from playwright.async_api import Browser

from tests.pages.browser import Watched, opened
from tests.pages.demo_house import DemoHouse

pytestmark = [pytest.mark.rig, pytest.mark.asyncio(loop_scope="session")]

MOST = 80  # taps of a way; one that takes more goes in circles
# The first of these that a page of the walk offers is pressed: everything was found hard, nothing was dripped on, and
# what the chart says is done.
ANSWERS = (re.compile("^Yes"), re.compile("^Do so with"), re.compile("^(Keep|Refreeze|Use|Throw)"))
# The second tap of two, on every page as soon as it stands.
TWICE = "addEventListener('pageshow', () => setTimeout(() => document.querySelector('.answers button')?.click()))"
READ = 800  # ms in which somebody reads a question; a tap before 700 ms is the second of two, and is not counted


async def test_take_one_out(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """One tap takes one out of a box; the page says what was taken and what is left, and one tap undoes it."""
    async with opened(browser, house, ann) as watched:
        await watched.go("/box/bean-basket")
        await watched.press("Take one out: 12 bags of runner beans")
        taken = await watched.words()
        await watched.shot("way-taken-out")
        await watched.go("/stock")
        await watched.press("Undo this")
        undone = await watched.words()

    assert "Left: 11 bags of runner beans" in taken
    assert "Undone" in undone


async def judged(watched: Watched) -> list[str]:
    """Go through the food box by box and return what the pages asked, to the last page."""
    asked, page = [], watched.page
    for _ in range(MOST):
        heading = await page.locator("main h1").inner_text()
        if "You are through" in heading or "All is decided" in heading:
            return asked
        asked.append(await watched.words())
        onward = page.get_by_role("link", name="Go on", exact=True)
        await page.wait_for_timeout(READ)
        async with page.expect_navigation():
            if await onward.count():
                await onward.first.click()
                continue
            for words in ANSWERS:
                button = page.locator("main").get_by_role("button", name=words, exact=isinstance(words, str))
                if await button.count():
                    await button.first.click()
                    break
            else:
                pytest.fail(f"nothing to tap: {asked[-1]}")
    pytest.fail(f"the walk does not end: {asked[-3:]}")


async def test_judge_the_food_box_by_box(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """Each box is gone through with big buttons until all is decided; a tap as a page appears answers nothing."""
    async with opened(browser, house, ann) as watched:
        page = watched.page
        await page.add_init_script(TWICE)
        await watched.go("/what-happened")
        await page.locator("main .rows a").first.click()
        await page.get_by_role("link", name="Go through the food, box by box").click()
        await page.locator("main h1").wait_for()
        await watched.shot("way-judge")
        faults = await watched.faults()
        await page.wait_for_timeout(READ)
        await watched.press("One by one")
        asks = await watched.words()
        await page.wait_for_timeout(READ)
        still = await watched.words()
        await watched.shot("way-judge-one")
        faults += await watched.faults()
        asked = await judged(watched)
        end = await watched.words()
        await watched.shot("way-judged")
        faults += await watched.faults()

    assert faults == []
    assert still == asks
    assert len(asked) >= 3  # of the first box one package by itself and the rest, then the second box
    assert "All is decided" in end


async def test_whole_defrost(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """A defrost is begun, led through step by step with its timers running, and finished; then it is to get cold."""
    async with opened(browser, house, ann) as watched:
        page = watched.page
        await watched.go("/defrost/shed-chest")
        await watched.press("Begin the defrost")
        steps, faults = [], await watched.faults()
        timers = await page.locator("main .rows").all_inner_texts()
        await watched.shot("way-defrost")
        for _ in range(MOST):
            if not await page.locator(".thaw-step button.big").filter(has_not_text="Finish").count():
                break
            steps.append(await page.locator(".thaw-step h2").inner_text())
            async with page.expect_navigation():
                await page.locator(".thaw-step button.big").first.click()
        await page.fill(".thaw-step #ice", "2 kg")
        await watched.press("Finish the defrost", ".thaw-step")
        finished = await watched.words()
        await watched.shot("way-defrosted")
        faults += await watched.faults()

    assert faults == []
    assert len(steps) >= 5
    assert any("Food outside" in timer and "left" in timer for timer in timers)
    assert "is over and written down" in finished
