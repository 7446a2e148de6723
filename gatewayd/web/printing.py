"""All that the house has to print, on one page."""

import sqlite3

from aiohttp import web

from gatewayd.message.words import name
from gatewayd.model.moment import from_wall
from gatewayd.store import excursion, spell
from gatewayd.web.home import Home
from gatewayd.web.month import watched
from gatewayd.web.paint import Paint

LAST = 5  # warm spells that are offered here; the others are a tap away


class Printing:
    """Answer at /print."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/print", self.show)

    async def show(self, request: web.Request) -> web.Response:
        """Show what there is to print."""
        house, now = self._home.house, self._home.now().wall

        def work(conn: sqlite3.Connection) -> list[tuple[str, str]]:
            return [
                (
                    f"/print/what-happened/{each.number}?freezer={each.freezer}",
                    f"{name(each.freezer, house)}, {spell.when(each, house, now)}",
                )
                for each in excursion.spells(conn, house)[: -LAST - 1 : -1]
            ]

        return self._paint.page(
            request, "printing.html", reports=await self._home.read(work), freezers=watched(house),
            every=[(freezer.id, freezer.name) for freezer in house.freezers.values()],
            month=f"{from_wall(now).astimezone(house.zone):%Y-%m}",
        )  # fmt: skip
