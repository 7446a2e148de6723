"""One demo house and one browser for all tests of the pages; Ann has signed in."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from tests.pages.browser import chromium, opened, set_up
from tests.pages.demo_house import DemoHouse, demo_house
from tests.pages.walk import Found, walk

SESSION = {"scope": "session", "loop_scope": "session"}


@pytest_asyncio.fixture(**SESSION)
async def house(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[DemoHouse]:
    """Play the house to a warm evening."""
    async with demo_house(tmp_path_factory.mktemp("demo") / "house") as running:
        yield running


@pytest_asyncio.fixture(**SESSION)
async def browser() -> AsyncIterator[Browser]:
    """Start Chromium."""
    async with chromium() as running:
        yield running


@pytest_asyncio.fixture(**SESSION)
async def ann(browser: Browser, house: DemoHouse) -> Any:
    """Return Ann's sign-in; hers is the first phone."""
    async with opened(browser, house) as watched:
        await set_up(watched, house.code)
        return await watched.page.context.storage_state()


@pytest_asyncio.fixture(**SESSION)
async def found(house: DemoHouse, ann: Any) -> Found:
    """Return every address that links lead to."""
    async with asyncio.timeout(100):
        return await walk(house, ann)
