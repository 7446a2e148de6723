"""Serve the pages: at most so many at a time, each for so long, every answer plain and closed to the outside.

Import it only where the settings ask for pages: the library under it costs 14 MB.
"""

import asyncio
import contextlib
import logging
import ssl
from collections.abc import Awaitable, Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from aiohttp import web
from aiohttp.typedefs import Middleware as Guard

from gatewayd.clock import Clock
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.settings.typed import Pages
from gatewayd.web.form import Wrong
from gatewayd.web.gate import API, OPEN, SAFE
from gatewayd.web.page import POLICY, page
from gatewayd.web.porch import Porch, listen

log = logging.getLogger(__name__)

# A page has 3 KB and an answer takes 20 s at the worst. A connection that lives longer is of somebody who says
# nothing, or one letter a second; the library itself waits for ever for a first request. So each connection is cut
# after 30 to 60 s: they are looked at so often, and who is there at two looks behind the first has had enough.
LOOK = 30 * SECOND
BODY = 4096  # bytes from somebody who has not signed in: a password, or a gateway's sign of life of some hundred
WHOLE = 2 << 20  # bytes from somebody who has: a list of 5 000 packages has half a MB
WORDS = 8190  # bytes of the first line and of one header; a link has 150, browsers send 2 KB of headers at most
AGAIN = MINUTE  # until an address that could not be listened at is tried again

HEADERS = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Server": "gatewayd",  # which library and version is nobody's business
}
SORRY = {
    403: ("That is not allowed", "Nothing was changed."),
    404: ("There is no such page", "The address is wrong. If it came in a message, copy all of it from there."),
    405: ("That does not work here", "Nothing was changed. If a message brought you here, use the button on its page."),
    413: ("That is too long", "Nothing was changed."),
}
OTHERWISE = ("That could not be done", "Nothing was changed. Try again; if it stays so, look at the log of gatewayd.")

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True)
class _Seen:
    """Hold the connections of the last look, and those that may last: a page kept up to date, a download, an order."""

    before: set[web.RequestHandler] = field(default_factory=set)
    staying: set[web.RequestHandler] = field(default_factory=set)


_SEEN: web.AppKey[_Seen] = web.AppKey("seen")

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

    def __init__(
        self, pages: Pages, house: Callable[[], str], parts: Sequence[Part], clock: Clock, gate: Guard | None = None
    ) -> None:
        """Take where to listen, what says how the house is called, what is served, the clock, and who lets in."""
        self._pages = pages
        self._house = house
        self._parts = parts
        self._gate = gate
        self._clock = clock
        self._runner: web.AppRunner | None = None
        self._servers: list[asyncio.Server] = []
        self._porch = Porch(pages.proxy)
        self._look: asyncio.TimerHandle | None = None
        self._seen = _Seen()
        self._has_pages = False  # beside the links in messages

    @property
    def port(self) -> int:
        """Return where it listens, 0 while it does not."""
        return int(self._servers[0].sockets[0].getsockname()[1]) if self._servers else 0

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
        guards: list[Guard] = [self._plainly, *([self._gate] if self._gate is not None else [])]
        app = web.Application(middlewares=guards, client_max_size=WHOLE)
        app[_SEEN] = self._seen
        for part in self._parts:
            part.add(app)
        self._has_pages = any(resource.canonical == "/" for resource in app.router.resources())
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
            host, port, context = self._pages.host, self._pages.port, _context(self._pages)
            self._servers = await listen(
                self._porch, lambda: self._welcome(runner), host, port, context, LOOK / SECOND
            )  # fmt: skip
        except BaseException:
            await runner.cleanup()
            raise
        self._runner = runner

    async def close(self) -> None:
        """Stop listening, and end what is being answered within a second; closing twice is fine."""
        servers, self._servers = self._servers, []
        runner, self._runner = self._runner, None
        for server in servers:
            server.close()
        if self._look is not None:
            self._look.cancel()
        self._look = None
        self._seen.before.clear()
        if runner is not None:
            await runner.cleanup()

    def _welcome(self, runner: web.AppRunner) -> asyncio.Protocol:
        """Take one connection; who still comes while the server closes is hung up on."""
        if runner.server is None:
            return _Away()
        if self._look is None:
            self._look = asyncio.get_running_loop().call_later(LOOK / SECOND, self._look_round, runner.server)
        return runner.server()

    def _look_round(self, library: web.Server) -> None:
        """Hang up on who was there at the last look already; look again as long as there is somebody."""
        here = set(library.connections)
        over = (here & self._seen.before) - self._seen.staying
        _hang_up(over)
        self._seen.before.clear()
        self._seen.before.update(here - over - self._seen.staying)
        self._look = asyncio.get_running_loop().call_later(LOOK / SECOND, self._look_round, library) if here else None

    def _taken(self, request: web.Request) -> web.Request:
        """Return a request as it is answered: who sends it as the proxy says, and no longer than it may be."""
        most = BODY if request.path.startswith(OPEN) else WHOLE
        if not self._pages.proxy or request.remote != self._pages.proxy:
            return request.clone(client_max_size=most)
        # the last address that the proxy names is the one that it saw itself; those before it may be invented
        remote = request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip() or self._pages.proxy
        scheme = request.headers.get("X-Forwarded-Proto", "").strip().lower()
        return request.clone(
            client_max_size=most, remote=remote, scheme=scheme if scheme in ("http", "https") else request.scheme
        )

    @web.middleware
    async def _plainly(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer what goes wrong with a plain page."""
        said = ""
        try:
            request = self._taken(request)
            return await handler(request)
        except web.HTTPException as wrong:
            if isinstance(wrong, web.HTTPMethodNotAllowed) and (way := await _page_of(request)):
                return web.Response(status=303, headers={"Location": way})
            status, allowed, said = wrong.status, wrong.headers.get("Allow"), wrong.text or ""
        except Wrong as wrong:  # a field that no page of ours would send so
            status, allowed, said = 422, None, str(wrong)
        except web.RequestPayloadError:
            status, allowed, said = 400, None, "What was sent could not be read."
        except (ConnectionError, asyncio.CancelledError):
            raise
        except Exception:
            log.exception("a page could not be shown")
            status, allowed = 500, None
        title, line = SORRY.get(status, OTHERWISE)
        lines = (
            [said, line] if said and not said.startswith(f"{status}:") else [line]
        )  # the library's own words start so
        if request.path.startswith(API):
            answer = web.json_response({"error": " ".join(lines)}, status=status)
        else:
            text = page(self._house(), title, lines, home="To the pages" if self._has_pages else "")
            answer = web.Response(text=text, status=status, content_type="text/html")
        if allowed:
            answer.headers["Allow"] = allowed
        return answer


async def _page_of(request: web.Request) -> str:
    """Return the page on which the form stands that goes to an address, empty where nobody looks for one.

    A form that was refused is shown again at the address it went to. Who loads that anew, or comes back to it, gets
    the page itself, which is the nearest above it; the addresses of forms are chosen so.
    """
    if request.method not in SAFE or request.path.startswith((*OPEN, API)):
        return ""
    way = request.rel_url.raw_path
    while way.strip("/"):
        way = way.rpartition("/")[0] or "/"
        looked = await request.app.router.resolve(request.clone(method="GET", rel_url=way))
        if looked.http_exception is None:
            asked = request.rel_url.raw_query_string
            return f"{way}?{asked}" if asked else way
    return ""


@contextlib.contextmanager
def staying(request: web.Request) -> Iterator[None]:
    """Let the connection of a request last as long as it takes; what comes of it then has the time of any other.

    Only for those who have signed in, and when all that they sent is there.
    """
    connection, seen = request.protocol, request.app[_SEEN]
    seen.staying.add(connection)
    try:
        yield
    finally:
        seen.staying.discard(connection)
        seen.before.discard(connection)


def lasting(handler: Handler) -> Handler:
    """Return what carries out a form that may take long: a message that is sent, settings that come into force."""

    async def answer(request: web.Request) -> web.StreamResponse:
        await request.post()
        with staying(request):
            return await handler(request)

    return answer


def _context(pages: Pages) -> ssl.SSLContext | None:
    """Return what encrypts the pages, None where they are not. Raise OSError for files that do not fit."""
    if pages.certificate is None:
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    # a key behind a pass phrase would be asked for at the terminal, and the whole watch would wait for the answer
    context.load_cert_chain(pages.certificate, pages.private_key, password=str)
    return context


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
    response.headers.setdefault("Cache-Control", "no-store")
