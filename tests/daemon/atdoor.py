"""A house with one freezer behind its real gateway, store and door; only the clock is played."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path
from zoneinfo import ZoneInfo

from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.model.given import SourceNews, Start
from gatewayd.model.moment import SECOND
from gatewayd.store.store import Store
from gatewayd.watch.watch import Watch
from tests.days.player import BROKER, house
from tests.fakes.clock import FakeClock

LONDON = ZoneInfo("Europe/London")


@contextlib.asynccontextmanager
async def behind_its_door(folder: Path) -> AsyncIterator[tuple[Gateway, FakeClock, Answers]]:
    """Run the house; commits are made for real, as soon as they are wanted."""
    clock = FakeClock()
    store = await Store.open(folder / "house.db", LONDON)
    gateway = Gateway(Watch(house(1), clock.now()), store, Mailbag(store), clock, SECOND)

    async def restored() -> None:
        """Do nothing after a copy was put back."""

    async def commits() -> None:
        while True:
            await asyncio.sleep(0.001)  # without a rest it would keep the store's thread from its work
            if gateway.wanted:
                await gateway.commit()

    running = asyncio.create_task(commits())
    gateway.give(Start())
    gateway.give(SourceNews(BROKER, up=True, reason="it answers"))
    yield gateway, clock, Answers(gateway, clock, restored)
    running.cancel()
    await store.close()
