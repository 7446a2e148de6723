"""Labels for the boxes, each with a code that a phone reads and that opens the box's page."""

import asyncio
import io
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import ip_address
from urllib.parse import urlsplit

from aiohttp import web

from gatewayd.food.larder import Larder
from gatewayd.model.stock import Box
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import carried, larder, leaf

LABELS = 40  # on one page: five sheets of paper, and as many codes to draw
QUIET = 4  # modules of white round a code (ISO/IEC 18004, 9.1)


@dataclass(frozen=True, slots=True)
class Label:
    """Hold one label."""

    id: str
    name: str
    freezer: str
    place: str


class Labels:
    """Answer at /print/labels and /box/ID/qr.svg."""

    def __init__(self, home: Home, paint: Paint, begins: Callable[[], str]) -> None:
        """Take the house, the painter, and how the address of every page begins."""
        self._home = home
        self._paint = paint
        self._begins = begins

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/print/labels", self.show)
        app.router.add_get("/box/{id}/qr.svg", self.code)

    async def show(self, request: web.Request) -> web.Response:
        """Show the labels of one box, of a freezer or of all, or which there are."""
        asked = {name: request.query.get(name, "") for name in ("box", "freezer")}
        everything = "all" in request.query or asked["freezer"] == "all"
        there = await larder(self._home)
        chosen = everything or any(asked.values())
        boxes = [box for box in there.boxes if carried(box) and (everything or asked["box"] == box.id)]
        if not everything and not asked["box"]:
            boxes = [box for box in there.boxes if carried(box) and box.freezer == asked["freezer"]]
        one_leaf = leaf(request, boxes if chosen else [], LABELS)
        return self._paint.page(
            request, "labels.html", labels=[_label(box, there) for box in one_leaf.rows], leaf=one_leaf,
            chosen=chosen, freezers=self._home.house.freezers, begins=self._begins(),
            alone=only_here(self._begins()),
        )  # fmt: skip

    async def code(self, request: web.Request) -> web.Response:
        """Give the code of one box as a picture."""
        box = request.match_info["id"]
        there = await larder(self._home)
        if all(one.id != box for one in there.boxes):
            raise web.HTTPNotFound
        picture = await asyncio.to_thread(drawn, address(self._begins(), box))
        return web.Response(body=picture, content_type="image/svg+xml", charset="utf-8")


def address(begins: str, box: str) -> str:
    """Return where a phone finds the page of a box."""
    return f"{begins}/box/{box}"


def only_here(begins: str) -> bool:
    """Return whether addresses that begin so lead each device to itself, so that no phone opens these pages by them."""
    host = urlsplit(begins).hostname or ""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")  # RFC 6761, 6.3


@lru_cache(maxsize=LABELS)
def drawn(text: str) -> bytes:
    """Return the code of a text as SVG; 15 % of it may be dirty or torn (level M), as a label in a freezer is."""
    import segno  # noqa: PLC0415 - only when labels are printed

    out = io.BytesIO()
    segno.make_qr(text, error="m").save(out, kind="svg", border=QUIET, light="#fff", omitsize=True, svgclass=None)
    return out.getvalue()


def _label(box: Box, there: Larder) -> Label:
    freezer = there.freezer_name(box.freezer) if box.freezer else ""
    return Label(box.id, box.name, freezer, ", ".join(part for part in (box.layer, box.place) if part))
