"""What the pages of the stock share: the list as it is, rows of packages, pairs to choose from, the way back."""

import re
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar
from urllib.parse import urlencode

from aiohttp import web

from gatewayd.food import said
from gatewayd.food.larder import Larder
from gatewayd.food.place import LOOSE, SOMEWHERE, THIS
from gatewayd.food.table import find
from gatewayd.model.contents import Group
from gatewayd.model.stock import Box, Package
from gatewayd.store import stock
from gatewayd.web.home import Home
from gatewayd.web.paint import Tap

T = TypeVar("T")

ROWS = 50  # packages on one page: some 10 kB on the line, and nobody scrolls further (our choice)
GROUPS = {
    Group.MEAT.value: "Meat, poultry and fish",
    Group.PRODUCE.value: "Vegetables and fruit",
    Group.BREAD.value: "Bread, cake and dough",
    Group.MEALS.value: "Cooked dishes, soups, milk",
}
ANY_GROUP = [("", "All kinds of food"), *GROUPS.items()]
_OURS = re.compile(r"/(?:stock|use-first|box)(?:[/?][\w\-./?=&%+:~]*)?", re.ASCII)


async def larder(home: Home, *, gone: bool = False) -> Larder:
    """Return the list as the file has it, with `gone` also what is used up."""
    house, now = home.house, home.now().wall

    def read(conn: sqlite3.Connection) -> Larder:
        return Larder(house, now, stock.boxes(conn), stock.packages(conn, gone=gone))

    return await home.read(read)


@dataclass(frozen=True, slots=True)
class Row:
    """Hold one package as a page shows it; all texts are for people."""

    number: int
    what: str  # "12 bags of beans"
    facts: str  # "1 lb each, about Jun 2025, about 17 months old"
    note: str
    where: str
    box: str
    one: bool  # whether one can be taken out of it, and not only the rest


def row(one: Package, larder: Larder) -> Row:
    """Return a package for a page."""
    zone, units = larder.house.zone, larder.house.units
    facts = []
    if one.each is not None:
        facts.append(said.weight(one.each, units) + (" each" if one.count not in (None, 1) else ""))
    if one.frozen is not None:
        day = said.day(one.frozen, zone, about=one.about)
        facts.append(f"frozen {day}, {said.old(one.frozen, larder.now, about=one.about)}")
    else:
        facts.append("nobody wrote when it was frozen")
    if one.who:
        facts.append(f"by {one.who}")
    box = next((box for box in larder.boxes if box.id == one.box), None)
    where = larder.names.get(one.box, one.box)
    inside = [part for part in (box.layer, box.place) if part] if box is not None else []
    where = ", ".join([where, *inside])
    few = one.count is not None and one.count < 1
    return Row(one.id, said.what(one), ", ".join(facts), one.note, where, one.box, one=not few)


def of_group(packages: Iterable[Package], group: str) -> list[Package]:
    """Return the packages whose food is known to be of a group, all for an empty one."""
    if not group:
        return list(packages)
    foods: dict[str, bool] = {}
    found = []
    for one in packages:
        if one.food not in foods:
            food = find(one.food)
            foods[one.food] = food is not None and food.group.value == group
        if foods[one.food]:
            found.append(one)
    return found


def freezer_pairs(home: Home, anywhere: str) -> list[tuple[str, str]]:
    """Return the freezers to choose from; `anywhere` is what stands for none of them."""
    return [("", anywhere), *((key, one.name) for key, one in home.house.freezers.items())]


def place_pairs(larder: Larder, first: str) -> list[tuple[str, str]]:
    """Return the boxes, and the freezers for what lies loose in them, to choose from; `first` stands for none."""
    found = [("", first)]
    for key, freezer in larder.house.freezers.items():
        boxes = [box for box in larder.boxes if box.freezer == key and box.name != LOOSE]
        found += [(f"{THIS}{box.id}", larder.names[box.id]) for box in boxes]
        found.append((key, f"loose in {freezer.name}"))
    known = larder.house.freezers
    others = [box for box in larder.boxes if box.freezer not in known and box.name not in (LOOSE, SOMEWHERE)]
    return found + [(f"{THIS}{box.id}", larder.names[box.id]) for box in others]


def carried(box: Box) -> bool:
    """Return whether a box is one that can be carried, and not only the name for what lies loose."""
    return box.name not in (LOOSE, SOMEWHERE)


@dataclass(frozen=True, slots=True)
class Leaf:
    """Hold one leaf of a long list."""

    rows: Sequence[Any]
    begin: int  # how many are before it
    of: int  # how many there are
    more: str  # where the next leaf is, empty on the last
    back: str  # where the one before is, empty on the first


def leaf(request: web.Request, rows: Sequence[T], many: int = ROWS) -> Leaf:
    """Return the leaf of a list that a request asks for by `page`; what is no number is the first."""
    asked = request.query.get("page", "1")
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1
    last = max(1, -(-len(rows) // many))
    number = min(max(1, number), last)
    begin = (number - 1) * many

    def way(to: int) -> str:
        return f"{request.path}?{urlencode([*((k, v) for k, v in request.query.items() if k != 'page'), ('page', to)])}"

    more = way(number + 1) if number < last else ""
    return Leaf(rows[begin : begin + many], begin, len(rows), more, way(number - 1) if number > 1 else "")


def undoing(answer: dict[str, Any], back: str, *earlier: dict[str, Any]) -> Tap | None:
    """Return the button that takes an order of the stock back and leads on to `back`; None where nothing was done.

    `earlier` are the answers to orders of the same form that went before it.
    """
    orders = [one["order"] for one in (answer, *reversed(earlier)) if one.get("done") and one.get("order")]
    if not answer.get("done") or not orders:
        return None
    return Tap("/stock/undo", "Undo", (("order", " ".join(map(str, orders))), ("back", back)))


def way_back(text: str, otherwise: str) -> str:
    """Return where a form leads back to, if it is one of the stock's own pages."""
    return text if len(text) <= 1000 and _OURS.fullmatch(text) else otherwise
