"""Stand before the pages: who is it, and may they do this?"""

import asyncio
import hmac
import logging
from collections.abc import Awaitable, Callable
from urllib.parse import quote

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.web import session
from gatewayd.web.form import read_form
from gatewayd.web.home import Home
from gatewayd.web.lock import Lock
from gatewayd.web.visitor import GUEST, Visitor, visitor, welcome

log = logging.getLogger(__name__)

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

# What answers without a sign-in: links in messages, neighbours, what every page is made of, and the way in.
OPEN = ("/seen/", "/beat/", "/static/", "/sign-in", "/set-up", "/look/")
API = "/api/"
LIVE = "/live"  # where open pages are told that they would show something else
LEAVE = "/sign-out"  # what even who may only look can do
HEADER = "X-Form-Word"  # in which a program sends the word against forgery
SAFE = ("GET", "HEAD")
LOOKER = "Somebody with a link to look"


class Gate:
    """Let people in who have signed in, and nobody change anything without the word of their own form."""

    def __init__(self, lock: Lock, home: Home, clock: Clock) -> None:
        """Take the lock, the house, and this computer's clock."""
        self._lock = lock
        self._home = home
        self._clock = clock

    @web.middleware
    async def check(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer a request, or say why not."""
        seen = self._session(request)
        if seen is not None:
            welcome(request, self._visitor(seen), lambda: self._session(request) is not None)
        if request.path.startswith(OPEN):
            return await handler(request)
        if seen is None:
            return self._out(request)
        if request.method not in SAFE:
            await self._may_change(request, self._visitor(seen))
        answer = await handler(request)
        if self._clock.now().wall - seen.since > session.FRESH and not answer.prepared:
            self.remember(request, answer, session.Session(seen.who, self._clock.now().wall, seen.id, seen.link))
        return answer

    def remember(self, request: web.Request, answer: web.StreamResponse, seen: session.Session) -> None:
        """Put the cookie of a sign-in into an answer; one that came encrypted is never sent otherwise."""
        answer.set_cookie(
            session.COOKIE,
            session.write(seen, self._lock.key),
            max_age=session.LASTS // 1000,
            httponly=True,
            samesite="Lax",
            secure=request.secure,
            path="/",
        )

    async def forget(self, request: web.Request, answer: web.StreamResponse) -> None:
        """Take the cookie back; what is left of it anywhere, such as an open page, counts no more."""
        seen = visitor(request)
        if seen is not None:
            try:
                await asyncio.to_thread(self._lock.end, seen.session, self._clock.now().wall, session.LASTS)
            except OSError as error:
                log.warning("that a sign-in was ended could not be written down: %s", error)
        answer.del_cookie(session.COOKIE, path="/", httponly=True, samesite="Lax", secure=request.secure)

    def _session(self, request: web.Request) -> session.Session | None:
        if request.path.startswith(API) and "Authorization" in request.headers:
            return self._bearer(request.headers["Authorization"])
        cookie = request.cookies.get(session.COOKIE, "")
        seen = session.read(cookie, self._lock.key, self._clock.now().wall) if cookie else None
        if seen is None or not self._lock.is_set or self._lock.ended(seen.id):
            return None
        if seen.link and seen.link not in {link.id for link in self._lock.links}:
            return None  # the link was taken back
        if not seen.link and seen.who != GUEST and seen.who not in self._home.house.people:
            return None  # taken out of the settings
        return seen

    def _bearer(self, given: str) -> session.Session | None:
        """Return the sign-in of a program that brings the word of a link to look each time (RFC 6750, 2.1)."""
        scheme, _, word = given.partition(" ")
        link = self._lock.link(word.strip()) if scheme.lower() == "bearer" and self._lock.is_set else None
        return None if link is None else session.Session(GUEST, self._clock.now().wall, link.id, link.id)

    def _visitor(self, seen: session.Session) -> Visitor:
        word = session.form_word(seen, self._lock.key)
        if seen.link:
            return Visitor(GUEST, LOOKER, may_order=False, session=seen.id, csrf=word)
        people = self._home.house.people
        name = people[seen.who].name if seen.who in people else "Somebody of the house"
        return Visitor(seen.who, name, may_order=True, session=seen.id, csrf=word)

    def _out(self, request: web.Request) -> web.Response:
        """Send somebody who has not signed in to the door; a program is only told."""
        if request.path.startswith(API):
            return web.json_response({"error": "sign in first"}, status=401)
        if request.path == LIVE:
            return web.Response(status=204)  # so that a page asks no more by itself (WHATWG HTML, 9.2.3)
        way = "/sign-in" if self._lock.is_set else "/set-up"
        to = f"?to={quote(request.path_qs, safe='')}" if request.method in SAFE and request.path != "/" else ""
        return web.Response(status=303, headers={"Location": way + to})

    async def _may_change(self, request: web.Request, visitor: Visitor) -> None:
        """Raise HTTPForbidden for an order that this visitor's own page did not send."""
        if not visitor.may_order and request.path != LEAVE:
            raise web.HTTPForbidden(text="With this link you can look; to change anything, sign in with the password.")
        if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            raise web.HTTPForbidden(text=FOREIGN)
        word = request.headers.get(HEADER, "")
        if not word and not request.path.startswith(API):
            word = (await read_form(request)).short("csrf")
        if not hmac.compare_digest(word.encode("utf-8", "replace"), visitor.csrf.encode()):
            raise web.HTTPForbidden(text=FOREIGN)


FOREIGN = (
    "This form is not from a page that you have open here, or it is too old. Go back, load the page anew, try again."
)
