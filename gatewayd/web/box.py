"""One box: what is in it, counting it again, and the box itself; and one package."""

from dataclasses import dataclass
from typing import Any

from aiohttp import web

from gatewayd.food.larder import Larder, only_looked, what
from gatewayd.food.place import THIS
from gatewayd.message.words import person
from gatewayd.model.stock import Box
from gatewayd.store import stock
from gatewayd.web.add import FULL, box_order
from gatewayd.web.fields import Fields, read, typed, written
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import carried, freezer_pairs, larder, leaf, place_pairs, row, undoing
from gatewayd.web.spoken import spoken
from gatewayd.web.unjudged import unjudged
from gatewayd.web.visitor import signed_in

PAST = 20  # lines of a package's history: all that most ever have (our choice)
COUNTED = 200  # rows that are counted on one page; a fuller box is counted package by package (our choice)


@dataclass(frozen=True, slots=True)
class Counting:
    """Hold one row of a box that is counted again."""

    number: int
    what: str
    facts: str
    many: str


class BoxPages:
    """Answer at /box/ID and /stock/NUMBER."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/box/{id}", self.show)
        app.router.add_get("/box/{id}/count", self.show_count)
        app.router.add_post("/box/{id}/count", self.count)
        app.router.add_post("/box/{id}/listed", self.listed)
        app.router.add_post("/box/{id}/change", self.change)
        app.router.add_post("/box/{id}/move", self.move)
        app.router.add_post("/box/{id}/remove", self.remove)
        app.router.add_get(r"/stock/{number:\d{1,12}}", self.package)
        app.router.add_post(r"/stock/{number:\d{1,12}}", self.set)

    # -- a box ---------------------------------------------------------------------------------------------

    async def show(self, request: web.Request) -> web.Response:
        """Show what is in the box."""
        return await self._box(request)

    async def _box(self, request: web.Request, wrong: str = "", typed_: dict[str, str] | None = None) -> web.Response:
        there = await larder(self._home)
        box = _found(request, there)
        if box is None:
            return self._paint.page(request, "box_gone.html", status=404)
        inside = sorted(
            (one for one in there.packages if one.box == box.id),
            key=lambda one: (one.food.casefold(), one.frozen is None, one.frozen or 0, one.id),
        )
        one_leaf = leaf(request, inside)
        full = "" if box.full is None else f"{box.full:g}"
        fulls = FULL if full in dict(FULL) else (*FULL, (full, f"{box.full:.0%}"))
        own = {"name": box.name, "layer": box.layer, "place": box.place, "full": full}
        return self._paint.page(
            request, "box.html", status=422 if wrong else 200, box=box, name=there.places.name(box),
            known=there.known_of(box), leaf=one_leaf, rows=[row(one, there) for one in one_leaf.rows],
            carried=carried(box), wrong=wrong, own=own | (typed_ or {}), fulls=fulls, back=request.path_qs,
            unjudged=await unjudged(self._home),
            others=[pair for pair in freezer_pairs(self._home, "choose") if pair[0] != box.freezer],
        )  # fmt: skip

    async def listed(self, request: web.Request) -> web.Response:
        """Note that the box's list is right as it stands."""
        form = await read_form(request)
        return await self._ordered(request, form, {"do": "count", "what": _this(request)})

    async def change(self, request: web.Request) -> web.Response:
        """Name the box anew, or say where it is and how full."""
        form = await read_form(request)
        typed_ = {name: form.text(name) for name in ("name", "layer", "place", "full") if len(form.text(name)) < 99}
        try:
            order = box_order(form, _this(request)) | {"name": form.needed("name", 80)}
        except Wrong as why:
            return await self._box(request, str(why), typed_)
        answer = spoken(await self._home.ask(order, signed_in(request).who))
        if not answer.get("done"):
            return await self._box(request, str(answer.get("error")), typed_)
        return self._paint.answered(request, _way(request), answer, undoing(answer, _way(request)))

    async def move(self, request: web.Request) -> web.Response:
        """Note that the box stands in another freezer now."""
        form = await read_form(request)
        to = form.text("to", 80)
        if to not in self._home.house.freezers:
            return self._paint.back(request, _way(request), "Choose a freezer. Nothing was moved.", done=False)
        return await self._ordered(request, form, {"do": "move", "what": _this(request), "to": to})

    async def remove(self, request: web.Request) -> web.Response:
        """Take an empty box off the list."""
        form = await read_form(request)
        return await self._ordered(request, form, {"do": "box", "what": _this(request), "gone": True}, done="/stock")

    async def _ordered(self, request: web.Request, form: Form, order: dict[str, Any], done: str = "") -> web.Response:
        answer = await self._home.ask({"ask": "stock", "key": form.key, **order}, signed_in(request).who)
        to = done if done and answer.get("done") else _way(request)
        return self._paint.answered(request, to, answer, undoing(answer, to))

    # -- counting ------------------------------------------------------------------------------------------

    async def show_count(self, request: web.Request) -> web.Response:
        """Show the box's rows with a field for each number."""
        return await self._counting(request)

    async def _counting(self, request: web.Request, wrong: str = "", typed_: Form | None = None) -> web.Response:
        there = await larder(self._home)
        box = _found(request, there)
        if box is None:
            return self._paint.page(request, "box_gone.html", status=404)
        rows = []
        for one in [one for one in there.packages if one.box == box.id][:COUNTED]:
            shown, many = row(one, there), written(one, there)["count"]
            kept = typed_.fields.get(f"n-{one.id}", many) if typed_ is not None else many
            rows.append((Counting(one.id, shown.what, shown.facts, many), str(kept)))
        return self._paint.page(
            request, "box_count.html", status=422 if wrong else 200, box=box, name=there.places.name(box), rows=rows,
            wrong=wrong, most=COUNTED,
        )  # fmt: skip

    async def count(self, request: web.Request) -> web.Response:
        """Note how many there are of what was counted otherwise, and that the rest is as listed."""
        form = await read_form(request)
        orders: list[tuple[str, float]] = []
        try:
            for field in form.fields:
                number = field.removeprefix("n-")
                if field.startswith("n-") and number.isdigit() and form.text(field) != form.text(f"was-{number}"):
                    many = form.number(field, 0, 10_000)
                    if many is None:
                        raise Wrong("Write how many there are, 0 if none is left.")
                    orders.append((number, many))
        except Wrong as why:
            return await self._counting(request, str(why).replace("n-", "number "), form)
        who, done = signed_in(request).who, list[dict[str, Any]]()
        for number, many in orders:
            order = {"ask": "stock", "do": "count", "what": number, "n": many, "key": f"{form.key}-{number}"}
            answer = spoken(await self._home.ask(order, who))
            if not answer.get("done"):
                return self._paint.answered(request, _way(request), answer)
            done.append(answer)
        order = {"ask": "stock", "do": "count", "what": _this(request), "key": form.key}
        answer = spoken(await self._home.ask(order, who))
        if answer.get("done"):
            answer["text"] = "\n".join(str(one["text"]) for one in (*done[-5:], answer))
        return self._paint.answered(request, _way(request), answer, undoing(answer, _way(request), *done))

    # -- a package -----------------------------------------------------------------------------------------

    async def package(self, request: web.Request) -> web.Response:
        """Show one package, with all that can be done with it."""
        return await self._package(request)

    async def _package(
        self, request: web.Request, wrong: str = "", texts: dict[str, str] | None = None
    ) -> web.Response:
        number = int(request.match_info["number"])
        there = await larder(self._home)
        one, moves = await self._home.read(
            lambda conn: (stock.package(conn, number), stock.moves(conn, last=PAST, package=number))
        )
        if one is None:
            raise web.HTTPNotFound
        house = self._home.house
        past = [
            (move.at, move.turn.value, what(move, there.names, there.places, numbered=False), person(move.who, house),
             move.why, move.undone is not None)
            for move in moves if not only_looked(move)
        ]  # fmt: skip
        return self._paint.page(
            request, "stock_one.html", status=422 if wrong else 200, one=row(one, there), package=one, past=past,
            places=place_pairs(there, "choose"), was=written(one, there), fields=texts or written(one, there),
            wrong=wrong, foods=sorted({each.food for each in there.packages}, key=str.casefold)[:300],
            fresh=one.fresh, unjudged=await unjudged(self._home),
        )  # fmt: skip

    async def set(self, request: web.Request) -> web.Response:
        """Write down what is known of a package now."""
        form = await read_form(request)
        number = request.match_info["number"]
        there = await larder(self._home)
        texts: dict[str, str] = {}
        try:
            texts = typed(form)
            changed = {name: text for name, text in texts.items() if text != form.text(f"was-{name}")}
            news: Fields = read(changed, there)
        except Wrong as why:
            return await self._package(request, str(why), texts)
        if form.ticked("fresh") is not form.ticked("was-fresh"):
            news["fresh"] = form.ticked("fresh")
        if not news:
            return self._paint.back(request, f"/stock/{number}", "Nothing was changed.")
        order = {"ask": "stock", "do": "set", "what": number, "news": news, "key": form.key}
        answer = spoken(await self._home.ask(order, signed_in(request).who))
        if not answer.get("done"):
            return await self._package(request, str(answer.get("error")), texts)
        return self._paint.answered(request, f"/stock/{number}", answer, undoing(answer, f"/stock/{number}"))


def _found(request: web.Request, there: Larder) -> Box | None:
    return next((box for box in there.boxes if box.id == request.match_info["id"]), None)


def _this(request: web.Request) -> str:
    """Return how the door is told of this box and no other."""
    return f"{THIS}{request.match_info['id'][:60]}"


def _way(request: web.Request) -> str:
    return request.path.rpartition("/")[0]
