"""What people do on the pages, with a browser."""

import asyncio
from collections.abc import AsyncIterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from gatewayd.message.token import LASTS, make
from gatewayd.model.moment import to_wall
from gatewayd.web.key import link_key
from tests.pages.browser import opened, set_up
from tests.pages.demo_house import PASSWORD, DemoHouse, demo_house

pytestmark = [pytest.mark.rig, pytest.mark.asyncio(loop_scope="session")]


@pytest_asyncio.fixture(loop_scope="session")
async def evening(browser: Browser, tmp_path: Path) -> AsyncIterator[tuple[DemoHouse, Any]]:
    """Play a house to the warm evening, minutes before Ann answers by herself; return her sign-in too.

    Each test has its own, for one tap sees all alarms of the freezer.
    """
    async with demo_house(tmp_path / "house") as running:
        async with opened(browser, running) as watched:
            await set_up(watched, running.code)
            state = await watched.page.context.storage_state()
        yield running, state


async def test_first_phone_sets_the_password(browser: Browser, tmp_path: Path) -> None:
    """The first phone is led to the set-up, a wrong code is refused, and with the right one it is in."""
    async with demo_house(tmp_path / "house", ahead=0.2) as fresh, opened(browser, fresh) as watched:
        page = watched.page
        await watched.go("/")
        led = page.url
        await watched.shot("way-set-up")
        faults = await watched.faults()
        await page.fill("#code", "0000 0000")
        await page.fill("#password", PASSWORD)
        await page.fill("#again", PASSWORD)
        await watched.press("Set the password")
        refused = await watched.words()
        faults += await watched.faults()
        await set_up(watched, fresh.code)
        seen = await watched.words()

    assert faults == []
    assert led.startswith(f"{fresh.begins}/set-up")
    assert "not the code" in refused
    assert "Porch chest" in seen


async def test_sign_in_asks_who(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """Ben signs in with the household's password, is led to the page that he wanted, and out again."""
    async with opened(browser, house) as watched:
        page = watched.page
        await watched.go("/stock")
        asked = page.url
        await watched.shot("way-sign-in")
        faults = await watched.faults()
        await page.select_option("#who", "ben")
        await page.fill("#password", PASSWORD)
        await page.click("main button[type=submit]")
        await page.wait_for_url("**/stock")
        name = await page.inner_text("nav .out p")
        await watched.press("Sign out", "nav")

    assert faults == []
    assert "/sign-in?to=" in asked
    assert name == "Ben"
    assert page.url.startswith(f"{house.begins}/sign-in")


async def test_page_says_when_it_is_cut_off(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """When the line is cut the page says so and how old the picture is; when it is back it says nothing more."""
    async with opened(browser, house, ann) as watched:
        page, stale = watched.page, watched.page.locator("#stale")
        # the phone's clock is nine hours off
        await page.add_init_script("const real = Date.now; Date.now = () => real() + 9 * 3600 * 1000;")
        await watched.go("/")
        before = await stale.is_visible()
        shown = await page.locator("#as-of time").inner_text()
        watched.cut = True
        await page.context.set_offline(True)
        await stale.wait_for(state="visible")
        told = await stale.inner_text()
        await watched.shot("way-cut-off")
        await page.context.set_offline(False)
        await stale.wait_for(state="hidden")

    assert not before
    assert told.startswith("Not connected to the gateway")
    assert f"from {shown};" in told  # in the house's time, whatever the phone's clock says


async def test_refused_form_is_no_cut_line(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """The page of a form that was refused is kept up to date like any other, and loading it anew shows the form."""
    async with opened(browser, house, ann) as watched:
        page, stale = watched.page, watched.page.locator("#stale")
        await watched.go("/stock/add")
        await page.locator("main summary").click()
        await page.fill("#food", "plums")
        await page.fill("#count", "a few")
        await page.locator("form[action='/stock/add/one'] button").click()
        await page.wait_for_url("**/stock/add/one")
        async with page.expect_response("**/stock/add"):
            await page.evaluate("dispatchEvent(new Event('look-again'))")
        await page.wait_for_timeout(300)
        told = await stale.is_visible()
        await page.goto(page.url)

    assert not told
    assert page.url.endswith("/stock/add")


async def test_page_says_that_nobody_is_signed_in(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """A page whose sign-in has ended elsewhere says that, and not that the line is cut."""
    async with opened(browser, house, ann) as watched:
        await watched.go("/people")
        await watched.page.context.clear_cookies()
        await watched.page.evaluate("dispatchEvent(new Event('look-again'))")
        await watched.page.locator("#stale").wait_for(state="visible")
        told = await watched.page.locator("#stale").inner_text()

    assert told.startswith("You are not signed in any more.")


async def test_say_that_an_alarm_was_seen(browser: Browser, evening: tuple[DemoHouse, Any]) -> None:
    """The front page says first what is wrong; one tap says that it was seen, and by whom."""
    async with opened(browser, *evening) as watched:
        await watched.go("/")
        heading = await watched.page.locator("h1").inner_text()
        await watched.press("I have seen it")
        seen = await watched.words()
        await watched.shot("way-seen")

    assert "Porch chest" in heading
    assert "Ann has seen it" in seen


async def test_add_a_sensor_that_is_heard(browser: Browser, house: DemoHouse, ann: Any) -> None:
    """A thermometer that nobody named is heard, named and added, and from then on it is read."""
    async with opened(browser, house, ann) as watched:
        page = watched.page
        await watched.go("/sensors/nearby")
        await watched.press("Listen for two minutes")
        heard = page.locator("main a", has_text="garden-shed")
        while not await heard.count():  # it speaks every 15 s; the page looks again by itself
            await page.wait_for_timeout(500)
        await watched.shot("way-heard")
        faults = await watched.faults()
        await heard.first.click()
        await page.fill("#name", "Garden shed")
        await page.select_option("#freezer", label="In none: a room, for instance")
        await watched.press("Look at it first")
        faults += await watched.faults()
        await watched.press("Add it")
        said = await watched.words()
        await watched.shot("way-added")
        await watched.go("/sensor/garden-shed")
        while "not heard yet" in (words := (await watched.words()).lower()) or "°c" not in words:
            await page.wait_for_timeout(500)
            await page.reload()

    assert faults == []
    assert "Garden shed" in said
    assert "°c" in words


async def test_button_behind_a_link_in_a_message(browser: Browser, evening: tuple[DemoHouse, Any]) -> None:
    """Who taps the link in a message, on a phone that never signed in, sees the alarm and says with one button so."""
    house, ann = evening
    async with opened(browser, house, ann) as watched:
        await watched.go("/")
        number = await watched.page.locator("main form.tap input[name=alarm]").last.get_attribute("value") or ""
        now = await watched.page.locator("#as-of time").get_attribute("datetime") or ""
    until = to_wall(datetime.fromisoformat(now)) + LASTS
    key = await asyncio.to_thread(link_key, house.folder)
    async with opened(browser, house) as watched:
        await watched.go(f"/seen/{make(key, int(number), 'ben', until)}")
        faults = await watched.faults()
        await watched.shot("way-link")
        await watched.press("seen", "body")
        thanks = " ".join((await watched.page.inner_text("body")).split())

    assert faults == []
    assert "Ben saw it" in thanks
