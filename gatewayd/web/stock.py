"""The stock: find food, take it out in one tap, see the boxes, undo the last, look back."""

import asyncio
import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from aiohttp import web

from gatewayd.food.larder import Larder, only_looked, what
from gatewayd.food.place import SOMEWHERE
from gatewayd.food.table import suggest
from gatewayd.message.words import person
from gatewayd.model.moment import HOUR
from gatewayd.model.stock import Box, Move, Package, Turn
from gatewayd.store import stock
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import ANY_GROUP, GROUPS, freezer_pairs, larder, leaf, of_group, row, undoing, way_back
from gatewayd.web.unjudged import unjudged
from gatewayd.web.visitor import signed_in

BOXES = 100  # on one page: some 8 kB on the line
SLIP = HOUR  # ms; a slip is noticed within it, and what was done before is not offered to be undone by the way
LEAF = 50  # lines of the history on one page
PIECE = 200  # lines of it that are read at a time: most of them say something
VERBS = ("take", "use", "throw", "move")


@dataclass(frozen=True, slots=True)
class Shown:
    """Hold a box as the list of boxes shows it."""

    id: str
    name: str
    known: str
    rows: int


@dataclass(frozen=True, slots=True)
class Done:
    """Hold one line of the history as a page shows it."""

    at: int
    who: str
    turn: str
    what: str
    why: str
    undone: bool
    order: int


class Stock:
    """Answer at /stock and below it, where no other does."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/stock", self.show)
        app.router.add_get("/stock/history", self.history)
        app.router.add_post("/stock/do", self.do)
        app.router.add_post("/stock/undo", self.undo)

    async def show(self, request: web.Request) -> web.Response:
        """Show what fits the words, or the boxes."""
        query = request.query.get("q", "").strip()[:500]
        freezer, group = request.query.get("freezer", ""), request.query.get("group", "")
        freezer = freezer if freezer in self._home.house.freezers else ""
        group = group if group in GROUPS else ""
        there = await larder(self._home)
        shown: dict[str, Any] = {
            "q": query, "freezer": freezer, "group": group, "groups": ANY_GROUP,
            "freezers": freezer_pairs(self._home, "All freezers"), "last": await self._last(there), "leaf": None,
            "back": request.path_qs, "near": (), "shelves": (), "many": len(there.packages),
            "unjudged": await unjudged(self._home),
        }  # fmt: skip
        if query or group:
            boxes = {box.id for box in there.boxes if not freezer or box.freezer == freezer}
            packages = [one for one in there.packages if one.box in boxes]
            found = await asyncio.to_thread(_found, there, packages, query, group)  # a long list takes a while
            one_leaf = leaf(request, found)
            shown |= {"leaf": one_leaf, "rows": [row(one, there) for one in one_leaf.rows]}
            shown["near"] = [food.name for food in suggest(query)] if query and not found else ()
        else:
            boxes_leaf = leaf(request, _in_order(there, freezer), BOXES)
            shown |= {"boxes": boxes_leaf, "shelves": _shelves(there, boxes_leaf.rows, freezer)}
        return self._paint.page(request, "stock.html", **shown)

    async def do(self, request: web.Request) -> web.Response:
        """Take out, use up, throw out or move what a row stands for."""
        form = await read_form(request)
        back = way_back(form.text("back", 1000), "/stock")
        try:
            order = _order(form)
        except Wrong as why:
            return self._paint.back(request, back, str(why), done=False)
        answer = await self._home.ask(order, signed_in(request).who)
        if answer.get("done") and form.text("gone_to"):
            gone = any(one["gone"] is not None for one in answer.get("packages", ()))
            back = way_back(form.text("gone_to"), "/stock") if gone else back
        return self._paint.answered(request, back, answer, undoing(answer, back))

    async def undo(self, request: web.Request) -> web.Response:
        """Undo the last order, or all of a form, if it is still the one that was shown."""
        form = await read_form(request)
        back = way_back(form.text("back", 1000), "/stock")
        orders = [int(one) for one in form.text("order").split() if one.isascii() and one.isdigit() and len(one) < 13]
        if not orders:
            return self._paint.back(request, back, "It is not known what to undo. Nothing was undone.", done=False)
        request_ = {"ask": "stock", "do": "undo", "orders": orders, "key": form.key}
        answer = await self._home.ask(request_, signed_in(request).who)
        box = back.removeprefix("/box/").partition("?")[0].partition("/")[0]
        if back.startswith("/box/") and all(box != one.id for one in await self._home.read(stock.boxes)):
            back = "/stock"  # the box was made by what was undone
        return self._paint.answered(request, back, answer)

    async def history(self, request: web.Request) -> web.Response:
        """Show what was done, the newest first."""
        asked = request.query.get("below", "")
        below = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 13 else None
        there = await larder(self._home, gone=True)
        moves = await self._home.read(lambda conn: _moves(conn, below))
        return self._paint.page(
            request, "stock_history.html", lines=[self._done(move, there) for move in moves[:LEAF]],
            more=f"/stock/history?below={moves[LEAF - 1].id}" if len(moves) > LEAF else "", first=below is None,
            last=await self._last(there, slip=False),
        )  # fmt: skip

    def _done(self, move: Move, there: Larder) -> Done:
        return Done(
            move.at, person(move.who, self._home.house) if move.who else "somebody", move.turn.value,
            what(move, there.names, there.places, numbered=False), move.why, move.undone is not None, move.set,
        )  # fmt: skip

    async def _last(self, there: Larder, *, slip: bool = True) -> Done | None:
        """Return the last order that stands, with `slip` only where it is not long ago."""
        found = await self._home.read(_standing)
        if found is None or (slip and self._home.now().wall - found[0].at > SLIP):
            return None
        done = self._done(found[0], there)
        return replace(done, what=f"{done.what}{' and more' if found[1] else ''}")


def _found(there: Larder, packages: Sequence[Package], query: str, group: str) -> list[Package]:
    """Return what fits some words and a kind of food, the oldest first."""
    found = there.finder().search(query, of_group(packages, group))
    return sorted(found, key=lambda one: (one.frozen is None, one.frozen or 0, one.id))


def _order(form: Form) -> dict[str, Any]:
    """Return what a row's form orders at the door. Raise Wrong for what it may not."""
    verb = form.choice("do", VERBS)
    number = form.needed("number", 13)
    order: dict[str, Any] = {
        "ask": "stock", "do": verb, "what": number, "why": form.text("why", 500), "key": f"{form.key}-{verb}",
    }  # fmt: skip
    if not (number.isascii() and number.isdigit()):
        raise Wrong(f"{number!r} is not the number of a package.")
    if verb in ("take", "move"):
        many = form.number("n", 0, 10_000)
        order["n"] = many if many is not None or verb == "move" else 1
    if verb == "move":
        order["to"] = form.text("to", 80)
        if not order["to"]:
            raise Wrong("Choose where it goes. Nothing was moved.")
    return order


def _in_order(there: Larder, freezer: str) -> list[Box]:
    """Return the boxes in the order of the house's freezers."""
    known = list(there.house.freezers)
    boxes = [box for box in there.boxes if not freezer or box.freezer == freezer]
    return sorted(boxes, key=lambda box: known.index(box.freezer) if box.freezer in known else len(known))


def _shelves(there: Larder, boxes: Sequence[Box], freezer: str) -> list[tuple[str, str, list[Shown]]]:
    """Return each freezer's id and name with its boxes; one without a box stands there with none."""
    rows = Counter(one.box for one in there.packages)
    found: dict[str, list[Shown]] = {key: [] for key in there.house.freezers if freezer in ("", key)}
    empty = {key for key in found if not any(box.freezer == key for box in there.boxes)}
    for box in boxes:
        if box.name == SOMEWHERE and not rows[box.id]:
            continue
        found.setdefault(box.freezer, []).append(Shown(box.id, box.name, there.known_of(box), rows[box.id]))
    return [(key, there.freezer_name(key), those) for key, those in found.items() if those or key in empty]


def _moves(conn: sqlite3.Connection, below: int | None) -> list[Move]:
    """Return one more line of the history than a page shows, if there are so many, from before line `below`."""
    found: list[Move] = []
    while len(found) <= LEAF:
        piece = stock.moves(conn, last=PIECE, below=below)
        found += [move for move in piece if not only_looked(move)]
        if len(piece) < PIECE:
            break
        below = piece[-1].id
    return found


def _standing(conn: sqlite3.Connection) -> tuple[Move, bool] | None:
    """Return the move that says most of the last order that stands, and whether it has others of its kind."""
    below: int | None = None
    while piece := stock.moves(conn, last=PIECE, below=below):
        below = piece[-1].id
        last = next((move for move in piece if move.undone is None and move.turn is not Turn.UNDONE), None)
        if last is None:
            continue
        of = [move for move in piece if move.set == last.set and not only_looked(move)] or [last]
        packages = [move for move in of if move.before is not None or move.after is not None] or of
        return packages[-1], len(packages) > 1
    return None
