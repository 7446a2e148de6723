"""What to use first, and why."""

import re
from collections import OrderedDict
from dataclasses import dataclass

from aiohttp import web

from gatewayd.food import said
from gatewayd.food.first import AFTER_WARM, HONEST, QUALITY, Use
from gatewayd.food.listed import left_out, place
from gatewayd.model.contents import Group
from gatewayd.store.soon import uses
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import ANY_GROUP, GROUPS, freezer_pairs, leaf
from gatewayd.web.unjudged import unjudged

_DAYS = re.compile(r"^\d+ days ")  # "387 days without a sensor", "20 days before it came here"
_UNHEARD = re.compile(r"^not heard for .*")


@dataclass(frozen=True, slots=True)
class Line:
    """Hold one line of the list as a page shows it; named like a row of the stock, so that its buttons fit."""

    place: int
    number: int
    what: str
    reason: str
    where: str
    box: str
    doubts: tuple[str, ...]
    one: bool


class First:
    """Answer at /use-first."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/use-first", self.show)

    async def show(self, request: web.Request) -> web.Response:
        """Show the packages in the order in which to use them."""
        house, now = self._home.house, self._home.now().wall
        freezer, group = request.query.get("freezer", ""), request.query.get("group", "")
        freezer = freezer if freezer in house.freezers else ""
        group = group if group in GROUPS else ""
        found, nameless = await self._home.read(
            lambda conn: uses(conn, house, now, freezer, Group(group) if group else None)
        )
        one_leaf = leaf(request, found)
        lines = [self._line(use, one_leaf.begin + n) for n, use in enumerate(one_leaf.rows, 1)]
        return self._paint.page(
            request, "first.html", lines=lines, leaf=one_leaf, freezer=freezer, group=group, groups=ANY_GROUP,
            freezers=freezer_pairs(self._home, "All freezers"), quality=QUALITY, honest=HONEST,
            after_warm=AFTER_WARM, unjudged=await unjudged(self._home),
            left_out=left_out(nameless), doubts=_doubts(lines), back=request.path_qs,
        )  # fmt: skip

    def _line(self, use: Use, number: int) -> Line:
        one = use.kept.package
        few = one.count is not None and one.count < 1
        weight = "" if one.each is None else f", {said.weight(one.each, self._home.house.units)}"
        each = " each" if weight and one.count not in (None, 1) else ""
        return Line(
            number, one.id, f"{said.what(one)}{weight}{each}", use.reason, place(use, self._home.house), one.box,
            tuple(OrderedDict.fromkeys(map(_general, use.doubts))), one=not few,
        )  # fmt: skip


def _doubts(lines: list[Line]) -> dict[str, int]:
    """Return what was taken for granted on this leaf, numbered, so that a long sentence is said once."""
    found = OrderedDict.fromkeys(doubt for line in lines for doubt in line.doubts)
    return {doubt: number for number, doubt in enumerate(found, 1)}


def _general(doubt: str) -> str:
    """Return what was taken for granted without how long: said once of many packages, each of which has its own."""
    head, colon, rest = doubt.partition(": ")
    head = _DAYS.sub("Some days ", head)
    return f"{_UNHEARD.sub('Not heard for a time', head)}{colon}{rest}"
