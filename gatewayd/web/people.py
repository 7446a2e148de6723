"""People: who is told, in which order, by which ways, and a button that tries each way."""

import asyncio
from collections.abc import Callable, Mapping, Sequence

from aiohttp import web

from gatewayd.message.words import capital
from gatewayd.model.house import Person
from gatewayd.settings import schema
from gatewayd.settings.document import Document, plain, with_person, with_route
from gatewayd.settings.standing import Standing
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.once import Once
from gatewayd.web.paint import Paint
from gatewayd.web.saving import careful, fill, free_id, kept
from gatewayd.web.sheet import Sheet, sheet_of
from gatewayd.web.visitor import GUEST, signed_in
from gatewayd.web.ways import (
    PEOPLE,
    TOLD_BY,
    beside,
    short,
    told,
    ways_of,
    week,
    with_person_moved,
    with_way_changed,
    with_ways,
    without_person,
)
from gatewayd.web.wiring import Wiring

URL_LONGEST = 4000  # characters; what the settings allow
SECRET_LONGEST = 1000  # characters; the same
NAME = 80  # characters; the same
MAIL = tuple(key.name for key in schema.MAIL.keys)
SHOWN = tuple(name for name in MAIL if name != schema.MAIL_PASSWORD.name)  # what a refused form shows again
SECURITIES = (("tls", "encrypted from the start (tls)"), ("starttls", "encrypted after STARTTLS"))


class People:
    """Answer at /people and below."""

    def __init__(self, home: Home, paint: Paint, wiring: Wiring) -> None:
        """Take the house, the painter, and what changes the settings and tries a route."""
        self._home = home
        self._paint = paint
        self._wiring = wiring
        self._once = Once()

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/people", self.show)
        app.router.add_get("/people/telling", self.show_telling)
        app.router.add_get("/people/of/{person}", self.show_person)
        for path, handler in (
            ("/people", self.add_person),
            ("/people/telling", self.save_telling),
            ("/people/of/{person}", self.save_person),
            ("/people/of/{person}/move", self.move_person),
            ("/people/of/{person}/remove", self.remove_person),
            ("/people/of/{person}/mail", self.add_mail),
            ("/people/of/{person}/chat", self.add_chat),
            ("/people/of/{person}/route", self.change_route),
        ):
            app.router.add_post(path, self._once.of(handler))
        app.router.add_post("/people/try/{route}", self._once.of(self.try_route, apart=True))

    # -- the list ------------------------------------------------------------------------------------------

    async def show(self, request: web.Request) -> web.Response:
        """Show everybody in the order in which they are told."""
        return await self._list(request)

    async def _list(self, request: web.Request, wrong: str = "", name: str = "", status: int = 200) -> web.Response:
        house, routes, standing = self._home.house, self._wiring.settings.routes, await self._standing()
        may_see = signed_in(request).may_order
        people = [told(person, routes, standing, may_see=may_see) for person in house.people.values()]
        return self._paint.page(
            request, "people.html", status=status, people=people, wrong=wrong, name=name,
            ours=[person.id for person in people if person.own is None],
            nobody=not any(person.ways for person in people), telling=house.telling,
            note=week(house.telling.note), test=week(house.telling.test),
        )  # fmt: skip

    async def add_person(self, request: web.Request) -> web.Response:
        """Add somebody, told last, with no way to them yet."""
        form = await read_form(request)
        try:
            name = form.needed("name", NAME)
        except Wrong as wrong:
            return await self._list(request, capital(str(wrong)), kept(form, "name"), 422)
        id_ = free_id(name, "person", {*self._home.house.people, GUEST})
        faults = await self._change(request, lambda document: with_person(document, id_, {"name": plain(name)}))
        if faults:
            return await self._list(request, " ".join(short(fault) for fault in faults), name, 422)
        return self._paint.back(request, f"/people/of/{id_}", f"{name} is there. Now add a way to reach them.")

    async def try_route(self, request: web.Request) -> web.Response:
        """Send a real test message."""
        route, form = request.match_info["route"], await read_form(request)
        to = form.text("to")
        to = to if to.startswith("/people") else "/people"
        problem = await self._wiring.try_route(route)
        if problem:
            return self._paint.back(request, to, f"{route}: {problem}", done=False)
        return self._paint.back(request, to, f"The test message by {route} was sent. Did it reach you?")

    async def move_person(self, request: web.Request) -> web.Response:
        """Tell somebody sooner or later than their neighbour in the list."""
        person, way, standing = self._person(request), (await read_form(request)).text("way"), await self._standing()
        by_hand = {id_ for id_ in self._home.house.people if standing.own(f"{PEOPLE}.{id_}") is not None}
        faults = await self._change(request, lambda document: with_person_moved(document, person.id, way, by_hand))
        return self._done(request, "/people", faults, "The order is changed.")

    async def remove_person(self, request: web.Request) -> web.Response:
        """Take somebody out, with the ways to them that nobody else has."""
        person, used = self._person(request), self._used(await self._standing())
        faults = await self._change(request, lambda document: without_person(document, person, used))
        return self._done(request, "/people", faults, f"{person.name} is no longer told, and can no longer sign in.")

    # -- how all are told ----------------------------------------------------------------------------------

    async def show_telling(self, request: web.Request) -> web.Response:
        """Show the times and spans of the telling."""
        return self._telling(request, self._telling_sheet(await self._standing()))

    async def save_telling(self, request: web.Request) -> web.Response:
        """Take what was typed."""
        filled = await self._fill(request, self._telling_sheet)
        if not filled.right:
            return self._telling(request, filled, 422)
        return self._paint.back(request, "/people", "Saved.")

    def _telling(self, request: web.Request, sheet: Sheet, status: int = 200) -> web.Response:
        return self._paint.page(
            request, "settings_part.html", status=status, title="How the household is told", sheet=sheet,
            action="/people/telling", back="/people", back_words="All people", note="",
        )  # fmt: skip

    def _telling_sheet(self, standing: Standing) -> Sheet:
        return sheet_of(schema.TELLING, (schema.TELLING.name,), standing, self._home.house)

    # -- one person ----------------------------------------------------------------------------------------

    async def show_person(self, request: web.Request) -> web.Response:
        """Show one person with all that may be changed of them."""
        standing = await self._standing()
        return self._one(request, self._sheet(request, standing), standing)

    async def save_person(self, request: web.Request) -> web.Response:
        """Take what was typed."""
        person = self._person(request)
        filled = await self._fill(request, lambda standing: self._sheet(request, standing))
        if not filled.right:
            return self._one(request, filled, await self._standing(), status=422)
        return self._paint.back(request, f"/people/of/{person.id}", "Saved.")

    async def add_mail(self, request: web.Request) -> web.Response:
        """Add a mail route to a person; its password is kept in a file that only the service may read."""
        form = await read_form(request)
        filled = {name: kept(form, name) for name in SHOWN}
        try:
            mail = {name: plain(text) for name in MAIL if (text := form.text(name, SECRET_LONGEST))}
        except Wrong as wrong:
            return await self._refused(request, "mail", {"": capital(str(wrong))}, filled)
        empty = {name: "It must be filled in." for name in (schema.TO.name, schema.MAIL_HOST.name) if name not in mail}
        if empty:
            return await self._refused(request, "mail", empty, filled)
        mail.setdefault(schema.FROM.name, mail[schema.TO.name])  # to oneself: what most mail servers allow
        return await self._add_route(request, "mail", {schema.MAIL.name: mail}, filled)

    async def add_chat(self, request: web.Request) -> web.Response:
        """Add a route by address to a person; the whole address is kept as a secret."""
        form = await read_form(request)
        try:
            url = form.needed("url", URL_LONGEST)
        except Wrong as wrong:
            return await self._refused(request, "chat", {"": capital(str(wrong))}, {})
        return await self._add_route(request, "chat", {schema.URL.name: plain(url)}, {})

    async def _add_route(
        self, request: web.Request, kind: str, entry: Document, filled: Mapping[str, str]
    ) -> web.Response:
        person, standing = self._person(request), await self._standing()
        if standing.own(f"{PEOPLE}.{person.id}.{TOLD_BY}") is not None:
            text = f"The ways to {person.name} stand in your own settings file; add it there."
            return await self._refused(request, kind, {"": text}, filled)
        id_ = free_id(f"{person.id}-{kind}", "route", set(self._wiring.settings.routes))

        def edit(document: Document) -> Document:
            document = with_route(document, id_, entry)
            return with_ways(document, person.id, [*ways_of(document, person.id), id_])

        faults = await self._change(request, edit)
        if faults:
            return await self._refused(request, kind, beside(faults, id_, (*MAIL, schema.URL.name)), filled)
        text = f"Added. Try it now: the button sends a test message to {person.name}."
        return self._paint.back(request, f"/people/of/{person.id}", text)

    async def change_route(self, request: web.Request) -> web.Response:
        """Try a route of a person sooner or later than its neighbour, or take it away."""
        person, form, used = self._person(request), await read_form(request), self._used(await self._standing())
        route, way = form.text("route"), form.text("way")
        faults = await self._change(request, lambda doc: with_way_changed(doc, person.id, route, way, used))
        words = "It is taken away." if way == "remove" else "The order is changed."
        return self._done(request, f"/people/of/{person.id}", faults, words)

    async def _refused(
        self, request: web.Request, kind: str, wrong: Mapping[str, str], filled: Mapping[str, str]
    ) -> web.Response:
        standing = await self._standing()
        sheet = self._sheet(request, standing)
        return self._one(request, sheet, standing, wrong=wrong, kind=kind, filled=filled, status=422)

    def _one(
        self,
        request: web.Request,
        sheet: Sheet,
        standing: Standing,
        *,
        wrong: Mapping[str, str] | None = None,
        kind: str = "",
        filled: Mapping[str, str] | None = None,
        status: int = 200,
    ) -> web.Response:
        may_see = signed_in(request).may_order
        person = told(self._person(request), self._wiring.settings.routes, standing, may_see=may_see)
        return self._paint.page(
            request, "people_one.html", status=status, person=person, sheet=sheet, wrong=wrong or {}, kind=kind,
            filled={**dict.fromkeys(SHOWN, ""), **(filled or {})}, securities=SECURITIES,
        )  # fmt: skip

    # -- what all need -------------------------------------------------------------------------------------

    async def _standing(self) -> Standing:
        return await asyncio.to_thread(self._wiring.standing)

    async def _fill(self, request: web.Request, make: Callable[[Standing], Sheet]) -> Sheet:
        """Take what was typed in a sheet and put it in force; return it with what is wrong, if anything."""
        sheet = make(await self._standing())
        filled = await fill(
            request, sheet, self._home.house, lambda edit: self._change(request, edit), self._wiring.set_by
        )
        if filled.right:
            self._paint.say(request, " ".join(filled.meanwhile))
        return filled

    async def _change(self, request: web.Request, edit: Callable[[Document], Document]) -> list[str]:
        before = self._wiring.settings.warnings
        faults = await self._wiring.change(edit, signed_in(request).who)
        for text in careful(before, self._wiring.settings.warnings) if not faults else ():
            self._paint.say(request, text)
        return faults

    def _done(self, request: web.Request, to: str, faults: Sequence[str], words: str) -> web.Response:
        return self._paint.back(request, to, " ".join(faults) or words, done=not faults)

    def _person(self, request: web.Request) -> Person:
        person = self._home.house.people.get(request.match_info["person"])
        if person is None:
            raise web.HTTPNotFound
        return person

    def _sheet(self, request: web.Request, standing: Standing) -> Sheet:
        return sheet_of(schema.PEOPLE, (PEOPLE, self._person(request).id), standing, self._home.house)

    def _used(self, standing: Standing) -> set[str]:
        """Return the routes that somebody has by the keeper's own file."""
        people = self._home.house.people.values()
        by_hand = [person for person in people if standing.own(f"{PEOPLE}.{person.id}.{TOLD_BY}") is not None]
        return {route for person in by_hand for route in person.routes}
