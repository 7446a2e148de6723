"""Serve the pages: at most so many at a time, each for so long, every answer plain and closed to the outside.

Import it only where the settings ask for pages: the library under it costs 14 MB.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterable, Sequence
from typing import Protocol

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.settings.typed import Pages
from gatewayd.web.page import POLICY, page

log = logging.getLogger(__name__)

# A page has 3 KB and an answer takes 20 s at the worst. A connection that lives longer is of somebody who says
# nothing, or one letter a second; the library itself waits for ever for a first request. So each connection is cut
# after 30 to 60 s: they are looked at so often, and who is there at two looks behind the first has had enough.
LOOK = 30 * SECOND
MOST = 64  # connections at a time: a household has some phones; each costs some 20 KB and a file handle
BODY = 4096  # bytes; the button sends none, and a gateway's sign of life some hundred
WORDS = 8190  # bytes of the first line and of one header; a link has 150, browsers send 2 KB of headers at most
AGAIN = MINUTE  # until an address that could not be listened at is tried again

HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Server": "gatewayd",  # which library and version is nobody's business
}
SORRY = {
    404: ("There is no such page", "The address is wrong. Copy all of it from the message."),
    405: ("That does not work here", "Open the link from the message in a browser and use the button there."),
    413: ("That is too long", "Nothing was changed. Open the link from the message and use the button there."),
}
OTHERWISE = ("That could not be done", "Nothing was changed. Try again; if it stays so, look at the log of gatewayd.")

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

# The library writes whatever strangers send, with a traceback, into its log; what matters is said here instead.
_HUSHED = logging.getLogger("gatewayd.web.library")
_HUSHED.setLevel(logging.CRITICAL + 1)


class Part(Protocol):
    """Some pages of the house."""

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        ...


class Server:
    """Listen at one address and serve some parts."""

    def __init__(self, pages: Pages, house: str, parts: Sequence[Part], clock: Clock) -> None:
        """Take where to listen, what the house is called, what is served, and the clock for the waits."""
        self._pages = pages
        self._house = house
        self._parts = parts
        self._clock = clock
        self._runner: web.AppRunner | None = None
        self._server: asyncio.Server | None = None
        self._look: asyncio.TimerHandle | None = None
        self._before: set[web.RequestHandler] = set()  # the connections of the last look

    @property
    def port(self) -> int:
        """Return where it listens, 0 while it does not."""
        return int(self._server.sockets[0].getsockname()[1]) if self._server else 0

    async def run(self) -> None:
        """Serve until cancelled. An address that cannot be listened at keeps nothing else from running."""
        told = False
        try:
            while True:
                try:
                    await self.open()
                except OSError as error:
                    where = f"{self._pages.host or 'all addresses'} port {self._pages.port}"
                    log.log(
                        logging.DEBUG if told else logging.WARNING,
                        "the pages cannot be shown at %s (%s); it is tried again every minute; see pages in the "
                        "settings",
                        where,
                        error.strerror or error,
                    )
                    told = True
                    await self._clock.sleep(AGAIN)
                else:
                    break
            log.info("the pages are at port %s", self.port)
            await asyncio.get_running_loop().create_future()  # for ever
        finally:
            await self.close()

    async def open(self) -> None:
        """Begin to listen. Raise OSError if that address cannot be had."""
        app = web.Application(middlewares=[self._plainly], client_max_size=BODY)
        for part in self._parts:
            part.add(app)
        app.on_response_prepare.append(_close_to_the_outside)
        runner = web.AppRunner(
            app,
            handle_signals=False,
            access_log=None,
            logger=_HUSHED,
            keepalive_timeout=10.0,
            lingering_time=1.0,
            shutdown_timeout=1.0,
            max_line_size=WORDS,
            max_field_size=WORDS,
        )
        await runner.setup()
        try:
            host = self._pages.host or None
            loop = asyncio.get_running_loop()
            self._server = await loop.create_server(lambda: self._welcome(runner), host, self._pages.port)
        except BaseException:
            await runner.cleanup()
            raise
        self._runner = runner

    async def close(self) -> None:
        """Stop listening, and end what is being answered within a second; closing twice is fine."""
        server, self._server = self._server, None
        runner, self._runner = self._runner, None
        if server is not None:
            server.close()
        if self._look is not None:
            self._look.cancel()
        self._look = None
        self._before = set()
        if runner is not None:
            await runner.cleanup()

    def _welcome(self, runner: web.AppRunner) -> asyncio.Protocol:
        """Take one connection; one too many is hung up on at once."""
        if runner.server is None or len(runner.server.connections) >= MOST:
            return _Away()
        if self._look is None:
            self._look = asyncio.get_running_loop().call_later(LOOK / SECOND, self._look_round, runner.server)
        return runner.server()

    def _look_round(self, library: web.Server) -> None:
        """Hang up on who was there at the last look already; look again as long as there is somebody."""
        here = set(library.connections)
        _hang_up(here & self._before)
        self._before = here - self._before
        self._look = asyncio.get_running_loop().call_later(LOOK / SECOND, self._look_round, library) if here else None

    @web.middleware
    async def _plainly(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer what goes wrong with a plain page."""
        try:
            return await handler(request)
        except web.HTTPException as wrong:
            status, allowed = wrong.status, wrong.headers.get("Allow")
        except (ConnectionError, asyncio.CancelledError):
            raise
        except Exception:
            log.exception("a page could not be shown")
            status, allowed = 500, None
        title, line = SORRY.get(status, OTHERWISE)
        answer = web.Response(text=page(self._house, title, [line]), status=status, content_type="text/html")
        if allowed:
            answer.headers["Allow"] = allowed
        return answer


class _Away(asyncio.Protocol):
    """Hang up at once."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        transport.close()


def _hang_up(connections: Iterable[web.RequestHandler]) -> None:
    for connection in list(connections):
        if connection.transport is not None:
            connection.transport.abort()


async def _close_to_the_outside(_request: web.Request, response: web.StreamResponse) -> None:
    response.headers.update(HEADERS)
