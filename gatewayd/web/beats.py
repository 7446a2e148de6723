"""Take signs of life of other households' gateways at /beat/NEIGHBOUR-ID."""

import asyncio
import hmac
from collections.abc import Mapping
from typing import Protocol

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.model.given import Beat
from gatewayd.model.moment import SECOND
from gatewayd.model.route import Secret

SLOW = SECOND  # a wrong word is answered after so long, one at a time: 86 400 tries a day at most, however many ask
MOST_WRONG = 10  # wrong ones that wait for that; more are sent away at once
LONGEST = 1024  # characters of a word that is looked at


class Listens(Protocol):
    """What hears the beats; the gateway does."""

    def give(self, given: Beat, /) -> object:
        """Hand a beat to the watch."""
        ...


class Beats:
    """Answer at /beat/NEIGHBOUR-ID."""

    def __init__(self, tokens: Mapping[str, Secret], home: Listens, clock: Clock) -> None:
        """Take the word by which each neighbour, by id, proves who it is; one without a word is not known here."""
        self._tokens = dict(tokens)
        self._home = home
        self._clock = clock
        self._turn = asyncio.Lock()
        self._wrong = 0

    def add(self, app: web.Application) -> None:
        """Answer GET and POST there; HEAD is for looking and is no sign of life."""
        app.router.add_get("/beat/{neighbour}", self.beat, allow_head=False)
        app.router.add_post("/beat/{neighbour}", self.beat)

    async def beat(self, request: web.Request) -> web.Response:
        """Hear one sign of life."""
        neighbour = request.match_info["neighbour"]
        secret = self._tokens.get(neighbour)
        if secret is None:
            return web.Response(status=404, text="No gateway of that id is known here.\n")
        if not same(_word(request), secret.reveal()):
            return await self._refuse()
        await request.read()  # what a gateway says beside that it lives does not count
        self._home.give(Beat(neighbour))
        return web.Response(text="Heard.\n")

    async def _refuse(self) -> web.Response:
        if self._wrong >= MOST_WRONG:
            return web.Response(status=429, text="Too many wrong words; try again later.\n")
        self._wrong += 1
        try:
            async with self._turn:
                await self._clock.sleep(SLOW)
        finally:
            self._wrong -= 1
        return web.Response(status=403, text="The word is wrong. It stands in the settings of both gateways.\n")


def _word(request: web.Request) -> str:
    scheme, _, word = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return word.strip()
    return request.query.get("token", "")


def same(given: str, wanted: str) -> bool:
    """Compare two words in a time that does not tell how far they agree. An empty one is never right."""
    if not wanted or len(given) > LONGEST:
        return False
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode("utf-8", "replace"))
