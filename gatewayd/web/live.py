"""Tell open pages that they would show something else by now."""

import asyncio
from collections.abc import Callable

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.model.moment import SECOND
from gatewayd.web.home import Home
from gatewayd.web.server import staying
from gatewayd.web.visitor import signed_in, still_welcome

LOOK = 2 * SECOND  # one look for all open pages; with none open nobody looks
SETTLE = 10 * SECOND  # readings come by the second in a busy house; a page is loaded anew no more often than this
ALIVE = 20 * SECOND  # so that a phone knows that the line is not dead
MOST = 24  # open pages; more are told to come again
OF_ONE = 6  # of one sign-in: a browser opens no more connections to one address anyway


class Live:
    """Answer at /live with server-sent events (WHATWG HTML, 9.2): `changed`, and `alive` in between.

    Who has signed out meanwhile, or whose link was taken back, is hung up on at the next of them.
    """

    def __init__(self, home: Home, clock: Clock) -> None:
        """Take the house, and this computer's clock for the waits."""
        self._home = home
        self._clock = clock
        self._open: dict[Callable[[bool], None], web.Request] = {}
        self._looking: asyncio.Task[None] | None = None

    @property
    def listening(self) -> int:
        """Return how many pages are open."""
        return len(self._open)

    @property
    def looking(self) -> bool:
        """Return whether somebody looks for them."""
        return self._looking is not None and not self._looking.done()

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/live", self.stream)

    async def stream(self, request: web.Request) -> web.StreamResponse:
        """Say so for as long as the page stays open."""
        # who has gone on to another page is noticed at the next thing that is told, and counts no more until then
        there, mine = [one for one in self._open.values() if _there(one)], signed_in(request).session
        if len(there) >= MOST or sum(signed_in(one).session == mine for one in there) >= OF_ONE:
            return web.Response(status=503, headers={"Retry-After": "60"})
        answer = web.StreamResponse(headers={"Content-Type": "text/event-stream"})
        await answer.prepare(request)
        heard: asyncio.Queue[bool] = asyncio.Queue(maxsize=1)

        def hear(changed: bool) -> None:  # noqa: FBT001 - one clear question
            if heard.full():
                changed = heard.get_nowait() or changed
            heard.put_nowait(changed)

        self._open[hear] = request
        if self._looking is None or self._looking.done() or self._looking.cancelling():
            self._looking = asyncio.create_task(self._look(), name="look for open pages")
        try:
            with staying(request):
                await answer.write(b"retry: 5000\n\nevent: alive\ndata:\n\n")
                while True:
                    changed = await heard.get()
                    if not still_welcome(request):
                        return answer
                    await answer.write(b"event: changed\ndata:\n\n" if changed else b"event: alive\ndata:\n\n")
        except ConnectionError:
            return answer  # the page was closed
        finally:
            self._open.pop(hear, None)
            if not self._open and self._looking is not None:
                self._looking.cancel()

    async def _look(self) -> None:
        """Compare what there is with what was told last; an event is told at once, readings when they have settled."""
        told, spoke = self._home.pulse(), self._clock.now().steady
        while self._open:
            await self._clock.sleep(LOOK)
            for hear in [hear for hear, request in self._open.items() if request.transport is None]:
                hear(False)  # a page that was closed is noticed when something is written to it
            now, pulse = self._clock.now().steady, self._home.pulse()
            changed = pulse[0] != told[0] or (pulse != told and now - spoke >= SETTLE)
            if changed or now - spoke >= ALIVE:
                told, spoke = (pulse if changed else told), now
                for hear in tuple(self._open):
                    hear(changed)


def _there(request: web.Request) -> bool:
    """Return whether somebody still listens."""
    return request.transport is not None and not request.transport.is_closing()
