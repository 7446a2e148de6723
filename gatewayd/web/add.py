"""Put food in: in the household's own words, several lines at once, or field by field; and make a box."""

from typing import Any

from aiohttp import web

from gatewayd.food.draft import Draft, cells, tidy
from gatewayd.food.larder import Larder
from gatewayd.food.order import lines, parse
from gatewayd.food.place import THIS
from gatewayd.food.table import FOODS
from gatewayd.web.fields import NAMES, entered, read, today, typed
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import carried, freezer_pairs, larder, place_pairs, undoing
from gatewayd.web.spoken import sentences, spoken
from gatewayd.web.visitor import signed_in

WORDS = 20_000  # characters of what is written at once: a whole freezer's list
MOST = 200  # lines of it; more is a file's business (our choice)
FULL = (
    ("", "not said"),
    ("0", "empty"),
    ("0.25", "a quarter"),
    ("0.5", "half"),
    ("0.75", "three quarters"),
    ("1", "full"),
)


class Add:
    """Answer at /stock/add and /stock/new-box."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/stock/add", self.show)
        app.router.add_post("/stock/add", self.words)
        app.router.add_post("/stock/add/one", self.fields)
        app.router.add_get("/stock/new-box", self.show_box)
        app.router.add_post("/stock/new-box", self.new_box)

    async def show(self, request: web.Request) -> web.Response:
        """Show the empty fields; `box` says where most of it goes."""
        return await self._page(request, box=request.query.get("box", ""))

    async def words(self, request: web.Request) -> web.Response:
        """Add what is written in words, a line for each food."""
        form = await read_form(request)
        there = await larder(self._home)
        said, box = "", ""
        try:
            said, box = form.text("words", WORDS), form.text("box", 80)
            given = lines(said)
            if len(given) > MOST:
                raise Wrong(f"There are {len(given)} lines; {MOST} at most go in at once. Bring more in as a file.")
        except Wrong as why:
            return await self._page(request, status=422, wrong=str(why), words=said, box=box)
        placed = [_placed(line, box, there) for line in given]
        order = {"ask": "stock", "do": "add", "lines": placed, "key": form.key}
        answer = spoken(await self._home.ask(order, signed_in(request).who))
        if not answer.get("done"):
            return await self._page(request, status=422, wrong=str(answer.get("error")), words=said, box=box)
        to = _onward(answer, box)
        return self._paint.answered(request, to, answer, undoing(answer, to))

    async def fields(self, request: web.Request) -> web.Response:
        """Add what is written field by field."""
        form = await read_form(request)
        there = await larder(self._home)
        texts: dict[str, str] = {}
        box, fresh = "", form.ticked("fresh")
        try:
            texts, box = typed(form), form.text("to", 80)
            found: dict[str, Any] = entered(read(texts, there), texts["frozen"], there, fresh=fresh)
            draft = Draft(**found, **_place(box, there))
        except Wrong as why:
            return await self._page(request, status=422, wrong_one=str(why), box=box, one=texts, fresh=fresh)
        order = {"ask": "stock", "do": "add", "rows": [list(cells(draft))], "key": form.key}
        answer = spoken(await self._home.ask(order, signed_in(request).who))
        if not answer.get("done"):
            error = str(answer.get("error"))
            return await self._page(request, status=422, wrong_one=error, box=box, one=texts, fresh=fresh)
        to = _onward(answer, box)
        return self._paint.answered(request, to, answer, undoing(answer, to))

    async def _page(self, request: web.Request, *, status: int = 200, **more: Any) -> web.Response:
        there = await larder(self._home)
        box = str(more.pop("box", ""))
        here = next((one for one in there.boxes if box in (one.id, f"{THIS}{one.id}")), None)
        if here is not None:
            box = f"{THIS}{here.id}" if carried(here) else here.freezer
        shown: dict[str, Any] = {
            "wrong": "", "wrong_one": "", "words": "", "fresh": False, "box": box,
            "places": place_pairs(there, "nobody says where"), "foods": _foods(there), "one": {},
            "box_name": there.names[here.id] if here is not None else "",
        }  # fmt: skip
        shown |= more
        shown["one"] = dict.fromkeys(NAMES, "") | shown["one"]
        return self._paint.page(request, "stock_add.html", status=status, **shown)

    # -- a new box -----------------------------------------------------------------------------------------

    async def show_box(self, request: web.Request) -> web.Response:
        """Show the fields of a new box."""
        return self._box_page(request, {"freezer": request.query.get("freezer", "")})

    async def new_box(self, request: web.Request) -> web.Response:
        """Make a box."""
        form = await read_form(request)
        try:
            order = box_order(form, form.needed("name", 80))
        except Wrong as why:
            return self._box_page(request, _as_typed(form), str(why), 422)
        answer = spoken(await self._home.ask(order, signed_in(request).who))
        if not answer.get("done"):
            return self._box_page(request, _as_typed(form), str(answer.get("error")), 422)
        made = answer["boxes"][0]["id"]
        return self._paint.answered(request, f"/box/{made}", answer, undoing(answer, "/stock"))

    def _box_page(
        self, request: web.Request, typed: dict[str, str], wrong: str = "", status: int = 200
    ) -> web.Response:
        empty = {"name": "", "freezer": "", "layer": "", "place": "", "full": ""}
        return self._paint.page(
            request, "box_new.html", status=status, one=empty | typed, wrong=wrong, fulls=FULL,
            freezers=freezer_pairs(self._home, "in none of them now"),
        )  # fmt: skip


def box_order(form: Form, what: str) -> dict[str, Any]:
    """Return what the form of a box orders at the door for the box `what`. Raise Wrong for what may not be."""
    order: dict[str, Any] = {"ask": "stock", "do": "box", "what": what, "key": form.key}
    try:
        order |= {name: tidy("box", form.text(name)) for name in ("layer", "place")}
    except ValueError as why:
        raise Wrong(sentences(f"{why}.")) from why
    if form.text("freezer"):
        order["freezer"] = form.text("freezer")
    full = form.number("full", 0, 1)
    return order if full is None else order | {"full": full}


def _as_typed(form: Form) -> dict[str, str]:
    return {name: str(form.fields.get(name, ""))[:500] for name in ("name", "freezer", "layer", "place", "full")}


def _placed(line: str, box: str, there: Larder) -> str:
    """Return a line with the box behind it, if it says no place of its own; what is not understood stays as it is."""
    if not box:
        return line
    try:
        draft = parse(line, today(there), there.house.zone, there.places)
    except ValueError:
        return line  # the door says what is wrong with it
    return line if draft.box or draft.freezer else f"{line}, {box}"


def _place(chosen: str, there: Larder) -> dict[str, Any]:
    if not chosen:
        return {"box": "", "freezer": ""}
    for box in there.boxes:
        if chosen == f"{THIS}{box.id}":
            return {"box": box.id, "freezer": box.freezer}
    if chosen in there.house.freezers:
        return {"box": "", "freezer": chosen}
    raise Wrong("That box is no longer on the list; choose another.")


def _onward(answer: dict[str, Any], box: str) -> str:
    """Return where one looks next: the box it went into, or all of them."""
    boxes = {one["box"] for one in answer.get("packages", ())}
    if len(boxes) == 1:
        return f"/box/{boxes.pop()}"
    return f"/box/{box.removeprefix(THIS)}" if box.startswith(THIS) else "/stock"


def _foods(there: Larder) -> list[str]:
    """Return names of food to choose from: what the household has, and what the table knows."""
    own = dict.fromkeys(one.food for one in there.packages)
    return [*list(own)[:100], *(food.name for food in FOODS if food.name not in own)]
