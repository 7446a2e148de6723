"""Debian's Chromium, driven by Playwright; and what is looked at on every page that it opens."""

import contextlib
import os
import re
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from playwright.async_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Response, async_playwright

from tests.pages.demo_house import PASSWORD, DemoHouse

CHROMIUM = os.environ.get("GATEWAYD_CHROMIUM", "/usr/bin/chromium")
# --no-sandbox: the tests may run as root in a container. The rest keeps the browser from calling home by itself.
ARGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
PHONE, LAPTOP = {"width": 360, "height": 800}, {"width": 1280, "height": 900}
NARROW = {"width": 320, "height": 640}  # WCAG 2.2, 1.4.10
SHOTS = Path(os.environ.get("GATEWAYD_SHOTS", Path(__file__).parent.parent.parent / ".shots"))
AXE = Path(sys.prefix) / "npm/node_modules/axe-core/axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ANSWERED = "Failed to load resource: the server responded with a status of"  # what was answered is looked at by itself
REFUSED = 422  # a form that was filled in wrongly comes back
DEADLINE = 10_000  # ms for anything that a page should do


@lru_cache(maxsize=1)
def axe() -> str:
    """Return the program of axe-core."""
    assert AXE.exists(), f"there is no {AXE}; tests/run fetches it"
    return AXE.read_text()


@contextlib.asynccontextmanager
async def chromium() -> AsyncIterator[Browser]:
    """Start the browser."""
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGS))
        try:
            yield browser
        finally:
            await browser.close()


@dataclass
class Watched:
    """Hold a page of the browser, and what went wrong on it: errors of scripts, refusals, addresses outside."""

    page: Page
    begins: str
    wrong: list[str] = field(default_factory=list)
    cut: bool = False  # the line is cut on purpose

    def __post_init__(self) -> None:
        """Listen."""
        self.page.set_default_timeout(DEADLINE)
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.wrong.append(f"{self.page.url}: {error}"))
        self.page.on("request", self._request)
        self.page.on("response", self._response)

    def _console(self, message: ConsoleMessage) -> None:
        """Note what the browser complains of; a refusal by the Content-Security-Policy is among it."""
        if message.type in ("error", "warning") and not self.cut and not message.text.startswith(ANSWERED):
            self.wrong.append(f"{self.page.url}: {message.text}")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.begins, "data:", "blob:")):
            self.wrong.append(f"{self.page.url} asks outside: {request.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 400 and response.status != REFUSED:
            self.wrong.append(f"{response.url}: {response.status}")

    async def go(self, path: str) -> None:
        """Open a page of the house."""
        answer = await self.page.goto(self.begins + path)
        assert answer is not None
        assert answer.ok, f"{path}: {answer.status}"

    async def press(self, words: str, within: str = "main", *, exact: bool = False) -> None:
        """Press the first button of the page that says so, and wait for the page that follows."""
        async with self.page.expect_navigation():
            await self.page.locator(within).get_by_role("button", name=words, exact=exact).first.click()

    async def words(self) -> str:
        """Return what the page says."""
        return " ".join((await self.page.inner_text("main")).split())

    async def shot(self, name: str) -> None:
        """Keep a picture of the whole page."""
        await self.page.screenshot(path=SHOTS / f"{name}.png", full_page=True)

    async def faults(self) -> list[str]:
        """Return what axe-core finds wrong with the page as it stands. It is evaluated, so no policy is bent for it."""
        await self.page.evaluate(axe())
        found: list[dict[str, Any]] = await self.page.evaluate(
            "async tags => (await axe.run(document, {runOnly: tags, resultTypes: ['violations']})).violations", TAGS
        )
        return [
            f"{one['id']}: {one['help']}: {node['html'][:160]} {node.get('failureSummary', '')[:300]}"
            for one in found
            for node in one["nodes"][:3]
        ]


@contextlib.asynccontextmanager
async def opened(browser: Browser, house: DemoHouse, state: Any = None, **more: Any) -> AsyncIterator[Watched]:
    """Open a page of a browser's own profile; `state` is a sign-in that was kept. At the end nothing went wrong."""
    context: BrowserContext = await browser.new_context(**{"viewport": PHONE, "storage_state": state, **more})
    try:
        watched = Watched(await context.new_page(), house.begins)
        yield watched
        assert not watched.wrong, "\n".join(watched.wrong)
    finally:
        await context.close()


async def set_up(watched: Watched, code: str, who: str = "ann") -> None:
    """Set the household's password with the code."""
    await watched.go("/set-up")
    await watched.page.fill("#code", code)
    await watched.page.select_option("#who", who)
    await watched.page.fill("#password", PASSWORD)
    await watched.page.fill("#again", PASSWORD)
    await watched.page.click("main button[type=submit]")
    await watched.page.wait_for_url(f"{watched.begins}/")


def named(path: str) -> str:
    """Return a name for the picture of a page."""
    return re.sub(r"[^a-z0-9]+", "-", path.lower()).strip("-") or "now"
