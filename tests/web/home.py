"""A gateway that the test directs, and a server of its pages on a free port."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import aiohttp

from gatewayd.clock import Clock, SystemClock
from gatewayd.model.effect import Answer
from gatewayd.model.given import Beat, Order
from gatewayd.settings.typed import Pages
from gatewayd.web.button import Sight
from gatewayd.web.server import Part, Server


@dataclass
class FakeHome:
    """Show what the test says, and remember what was ordered and heard."""

    name: str = "Heron Lane"
    sights: dict[int, Sight] = field(default_factory=dict)
    orders: list[Order] = field(default_factory=list)
    beats: list[Beat] = field(default_factory=list)
    hold: asyncio.Event | None = None

    def sight(self, number: int) -> Sight | None:
        """Return what the test set."""
        return self.sights.get(number)

    async def order(self, order: Order) -> Answer:
        """Take an order; answer when the test lets go."""
        self.orders.append(order)
        if self.hold is not None:
            await self.hold.wait()
        return Answer(done=True, text="Shed chest: too warm (17): acknowledged.", key=order.key)

    def give(self, given: Beat, /) -> object:
        """Hear a beat."""
        self.beats.append(given)
        return None


@asynccontextmanager
async def serving(parts: Sequence[Part], clock: Clock | None = None) -> AsyncIterator[tuple[str, Server]]:
    """Serve parts on a free port; yield the beginning of the address and the server."""
    server = Server(Pages("127.0.0.1", 0), lambda: "Heron Lane", parts, clock or SystemClock())
    await server.open()
    try:
        yield f"http://127.0.0.1:{server.port}", server
    finally:
        await server.close()


async def ask(method: str, url: str, **more: Any) -> tuple[int, dict[str, str], str]:
    """Send one request and return status, headers and body."""
    async with aiohttp.ClientSession() as session, session.request(method, url, **more) as answer:
        return answer.status, dict(answer.headers), await answer.text()


async def raw(url: str, text: bytes, *, wait: float = 5.0) -> bytes:
    """Send bytes as they are and return all that comes back until the other end hangs up."""
    host, _, port = url.removeprefix("http://").partition(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    writer.write(text)
    with contextlib.suppress(ConnectionError):
        await writer.drain()
    try:
        async with asyncio.timeout(wait):
            return await reader.read()
    except ConnectionError:
        return b""
    finally:
        writer.close()
