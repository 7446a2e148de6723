"""The walk from box to box after a warm spell: one plain question a page, big buttons, and what becomes of the food."""

import asyncio
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from aiohttp import web

from gatewayd.food import asking
from gatewayd.food.asking import Step, among, key, rulings, step, which
from gatewayd.food.fate import Fate, Finding
from gatewayd.model.excursion import Answer, Excursion, Ruling
from gatewayd.model.house import House
from gatewayd.store import excursion, spell
from gatewayd.store.carried import Carried
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.happened import OTHERWISE, address, meant
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.screen import screen, summary
from gatewayd.web.spoken import spoken
from gatewayd.web.stand import FIELDS, LONGEST, Place, Scene, Stand, read_stand
from gatewayd.web.visitor import signed_in

HARSH = (Ruling.DISCARD, Ruling.NOT_JUDGED)  # to keep such food takes a second word
ASKS = ("found", "warm", "long", "juice", "chart", "doubt", "decide")
SAYS = {  # what can be said where it is decided
    "chart": ("chart", "one"),
    "doubt": ("throw", "one", "later"),
    "decide": ("keep", "refreeze", "throw", "some", "later"),
}
EARLY = 700  # ms after a page was made, the time of a double tap: nobody has read the question. Our choice
TOO_EARLY = "That tap came at once after the one before and was not counted. Read the question, then tap."
MEANWHILE = "That was answered already."

Orders = list[dict[str, Any]]


class Walk:
    """Answer at /what-happened/N/walk."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint
        self._turn = asyncio.Lock()  # two who walk at once: each sees what the other has just said

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        where = r"/what-happened/{number:\d{1,15}}/walk"
        app.router.add_get(where, self.show)
        app.router.add_post(where, self.act)
        app.router.add_post(f"{where}/undo", self.undo)

    async def show(self, request: web.Request) -> web.Response:
        """Ask the next question, or sum up at the end."""
        number, stand = int(request.match_info["number"]), read_stand(request.query)
        if not signed_in(request).may_order:
            return self._paint.back(request, address(number, stand.freezer))
        return await self._page(request, number, stand)

    async def _page(
        self, request: web.Request, number: int, stand: Stand, *, wrong: str = "", typed: str = "", status: int = 200
    ) -> web.Response:
        scene = await self._scene(number, stand)
        place = scene.at(stand.at) or (None if "end" in request.query else _first(scene.places))
        last = asking.last_of(signed_in(request).who, scene.findings)
        shown: dict[str, Any] = {
            "number": number, "last": _said_last(scene, last), "last_at": last[-1].at if last else 0, "wrong": wrong,
            "typed": typed, "status": status, "asked_at": self._home.now().steady,
        }  # fmt: skip
        house, now = self._home.house, self._home.now().wall
        if place is None:
            found = await self._home.read(
                lambda conn: summary(conn, house, meant(conn, house, number, stand.freezer), now)
            )
            return self._paint.page(request, "walk_end.html", **shown, **found, stand=stand)
        return self._paint.page(
            request, "walk.html", **shown, **screen(house, scene, place, replace(stand, at=place.at), number)
        )

    async def act(self, request: web.Request) -> web.Response:
        """Take an answer or a decision, and go on to the next question."""
        number, form = int(request.match_info["number"]), await read_form(request)
        try:
            stand = read_stand({name: form.text(name, LONGEST) for name in FIELDS})
            ask = form.choice("ask", ASKS)
        except Wrong as why:
            return self._paint.back(request, address(number, more="/walk"), str(why), done=False)
        if self._early(form):
            return self._paint.back(request, stand.address(number), TOO_EARLY, done=False)
        async with self._turn:
            try:
                return await self._act(request, form, stand, number, ask)
            except Wrong as why:
                typed = str(form.fields.get("count", ""))[:40]
                return await self._page(request, number, stand, wrong=str(why), typed=typed, status=422)

    async def _act(self, request: web.Request, form: Form, stand: Stand, number: int, ask: str) -> web.Response:
        scene = await self._scene(number, stand)
        place = scene.at(stand.at)
        if place is None:
            return self._paint.back(request, Stand(stand.freezer).address(number), OTHERWISE, done=False)
        match ask:
            case "juice":
                orders, after = _juice(place, form, stand)
            case "chart" | "doubt" | "decide":
                orders, after = _decision(place, form, stand, ask)
            case _:
                orders, after = _found(place, form, stand, ask)
        who = signed_in(request).who
        for place_in, order in enumerate(orders):
            base = {"ask": "excursion", "number": number, "freezer": place.spell.freezer, "why": ""}
            answer = await self._home.ask({**base, **order, "key": f"{form.key}-{place_in}"}, who)
            if not answer.get("done"):
                return self._paint.answered(request, stand.plain().address(number), answer)
            self._paint.say(request, spoken(answer)["text"])
        if not orders and after == stand.plain():
            self._paint.say(request, MEANWHILE)
        scene = await self._scene(number, stand)
        return self._paint.back(request, _next(scene, after, number))

    async def undo(self, request: web.Request) -> web.Response:
        """Undo what this person said last in this warm spell, and ask it again."""
        number, form = int(request.match_info["number"]), await read_form(request)
        who, stand = signed_in(request).who, Stand(form.text("freezer", 80), form.text("at"))
        if self._early(form):
            return self._paint.back(request, stand.address(number), TOO_EARLY, done=False)
        async with self._turn:
            scene = await self._scene(number, stand)
            last = asking.last_of(who, scene.findings)
            if not last or str(last[-1].at) != form.text("last"):
                return self._paint.back(request, stand.address(number), OTHERWISE, done=False)
            packages = [each.package for each in last if each.package is not None]
            boxes = [each.box for each in last if each.box is not None]
            keys = {str(each) for each in packages} | ({asking.BOX} if boxes else set())
            place = next((p for p in scene.places if _holds(p, packages, boxes)), None)
            stand = stand if place is None else replace(stand, at=place.at)
            order: dict[str, Any] = {"ask": "excursion", "number": number, "key": form.key}
            if last[0].decision is not None:
                order |= {"do": "undo"}
            elif last[0].answer is not None:
                order |= {"do": "answer", "answer": Answer.UNKNOWN.value, "packages": packages, "boxes": boxes}
            else:
                again = replace(stand, q="juice", those=frozenset(keys))
                return self._paint.back(
                    request, again.address(number), "Answer it anew; until then the old one counts."
                )
            return self._paint.answered(request, stand.address(number), await self._home.ask(order, who))

    def _early(self, form: Form) -> bool:
        """Return whether a form comes so soon after its page was made that the tap was meant for the page before."""
        asked_at = form.text("asked_at")
        return asked_at.isdecimal() and 0 <= self._home.now().steady - int(asked_at) < EARLY

    async def _scene(self, number: int, stand: Stand) -> Scene:
        house, now = self._home.house, self._home.now().wall
        return await self._home.read(lambda conn: _scene(conn, house, meant(conn, house, number, stand.freezer), now))


# -- what there is ---------------------------------------------------------------------------------------------


def _scene(conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], now: int) -> Scene:
    past = Carried(conn, house, now)
    places: list[Place] = []
    bare: list[Excursion] = []
    findings: list[Finding] = []
    for each in spells:
        those = spell.listed(past.story(each)[1])
        found = excursion.findings(conn, each)
        findings += found
        said = frozenset(asking.spoke_of_juice(those, found))
        places += [Place(each, tuple(box), said) for box in asking.boxes(those)]
        if not those:
            bare.append(each)
    once = dict.fromkeys(findings)  # a number may be of several freezers, which have what was said in common
    return Scene(tuple(places), tuple(bare), tuple(sorted(once, key=lambda finding: finding.at)))


def _first(places: Iterable[Place]) -> Place | None:
    """Return the first box in which something is to be asked."""
    return next((place for place in places if asks(place) is not Step.DONE), None)


def asks(place: Place) -> Step:
    """Return what is asked next of a box where nothing was put off."""
    return step(place.those, place.said, asking.Aside())[0]


def _next(scene: Scene, stand: Stand, number: int) -> str:
    """Return where it goes on: in the same box, the next one that asks, or at the end."""
    place = scene.at(stand.at)
    if place is not None and (stand.q or step(place.those, place.said, stand.aside)[0] is not Step.DONE):
        return stand.address(number)
    behind = scene.places[scene.places.index(place) + 1 :] if place is not None else ()
    onward = _first(behind)
    if onward is not None:
        return Stand(stand.freezer, onward.at).address(number)
    return address(number, stand.freezer, "/walk", end="1")


def _holds(place: Place, packages: Sequence[int], boxes: Sequence[str]) -> bool:
    return any(
        (fate.item.package.id in packages) if fate.item.package is not None else (fate.item.box.id in boxes)
        for fate in place.those
    )


def _said_last(scene: Scene, last: Sequence[Finding]) -> str:
    """Say what somebody said last, and of what: "trout: thrown out"; empty for nothing."""
    those = (fate for place in scene.places for fate in place.those)
    if len(last) == 1:
        number, box = last[0].package, last[0].box
        for fate in those:
            package = fate.item.package
            if (package is not None and package.id == number) or (package is None and fate.item.box.id == box):
                return f"{fate.item.food}: {asking.told(last)}"
    return asking.told(last)


# -- what somebody says ----------------------------------------------------------------------------------------


def _meant(place: Place, keys: frozenset[str]) -> list[Fate]:
    """Return what is to be decided on in a box of what a page showed."""
    return [fate for fate in place.those if fate.open and among(fate, keys)]


def _found(place: Place, form: Form, stand: Stand, ask: str) -> tuple[Orders, Stand]:
    """Return what is ordered by an answer to what was found, and where it goes on.

    Of what somebody else has said meanwhile nothing is said anew.
    """
    say = form.choice("say", ("yes", "no", "unknown", *(["each"] if ask == "found" else [])))
    those = [fate for fate in _meant(place, stand.those) if fate.answer is Answer.UNKNOWN]
    keys, plain = frozenset(key(fate) for fate in those), stand.plain()
    if not those:
        return [], plain
    order = {"do": "answer", **which(those)}
    match ask, say:
        case "found", "each":
            return [], replace(plain, aside=replace(stand.aside, each=True))
        case "found", "yes":
            return [{**order, "answer": "cold"}], plain
        case "found", "no":
            return [], replace(stand, q="warm", those=keys)
        case "found", _:
            return [], stand.put_off("found", keys)
        case "warm", "yes":
            return [{**order, "answer": "warm", "hours": asking.AT_LIMIT}], plain
        case "warm", "no" if asking.has_vegetable_juice(those):
            return [], replace(stand, q="long", those=keys)
        case "long", "yes":
            return [{**order, "answer": "warm", "hours": asking.BELOW_SIX}], plain
        case _:
            return [{**order, "answer": "warm", "hours": None}], plain


def _juice(place: Place, form: Form, stand: Stand) -> tuple[Orders, Stand]:
    """Return what is ordered by an answer to whether raw juice touched something."""
    say = form.choice("say", ("yes", "no", "some", "unknown"))
    those = [fate for fate in _meant(place, stand.those) if stand.q == "juice" or asking.asks_juice(fate, place.said)]
    if not those:
        return [], stand.plain()
    if say == "unknown":
        return [], stand.put_off("juice", [key(fate) for fate in those])
    ticked = set(form.choices("touched"))
    if say == "some" and not ticked:
        raise Wrong("Tick what the juice touched, or choose another answer.")
    touched = [fate for fate in those if say == "no" or (say == "some" and key(fate) in ticked)]
    clean = [fate for fate in those if fate not in touched]
    orders = [
        {"do": "answer", "touched": flag, **which(some)} for flag, some in ((True, touched), (False, clean)) if some
    ]
    return orders, stand.plain()


def _decision(place: Place, form: Form, stand: Stand, ask: str) -> tuple[Orders, Stand]:
    """Return what is ordered by a decision. What the page showed must still be what the chart says."""
    say = form.choice("say", SAYS[ask])
    those, plain = _meant(place, stand.those), stand.plain()
    those = those[:1] if ask == "decide" else those
    if say == "one":
        return [], replace(plain, aside=replace(stand.aside, one=True))
    if not those:
        return [], plain
    if say == "later":
        return [], stand.put_off("later", [key(fate) for fate in those])
    if rulings(those) != form.text("shown", LONGEST):
        raise Wrong(OTHERWISE)
    order: dict[str, Any] = {"do": "decide", **which(those), "decision": say}
    if say == "some":
        count = form.number("count", 0.01, 10_000)
        if count is None:
            raise Wrong("Say how many are thrown out.")
        return [{**order, "decision": "throw", "count": count}], plain
    against = say in ("keep", "refreeze") and any(fate.verdict.ruling in HARSH for fate in those)
    if against and stand.want != say:
        return [], replace(stand, q="sure", want=say)
    return [{**order, "anyway": True} if against else order], plain
