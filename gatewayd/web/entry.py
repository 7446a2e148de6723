"""The way in: the first phone sets the password with the code, others sign in, a link lets somebody look."""

import asyncio
import ipaddress
import logging
from collections import OrderedDict

from aiohttp import web

from gatewayd.clock import Clock
from gatewayd.model.moment import MINUTE, SECOND, Moment, between
from gatewayd.web import session
from gatewayd.web.code import Code
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.gate import Gate
from gatewayd.web.home import Home
from gatewayd.web.lock import LEAST, MOST, Lock
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import GUEST, visitor

log = logging.getLogger(__name__)

# Our choice: who mistypes waits seconds, and who guesses has one try a minute, 500 000 a year.
FREE = 3  # wrong passwords from one address before it has to wait: typing errors
SLOWEST = MINUTE  # the longest wait after a wrong password
FORGOTTEN = 15 * MINUTE  # after which an address's wrong passwords count no more
ADDRESSES = 200  # whose wrong passwords are remembered; more push the oldest out


class Entry:
    """Answer at /set-up, /sign-in, /sign-out and /look/WORD."""

    def __init__(self, lock: Lock, code: Code, gate: Gate, home: Home, paint: Paint, clock: Clock) -> None:
        """Take the lock, the code, who writes cookies, the house, the painter, and this computer's clock."""
        self._lock = lock
        self._code = code
        self._gate = gate
        self._home = home
        self._paint = paint
        self._clock = clock
        self._wrong: OrderedDict[str, tuple[int, Moment]] = OrderedDict()
        self._hashing = asyncio.Lock()  # one at a time: each takes 16 MiB

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/set-up", self.set_up)
        app.router.add_post("/set-up", self.take_password)
        app.router.add_get("/sign-in", self.ask)
        app.router.add_post("/sign-in", self.sign_in)
        app.router.add_post("/sign-out", self.sign_out)
        app.router.add_get("/look/{word}", self.look, allow_head=False)

    async def set_up(self, request: web.Request) -> web.Response:
        """Show the form for the first password, or for another one where a new code was asked for."""
        if self._lock.is_set and not self._code.counts:
            return web.Response(status=303, headers={"Location": "/sign-in"})
        return self._form(request, "set_up.html")

    async def take_password(self, request: web.Request) -> web.Response:
        """Take the household's password from a phone at home that knows the code."""
        form = await read_form(request)
        if not at_home(request.remote, _own(request)):
            return self._form(request, "set_up.html", "This can be done from the home network only.", 403, form)
        if (wait := self._must_wait(request)) > 0:
            return self._form(request, "set_up.html", _later(wait), 429, form)
        try:
            who = self._who(form)
            password, again = form.needed("password", MOST), form.text("again", MOST)
            if len(password) < LEAST:
                raise Wrong(f"The password must have {LEAST} characters or more; this one has {len(password)}.")
            if password != again:
                raise Wrong("The two passwords are not the same.")
            if not self._code.fits(form.text("code")):
                self._note_wrong(request)
                raise Wrong("That is not the code, or it is older than 30 minutes. " + NEW_CODE)
            async with self._hashing:
                await asyncio.to_thread(self._lock.set, password)
        except Wrong as wrong:
            return self._form(request, "set_up.html", str(wrong), 422, form)
        except OSError as error:
            log.warning("the password could not be written: %s", error)
            return self._form(request, "set_up.html", f"The disk does not take it: {error.strerror}.", 500, form)
        self._code.end()
        log.info("the pages have a new password; all sign-ins before it have ended")
        return self._in(request, who, "/")

    async def ask(self, request: web.Request) -> web.Response:
        """Show the form to sign in with."""
        if not self._lock.is_set:
            return web.Response(status=303, headers={"Location": "/set-up"})
        return self._form(request, "sign_in.html")

    async def sign_in(self, request: web.Request) -> web.Response:
        """Let somebody in who knows the password; wrong ones make their address wait."""
        form = await read_form(request)
        if (wait := self._must_wait(request)) > 0:
            return self._form(request, "sign_in.html", _later(wait), 429, form)
        try:
            who, password = self._who(form), form.text("password", MOST)
        except Wrong as wrong:
            return self._form(request, "sign_in.html", str(wrong), 422, form)
        async with self._hashing:
            if (wait := self._must_wait(request)) > 0:  # many at once have been wrong while this one waited its turn
                return self._form(request, "sign_in.html", _later(wait), 429, form)
            opens = await asyncio.to_thread(self._lock.opens, password)
            if not opens:
                self._note_wrong(request)
        if not opens:
            return self._form(request, "sign_in.html", "That is not the password.", 403, form)
        self._wrong.pop(request.remote or "", None)
        return self._in(request, who, _inside(form.text("to", 2000)))

    async def sign_out(self, request: web.Request) -> web.Response:
        """End a sign-in on this phone."""
        answer = web.Response(status=303, headers={"Location": "/sign-in"})
        await self._gate.forget(request, answer)
        return answer

    async def look(self, request: web.Request) -> web.Response:
        """Let somebody look who has a link for it; it changes nothing but the cookie."""
        link = self._lock.link(request.match_info["word"])
        if link is None:
            raise web.HTTPNotFound(text="This link counts no longer. Ask for a new one.")
        seen = visitor(request)
        if seen is not None and seen.may_order:  # who may do more than look goes on as they are
            return web.Response(status=303, headers={"Location": "/"})
        return self._in(request, GUEST, "/", link.id)

    def _in(self, request: web.Request, who: str, to: str, link: str = "") -> web.Response:
        answer = web.Response(status=303, headers={"Location": to})
        self._gate.remember(request, answer, session.begin(who, self._clock.now().wall, link))
        return answer

    def _who(self, form: Form) -> str:
        """Return who it is, one of the people or a guest."""
        return form.choice("who", {*self._home.house.people, GUEST})

    def _form(
        self, request: web.Request, template: str, wrong: str = "", status: int = 200, form: Form | None = None
    ) -> web.Response:
        """Show a form; what was typed stays in it, but for passwords."""
        people = [(id_, person.name) for id_, person in self._home.house.people.items()]
        typed = {name: form.short(name) if form else "" for name in ("who", "to", "code")}
        return self._paint.page(
            request, template, status=status, wrong=wrong, people=people, guest=GUEST,
            to=_inside(typed["to"] or request.query.get("to", "/")), who=typed["who"], code=typed["code"],
            is_set=self._lock.is_set, code_counts=self._code.counts, new_code=NEW_CODE, least=LEAST, most=MOST,
            links=len(self._lock.links),
        )  # fmt: skip

    def _must_wait(self, request: web.Request) -> int:
        """Return how long (ms) this address has to wait before it may try again."""
        many, last = self._wrong.get(request.remote or "", (0, None))
        if last is None or many < FREE:
            return 0
        passed = between(last, self._clock.now())
        if passed > FORGOTTEN:
            self._wrong.pop(request.remote or "", None)
            return 0
        return max(0, min(SLOWEST, SECOND << min(many - FREE, 6)) - passed)

    def _note_wrong(self, request: web.Request) -> None:
        where = request.remote or ""
        many, _ = self._wrong.pop(where, (0, None))
        self._wrong[where] = many + 1, self._clock.now()
        while len(self._wrong) > ADDRESSES:
            self._wrong.popitem(last=False)
        log.warning("a wrong password or code came from %s (%s in a row)", where, many + 1)


NEW_CODE = "A new code is shown by: gatewayd pages code"


def _later(wait: int) -> str:
    return f"Too many wrong tries from this device. Try again in {max(1, wait // SECOND)} s."


def _inside(to: str) -> str:
    """Return a path of this house, the front page for anything else: a link must not lead elsewhere after a sign-in."""
    safe = to.startswith("/") and not to.startswith(("//", "/\\")) and to.isprintable()
    return to if safe else "/"


def at_home(remote: str | None, own: str = "") -> bool:
    """Return whether an address is one of a home network: private, of the link, or this computer itself (RFC 6890).

    Many homes have addresses of the wide world too (IPv6): one of the same network of 64 bits as ours, at which it
    reached us, is at home (RFC 4291, 2.5.4). So is the shared space (RFC 6598), which private tunnels use.
    """
    address, ours = _read(remote or ""), _read(own)
    if address is None:
        return False
    if address.is_private or address.is_link_local or address.is_loopback or address in SHARED:
        return True
    return ours is not None and ours.version == 6 and address in ipaddress.ip_network((ours, 64), strict=False)


SHARED = ipaddress.ip_network("100.64.0.0/10")


def _read(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        address = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address


def _own(request: web.Request) -> str:
    """Return the address of ours at which a request came; behind a proxy that says nothing of who asks."""
    if request.transport is None or request.remote != _host(request.transport.get_extra_info("peername")):
        return ""
    return _host(request.transport.get_extra_info("sockname"))


def _host(name: object) -> str:
    return str(name[0]) if isinstance(name, tuple) and name else ""
