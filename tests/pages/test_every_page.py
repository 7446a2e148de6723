"""Every page that a link leads to, on a phone and on a laptop, by day and by night."""

import asyncio
import contextlib
from typing import Any

import pytest
from playwright.async_api import Browser, CDPSession
from playwright.async_api import TimeoutError as TooLate

from tests.pages.browser import LAPTOP, NARROW, PHONE, Watched, named, opened
from tests.pages.demo_house import DemoHouse
from tests.pages.walk import Found

pytestmark = [pytest.mark.rig, pytest.mark.asyncio(loop_scope="session"), pytest.mark.timeout(180)]

# what no link leads to: forms that ask for something
MORE = ["/stock?q=plums", "/stock?q=nothing+fits", "/print/month?freezer=porch-chest&month=2026-11", "/print/month"]
FIRST, LATER = 150_000, 20_000  # bytes on the line
THEMES = ("light", "dark")

# What can be tapped is 44 px high and wide (WCAG 2.2, 2.5.5); a link in a line of words is let off there, and so are
# boxes to tick that have a label of that size round them, which is what is tapped.
SMALL = """
() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary')]
  .filter(one => one.type !== 'hidden' && !one.disabled && !one.classList.contains('skip') && one.checkVisibility())
  .map(one => [one, one.matches('[type=checkbox], [type=radio]') ? one.closest('label') || one : one])
  .filter(([one]) => !(one.tagName === 'A' && getComputedStyle(one).display === 'inline'))
  .map(([one, target]) => [one, target.getBoundingClientRect()])
  .filter(([_, box]) => box.height < 43.5 || box.width < 43.5)
  .map(([one, box]) => `${Math.round(box.width)}x${Math.round(box.height)} ${one.outerHTML.slice(0, 120)}`)
"""
# what sticks out to the right, the page's own measure first
WIDE = """
() => document.documentElement.scrollWidth <= innerWidth ? [] : [...document.querySelectorAll('body *')]
  .filter(one => one.getBoundingClientRect().right > innerWidth + 1 && !one.closest('.wide'))
  .slice(0, 5).map(one => one.outerHTML.slice(0, 120))
"""


async def settled(watched: Watched) -> list[str]:
    """Return what sticks out to the right once a curve has had the time to be drawn anew."""
    with contextlib.suppress(TooLate):
        await watched.page.wait_for_function(f"() => !({WIDE})().length", timeout=2000)
    found: list[str] = await watched.page.evaluate(WIDE)
    return found


async def looked_at(watched: Watched, path: str, theme: str) -> list[str]:
    """Look at a page at both sizes and return what is wrong with it."""
    page, wrong = watched.page, []
    await page.set_viewport_size(PHONE)
    await watched.go(path)
    await watched.shot(f"{named(path)}-360-{theme}")
    wrong += [f"axe: {fault}" for fault in await watched.faults()]
    wrong += [f"too small: {small}" for small in await page.evaluate(SMALL)]
    await page.set_viewport_size(NARROW)
    wrong += [f"wider than 320 px: {wide}" for wide in await settled(watched)]
    await page.set_viewport_size(LAPTOP)
    await watched.shot(f"{named(path)}-1280-{theme}")
    return [f"{path} {theme}: {one}" for one in wrong]


@pytest.mark.slow  # opens some dozens of pages
@pytest.mark.parametrize("theme", THEMES)
async def test_every_page_is_fit_for_people(
    browser: Browser, house: DemoHouse, ann: Any, found: Found, theme: Any
) -> None:
    """No page has a fault that axe-core finds, a target under 44 px, a line wider than 320 px or an error."""
    wrong = []
    async with opened(browser, house, ann, color_scheme=theme) as watched:
        for path in [*found.each_kind(), *MORE]:
            wrong += await looked_at(watched, path, theme)

    assert wrong == []


async def test_every_link_leads_somewhere_in_the_house(found: Found) -> None:
    """Every address that a page links to answers, and none lies outside."""
    assert found.broken == []
    assert found.outside == []
    assert len(found.pages) > 1


class Line:
    """Count what comes over the line: what the browser keeps for good, and the rest."""

    def __init__(self, line: CDPSession) -> None:
        """Listen."""
        self.kept, self.rest = 0.0, 0.0
        self.came = asyncio.Event()
        self._where: dict[str, str] = {}
        line.on("Network.requestWillBeSent", self._sent)
        line.on("Network.loadingFinished", self._finished)

    def _sent(self, event: dict[str, Any]) -> None:
        self._where[event["requestId"]] = event["request"]["url"]

    def _finished(self, event: dict[str, Any]) -> None:
        if "/static/" in self._where.get(event["requestId"], ""):
            self.kept += event["encodedDataLength"]
        else:
            self.rest += event["encodedDataLength"]
            self.came.set()


async def test_pages_are_light(browser: Browser, house: DemoHouse, ann: Any, found: Found) -> None:
    """The first page with all that any page needs is under 150 kB on the line, each later one under 20 kB.

    Style and script are fetched once, by whichever page needs them first, and count with the first page.
    """
    heavy = []
    async with opened(browser, house, ann) as watched:
        session = await watched.page.context.new_cdp_session(watched.page)
        line = Line(session)
        await session.send("Network.enable")
        await watched.go("/")
        await watched.page.wait_for_load_state("load")
        first = line.rest
        for path in [*found.each_kind(), *MORE]:
            line.rest = 0.0
            line.came.clear()
            await watched.go(path)
            await watched.page.wait_for_load_state("load")
            await asyncio.wait_for(line.came.wait(), 10)  # the browser says what came a little later
            if line.rest > LATER:
                heavy.append(f"{path}: {line.rest:.0f}")

    assert 5000 < first + line.kept < FIRST
    assert heavy == []
