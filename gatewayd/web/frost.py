"""The frost log of a freezer: how thick the ice was, how it grows, and a line more."""

from math import isfinite
from typing import Any

from aiohttp import web

from gatewayd.message.words import person
from gatewayd.model.chore import Kind
from gatewayd.model.units import TemperatureUnit
from gatewayd.store import frost
from gatewayd.store.chore import chores
from gatewayd.upkeep.frost import DUE_MM, OVERDUE_MM, Growth, growth, parse_thickness, show_growth, show_thickness
from gatewayd.web.form import Form, read_form
from gatewayd.web.home import Home, Plain
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import signed_in

WHERE, NOTE = 60, 130  # characters; both go into one note of 200
FEW = 3  # lines where the log is not what the page is about


class Frost:
    """Answer at /defrost/FREEZER/frost."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/defrost/{freezer}/frost", self.show)
        app.router.add_post("/defrost/{freezer}/frost", self.write)

    async def show(self, request: web.Request) -> web.Response:
        """Show the log, the newest line first."""
        return await self._shown(request)

    async def _shown(self, request: web.Request, wrong: str = "", form: Form | None = None) -> web.Response:
        who = request.match_info["freezer"]
        if who not in self._home.house.freezers:
            raise web.HTTPNotFound
        return self._paint.page(
            request, "frost.html", status=422 if wrong else 200, wrong=wrong, filled=form.fields if form else {},
            id=who, name=self._home.house.freezers[who].name, ice=await frosts(self._home, who),
            thin=show_thickness(DUE_MM), thick=show_thickness(OVERDUE_MM),
        )  # fmt: skip

    async def write(self, request: web.Request) -> web.StreamResponse:
        """Write down how thick the frost is."""
        who, form = request.match_info["freezer"], await read_form(request)
        try:
            mm = parse_thickness(form.needed("thickness", 40), usual(self._home))
            note = "; ".join(filter(None, (form.text("where", WHERE), form.text("note", NOTE))))
        except ValueError as wrong:
            return await self._shown(request, str(wrong), form)
        asked = {"ask": "frost", "do": "add", "freezer": who, "mm": mm, "note": note, "key": form.key}
        answer = await self._home.ask(asked, signed_in(request).who)
        return self._paint.answered(request, f"/defrost/{who}/frost", answer)


def usual(home: Home) -> str:
    """Return the unit in which this household measures frost."""
    return "in" if home.house.units is TemperatureUnit.F else "mm"


async def frosts(home: Home, who: str) -> Plain:
    """Return the log of a freezer, the newest first, with its growth in words."""
    now = home.now().wall
    rows, defrosted = await home.read(
        lambda conn: (frost.rows(conn, who), [one.at for one in chores(conn, who, Kind.DEFROSTED)])
    )
    grown = growth(rows, defrosted, now)
    lines: list[dict[str, Any]] = [
        {"at": row.at, "thick": show_thickness(row.mm), "who": person(row.who, home.house), "note": row.note}
        for row in reversed(rows)
    ]
    return {"rows": lines, "few": lines[:FEW], "growth": told(home, grown, lines), "unit": usual(home)}


def told(home: Home, grown: Growth | None, rows: list[dict[str, Any]]) -> str:
    """Say how the frost grows."""
    if grown is None:
        return "Nothing is measured yet." if not rows else "Measure again in a few weeks; two lines show how it grows."
    known = isfinite(grown.rate_off)
    return show_growth(
        grown.now,
        grown.rate * 30 if known else None,
        grown.rate_off * 30 if known else None,
        inches=usual(home) == "in",
    )
