"""The stock sheet on paper, for a clipboard on the lid: squares to strike out, and room to write."""

from collections.abc import Iterator
from dataclasses import dataclass

from aiohttp import web

from gatewayd.food import said
from gatewayd.food.larder import SURE, Larder, by_box, squares
from gatewayd.food.load import sure
from gatewayd.food.place import LOOSE, SOMEWHERE
from gatewayd.model.stock import Box, Package
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import larder

EMPTY = 4  # lines for a pen below each box: more make a sheet of many boxes long (our choice)


@dataclass(frozen=True, slots=True)
class Strike:
    """Hold one row of the sheet; `many` is how many there are in words, `squares` how many to strike out."""

    food: str
    many: str
    squares: int
    more: int
    each: str
    frozen: str
    note: str


@dataclass(frozen=True, slots=True)
class BoxSheet:
    """Hold one box of the sheet."""

    id: str
    name: str
    freezer: str  # its name, empty where the box's own says it
    known: str
    rows: list[Strike]


class Paper:
    """Answer at /print/stock."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/print/stock", self.show)

    async def show(self, request: web.Request) -> web.Response:
        """Show the sheet of a freezer or a box, or which there are."""
        freezer, box = request.query.get("freezer", ""), request.query.get("box", "")
        there = await larder(self._home)
        boxes = [one for one in there.boxes if (one.id == box if box else freezer in ("all", one.freezer))]
        inside = by_box(there.packages)
        sheets = [_sheet(one, inside[one.id], there) for one in boxes if inside[one.id] or one.name != SOMEWHERE]
        if box:
            title = there.names.get(box, "No such box")
        else:
            title = self._home.house.name if freezer == "all" else there.freezer_name(freezer)
        return self._paint.page(
            request, "sheet.html", sheets=sheets if box or freezer else [], chosen=bool(box or freezer), title=title,
            freezers=self._home.house.freezers, empty=EMPTY, rows=sum(len(one.rows) for one in sheets),
        )  # fmt: skip


def _sheet(box: Box, packages: list[Package], there: Larder) -> BoxSheet:
    known = ", ".join([*(part for part in (box.layer, box.place) if part), SURE[sure(box, there.now)]])
    freezer = "" if box.name in (LOOSE, SOMEWHERE) or not box.freezer else there.freezer_name(box.freezer)
    return BoxSheet(box.id, _name(box, there), freezer, known, list(_strikes(packages, there)))


def _name(box: Box, there: Larder) -> str:
    return there.places.name(box) if box.name in (LOOSE, SOMEWHERE) else box.name


def _strikes(packages: list[Package], there: Larder) -> Iterator[Strike]:
    zone, units = there.house.zone, there.house.units
    for one in packages:
        few, more = squares(one)
        yield Strike(
            one.food, "" if one.count is None else said.number(one.count), few, more,
            "" if one.each is None else said.weight(one.each, units),
            "" if one.frozen is None else said.day(one.frozen, zone, about=one.about),
            ", ".join(part for part in (one.packed, one.who, one.note) if part),
        )  # fmt: skip
