"""The page behind the link in a message: it shows the alarm and has one button.

Opening it changes nothing, for mail programs open links to look at them; only pressing the button does.
"""

import asyncio
import hashlib
import logging
from dataclasses import dataclass
from typing import Protocol

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.message.token import Claim, read
from gatewayd.model.effect import Answer
from gatewayd.model.given import Order
from gatewayd.web.page import page
from gatewayd.web.spoken import sentences

log = logging.getLogger(__name__)

WHY = "by the link in a message"
BUTTON = "I have seen it"
PAGES = "Open the pages of the house"
PATIENCE = 20.0  # s for a store that takes long; the order stands whether or not somebody waits for the answer
INSTEAD = "Open the newest message about this alarm, or run on the gateway: gatewayd ack"
DONE_WITH = "This alarm is over and needs no answer any more. Nothing is left to do here."
LATER = "The gateway is busy writing to its disk. The alarm is taken as seen; look at gatewayd status in a minute."


@dataclass(frozen=True, slots=True)
class Sight:
    """Hold what a page shows of an alarm: its title, lines under it, and whether it waits for an answer.

    `turn` is the number of its newest event: a second press is the same order only while nothing has happened since.
    """

    title: str
    lines: tuple[str, ...]
    waits: bool
    turn: int


class Home(Protocol):
    """What the pages need of the gateway; the daemon provides it."""

    @property
    def name(self) -> str:
        """Return what the house is called."""
        ...

    def sight(self, number: int) -> Sight | None:
        """Return the alarm that event `number` belongs to as it stands now, None if it needs nobody any more."""
        ...

    async def order(self, order: Order) -> Answer:
        """Carry an order out and return its answer after the commit."""
        ...


class Button:
    """Answer at /seen/TOKEN."""

    def __init__(self, key: bytes, home: Home, clock: Clock) -> None:
        """Take the key of the links, the gateway, and the clock for their end."""
        self._key = key
        self._home = home
        self._clock = clock

    def add(self, app: web.Application) -> None:
        """Answer GET, HEAD and POST there."""
        app.router.add_get("/seen/{token}", self.look)
        app.router.add_post("/seen/{token}", self.press)

    async def look(self, request: web.Request) -> web.Response:
        """Show the alarm; change nothing."""
        claim = self._claim(request)
        if isinstance(claim, web.Response):
            return claim
        return self._show(self._home.sight(claim.first), "")

    async def press(self, request: web.Request) -> web.Response:
        """Acknowledge the alarm, and show what came of it."""
        claim = self._claim(request)
        if isinstance(claim, web.Response):
            return claim
        await request.read()  # nothing in it counts; one that is too long is refused here
        sight = self._home.sight(claim.first)
        if sight is None:
            return self._show(None, "")
        name = hashlib.sha256(request.match_info["token"].encode()).hexdigest()[:32]
        order = Order("acknowledge", claim.first, claim.person, WHY, key=f"seen-{name}-{sight.turn}")
        work = asyncio.ensure_future(self._home.order(order))
        done, _ = await asyncio.wait({work}, timeout=PATIENCE)
        if not done:
            work.add_done_callback(_hear_of)
            return self._show(self._home.sight(claim.first), LATER)
        return self._show(self._home.sight(claim.first), sentences(work.result().text))

    def _claim(self, request: web.Request) -> Claim | web.Response:
        found = read(self._key, request.match_info["token"], self._clock.now().wall)
        if isinstance(found, Claim):
            return found
        title = "This link is too old" if found.expired else "This link does not count"
        text = page(self._home.name, title, [found.reason, "Nothing was changed.", INSTEAD], home=PAGES)
        return web.Response(text=text, status=410 if found.expired else 404, content_type="text/html")

    def _show(self, sight: Sight | None, answer: str) -> web.Response:
        if sight is None:
            said = answer.splitlines() or [DONE_WITH]
            text = page(self._home.name, "Nothing to do" if not answer else "Thank you", said, home=PAGES)
        else:
            lines = [*answer.splitlines(), *sight.lines]
            text = page(self._home.name, sight.title, lines, BUTTON if sight.waits and not answer else "", PAGES)
        return web.Response(text=text, content_type="text/html")


def _hear_of(work: asyncio.Future[Answer]) -> None:
    """Say in the log what went wrong with an order nobody waits for any more."""
    if not work.cancelled() and (error := work.exception()) is not None:
        log.error("an order by a link came to nothing: %r", error)
