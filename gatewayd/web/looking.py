"""Links with which somebody may look and change nothing: make one, see which there are, take one back."""

import asyncio
import logging
from collections.abc import Callable

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.lock import Lock
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import signed_in

log = logging.getLogger(__name__)

NAME = 60  # characters of what a link is for


class Looking:
    """Answer at /links."""

    def __init__(self, lock: Lock, begins: Callable[[], str], home: Home, paint: Paint, clock: Clock) -> None:
        """Take the lock, how addresses begin, the house, the painter, and this computer's clock."""
        self._lock = lock
        self._begins = begins
        self._home = home
        self._paint = paint
        self._clock = clock
        self._writing = asyncio.Lock()

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/links", self.show)
        app.router.add_post("/links", self.make)
        app.router.add_post("/links/{id}/end", self.end)

    async def show(self, request: web.Request) -> web.Response:
        """List the links; whoever came by one sees only that there are some."""
        return self._page(request)

    async def make(self, request: web.Request) -> web.Response:
        """Make a link and show its address, this once."""
        seen, form = signed_in(request), await read_form(request)
        try:
            name = form.needed("name", NAME)
            async with self._writing:
                word = await asyncio.to_thread(self._lock.add_link, name, seen.who, self._clock.now().wall)
        except Wrong as wrong:
            return self._page(request, wrong=str(wrong), status=422)
        except (ValueError, OSError) as why:
            return self._page(request, wrong=str(why), status=409)
        log.info("%s made a link to look, for %s", seen.who, name)
        return self._page(request, made=f"{self._begins()}/look/{word}", made_for=name)

    async def end(self, request: web.Request) -> web.Response:
        """Take a link back; who came by it is out at the next page."""
        try:
            async with self._writing:
                gone = await asyncio.to_thread(self._lock.drop_link, request.match_info["id"])
        except OSError as error:
            return self._paint.back(request, "/links", f"The disk does not take it: {error.strerror}.", done=False)
        text = f"{gone.name} can look no more." if gone else "There is no such link any more."
        return self._paint.back(request, "/links", text)

    def _page(
        self, request: web.Request, *, wrong: str = "", made: str = "", made_for: str = "", status: int = 200
    ) -> web.Response:
        people = self._home.house.people
        links = [
            {
                "id": link.id,
                "name": link.name,
                "made": link.made,
                "by": people[link.by].name if link.by in people else "",
            }
            for link in self._lock.links
        ]
        return self._paint.page(
            request, "links.html", status=status, links=links, wrong=wrong, made=made, made_for=made_for
        )
