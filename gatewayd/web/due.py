"""What is to be done for the freezers and sensors, how, and what was done."""

import sqlite3
from dataclasses import dataclass

from aiohttp import web

from gatewayd.message.due import due_line
from gatewayd.message.words import capital, name, person
from gatewayd.model.chore import Chore, Kind
from gatewayd.model.moment import DAY
from gatewayd.store.calibration import began
from gatewayd.store.chore import chores, newest
from gatewayd.upkeep.chore import OF_FREEZERS, WORDS, fits
from gatewayd.upkeep.due import OF_FOOD, Known, due
from gatewayd.web.defrost import told
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home, Plain
from gatewayd.web.paint import Paint
from gatewayd.web.spoken import sentences, spoken
from gatewayd.web.visitor import signed_in

YEAR = 365 * DAY  # all that comes back every year is seen once. Our choice
FEW = 25  # lines of what was done, before all of it is asked for. Our choice: a household does so much in a year
NOTE = 400  # characters
OWN = tuple(kind for kind in Kind if kind is not Kind.ICE_POINT)  # a check in ice writes itself down


@dataclass(frozen=True, slots=True)
class Way:
    """Hold how something is done: a page to go to, and the kinds of work that can be noted as done."""

    to: str = ""
    words: str = ""
    kinds: tuple[str, ...] = ()


class Dues:
    """Answer at /due."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/due", self.show)
        app.router.add_post("/due/done", self.done)
        app.router.add_post("/due/note", self.note)

    async def show(self, request: web.Request) -> web.Response:
        """Show what is due, what is coming, and what was done."""
        return await self._shown(request)

    async def _shown(self, request: web.Request, wrong: str = "", form: Form | None = None) -> web.Response:
        house, everything = self._home.house, bool(request.query.get("all"))
        answer = await self._home.ask({"ask": "due"}, signed_in(request).who)
        found = [
            {**one, "said": sentences(one["text"]).rstrip("."), "way": way(one["subject"], one["what"])}
            for one in answer.get("due", [])
        ]
        written = await self._home.read(chores)
        rows = [self._row(one) for one in reversed(written)]
        subjects = [*house.freezers, *house.sensors, house.id]
        return self._paint.page(
            request, "due.html", status=422 if wrong else 200, wrong=wrong, filled=form.fields if form else {},
            now_due=[one for one in found if one["overdue"]],
            soon=[one for one in found if one["by"] and not one["overdue"]],
            offers=[one for one in found if not one["by"] and not one["overdue"]],
            later=await self._later({(one["subject"], one["what"]) for one in found}),
            rows=rows if everything else rows[:FEW], more=0 if everything else max(0, len(rows) - FEW),
            subjects=[(one, name(one, house)) for one in subjects],
            kinds=[(kind.value, WORDS[kind]) for kind in OWN if kind is not Kind.DEFROSTED], words=_words(),
        )  # fmt: skip

    async def _later(self, told_of: set[tuple[str, str]]) -> list[str]:
        """Return what comes within a year and is not due yet, a line each."""
        house, now = self._home.house, self._home.now().wall

        def work(conn: sqlite3.Connection) -> Known:
            return Known(newest(conn).values(), began(conn))

        found = due(house, now, await self._home.read(work), YEAR)
        return [
            sentences(due_line(one, now, house.zone)).rstrip(".")
            for one in found
            if one.by is not None and (one.subject, one.what) not in told_of
        ]

    def _row(self, one: Chore) -> Plain:
        house, facts = self._home.house, told(one)
        more = [
            f"took {facts['lasted']}" if facts["lasted"] else "",
            f"ice removed: {facts['ice']}" if facts["ice"] else "",
            one.note,
        ]
        return {
            "at": one.at,
            "what": f"{capital(name(one.subject, house))}: {WORDS[one.kind]}",
            "more": "; ".join(filter(None, more)),
            "who": person(one.who, house),
        }

    async def done(self, request: web.Request) -> web.StreamResponse:
        """Note one thing that was due as done, or several that are one line of the list."""
        form = await read_form(request)
        try:
            subject, note = form.needed("subject"), form.text("note", NOTE)
            kinds = form.choices("kind")
            if not kinds:
                raise Wrong("Tick what was done.")
            for kind in kinds:
                _fit(self._home, subject, kind)
        except Wrong as wrong:
            return await self._shown(request, str(wrong))
        said: list[str] = []
        for number, kind in enumerate(kinds):
            answer = await self._add(request, subject, kind, note, f"{form.key[:70]}-{number}")
            if answer.get("done") is not True:
                return self._paint.answered(request, "/due", {**answer, "hints": said})
            said.append(str(answer.get("text", "")))
        return self._paint.back(request, "/due", "\n".join(said))

    async def note(self, request: web.Request) -> web.StreamResponse:
        """Note whatever was done."""
        form = await read_form(request)
        try:
            subject, kind, note = form.needed("subject"), form.needed("kind"), form.text("note", NOTE)
            _fit(self._home, subject, kind)
        except Wrong as wrong:
            return await self._shown(request, str(wrong), form)
        return self._paint.answered(request, "/due", await self._add(request, subject, kind, note, form.key))

    async def _add(self, request: web.Request, subject: str, kind: str, note: str, key: str) -> Plain:
        asked = {"ask": "chore", "do": "add", "subject": subject, "kind": kind, "note": note, "key": key}
        return spoken(await self._home.ask(asked, signed_in(request).who))


def _fit(home: Home, subject: str, kind: str) -> None:
    """Raise Wrong for work that cannot be done for that, in the names that people see."""
    problem, meant = fits(home.house, subject, kind)
    if meant is not None:
        return
    wished = next((each for each in OWN if each.value == kind), None)
    if wished is None:
        raise Wrong(sentences(problem))
    here = home.house
    those = list(here.freezers) if wished in OF_FREEZERS else list(here.sensors)
    if wished not in (*OF_FREEZERS, Kind.BATTERY):
        raise Wrong(sentences(problem))
    names = ", ".join(name(one, here) for one in those) or "none"
    raise Wrong(f"{capital(WORDS[wished])} does not go with {name(subject, here)}; it goes with: {names}.")


def way(subject: str, what: str) -> Way:
    """Return how a thing that is due is done: `subject` an id, `what` as the list of what is due says it."""
    if what.startswith(OF_FOOD):
        return Way("/what-happened", "See what happened")
    if what.startswith("defrost "):
        return Way(f"/defrost/{subject}", "Plan the defrost", (Kind.DEFROSTED.value,))
    if what.startswith("check ") and what.endswith(" in ice"):
        return Way("/sensors", "To the check in ice")
    if what.startswith("change the battery"):
        return Way(kinds=(Kind.BATTERY.value,))
    if what.startswith("look at the "):
        parts = {"gasket": Kind.GASKET, "coils": Kind.CONDENSER}
        before = what.removeprefix("look at the ").partition(" of ")[0]
        return Way(kinds=tuple(kind.value for word, kind in parts.items() if word in before))
    if what.startswith("answer the monthly test"):
        return Way("/people", "Try the ways to people")
    return Way()


def _words() -> dict[str, str]:
    return {kind.value: WORDS[kind] for kind in Kind}
