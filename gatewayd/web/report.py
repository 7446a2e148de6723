"""What happened, on paper: for the keeper's folder, or for an insurer; and the losses as a file."""

import sqlite3
from dataclasses import dataclass

from aiohttp import web

from gatewayd.food import said
from gatewayd.food.table import find
from gatewayd.message.words import name, person
from gatewayd.model.excursion import Excursion
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, iso
from gatewayd.model.stock import Turn
from gatewayd.store import excursion, spell, stock
from gatewayd.store.carried import Carried
from gatewayd.web.happened import Account, account, meant
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import GROUPS

UNKNOWN = "Food of which nobody knows the kind"
# After a spell, and after the last decision on its food, people throw out what they find within a day. Our choice.
CLEARED = DAY
_BY_SPELL = " after warm spell "  # how the reason of a decision's own line in the stock's history reads


@dataclass(frozen=True, slots=True)
class Loss:
    """Hold one thing that was thrown out: `kg` None where nobody knows its weight."""

    food: str
    box: str
    freezer: str
    frozen: str
    kg: float | None
    weight: str
    at: str
    by: str
    why: str
    group: str


@dataclass(frozen=True, slots=True)
class Report:
    """Hold a report: what is told of each freezer, what was thrown out by decisions, and what else was at that time."""

    accounts: tuple[Account, ...]
    losses: tuple[Loss, ...]
    also: tuple[Loss, ...]
    groups: tuple[tuple[str, str], ...]
    total: str
    unweighed: int


class Reports:
    """Answer at /print/what-happened/N and /what-happened/N/losses.csv."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get(r"/print/what-happened/{number:\d{1,15}}", self.show)
        app.router.add_get(r"/what-happened/{number:\d{1,15}}/losses.csv", self.losses)

    async def show(self, request: web.Request) -> web.Response:
        """Show the report to print."""
        house, now, number, freezer = self._home.house, self._home.now().wall, *_asked(request)
        report = await self._home.read(lambda conn: report_of(conn, house, meant(conn, house, number, freezer), now))
        return self._paint.page(request, "report.html", report=report, first=spell.FIRST, number=number, only=freezer)

    async def losses(self, request: web.Request) -> web.Response:
        """Hand out the losses as a file of comma-separated values."""
        house, now, number, freezer = self._home.house, self._home.now().wall, *_asked(request)
        rows = await self._home.read(lambda conn: spell.lost(conn, house, meant(conn, house, number, freezer), now))
        return web.Response(
            text="".join(spell.csv(rows)),
            content_type="text/csv",
            charset="utf-8",
            headers={"Content-Disposition": f'attachment; filename="losses-{number}.csv"'},
        )


def _asked(request: web.Request) -> tuple[int, str]:
    return int(request.match_info["number"]), request.query.get("freezer", "")


def report_of(conn: sqlite3.Connection, house: House, spells: list[Excursion], now: int) -> Report:
    """Return the report of some warm spells that have a number in common."""
    past = Carried(conn, house, now)
    accounts = tuple(account(conn, house, each, past, now) for each in spells)
    losses = tuple(_loss(row, house) for row in spell.lost(conn, house, spells, now))
    groups: dict[str, float] = {}
    for loss in losses:
        if loss.kg is not None:
            groups[loss.group] = groups.get(loss.group, 0.0) + loss.kg
    return Report(
        accounts,
        losses,
        tuple(_also(conn, house, spells, now)),
        tuple((group, said.weight(kg, house.units)) for group, kg in groups.items()),
        said.weight(sum(loss.kg or 0.0 for loss in losses), house.units),
        sum(loss.kg is None for loss in losses),
    )


def group_of(food: str) -> str:
    """Return the group of a food as people call it."""
    known = find(food)
    return GROUPS.get(known.group.value, UNKNOWN) if known is not None else UNKNOWN


def _loss(row: spell.Plain, house: House) -> Loss:
    return Loss(
        row["food"],
        row["box"],
        row["freezer"],
        row["frozen"] or "",
        row["kg"],
        _weight(row["kg"], house),
        row["thrown_out"] or "",
        person(row["by"], house),
        row["why"],
        group_of(row["food"]),
    )


def _weight(kg: float | None, house: House) -> str:
    return "not known" if kg is None else said.weight(kg, house.units)


def _also(conn: sqlite3.Connection, house: House, spells: list[Excursion], now: int) -> list[Loss]:
    """Return what was thrown out of these freezers by the stock's list alone, while it was warm or within a day after.

    A decision on a warm spell names it in the stock's history; what does not was thrown out for another reason, or by
    somebody who did not go through the questions.
    """
    where = {each.freezer for each in spells}
    decided = [
        finding.at for each in spells for finding in excursion.findings(conn, each) if finding.decision is not None
    ]
    since = min(each.began for each in spells)
    until = max([each.ended or now for each in spells] + decided) + CLEARED
    boxes = {box.id: box for box in stock.boxes(conn)}
    found = []
    for move in reversed(stock.moves(conn)):
        one = move.before
        if (
            one is None
            or move.turn is not Turn.THROWN
            or move.undone is not None
            or not since <= move.at <= until
            or _BY_SPELL in move.why
        ):
            continue
        box = move.box_before or boxes.get(one.box)
        if box is None or box.freezer not in where:
            continue
        kg = one.weight
        if kg is not None and move.after is not None and move.after.gone is None:
            kg = max(0.0, kg - (move.after.weight or 0.0))
        found.append(
            Loss(
                said.what(one),
                box.name,
                name(box.freezer, house),
                "" if one.frozen is None else said.day(one.frozen, house.zone, about=one.about),
                kg,
                _weight(kg, house),
                iso(move.at, house.zone),
                person(move.who, house),
                move.why,
                group_of(one.food),
            )
        )
    return found
