"""A month of temperatures on paper: each day's low, high and mean, with room for initials and a line to sign."""

import sqlite3
from dataclasses import dataclass
from datetime import date

from aiohttp import web

from gatewayd.message.words import person
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import from_wall
from gatewayd.model.reading import Quantity
from gatewayd.store.calibration import offsets
from gatewayd.store.month import Day, days, later
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint

EARLIEST = date(2000, 1, 1)  # nothing was measured before


@dataclass(frozen=True, slots=True)
class Sheet:
    """Hold the month of one thermometer: its days, and how it was checked last (empty: never)."""

    sensor: str
    name: str
    days: tuple[Day, ...]
    checked: int | None = None
    offset: float = 0.0
    by: str = ""


class Month:
    """Answer at /print/month."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/print/month", self.show)

    async def show(self, request: web.Request) -> web.Response:
        """Show a month of a freezer to print; without a freezer ask which."""
        house, now = self._home.house, self._home.now().wall
        this = from_wall(now).astimezone(house.zone).date().replace(day=1)
        asked, who = request.query.get("month", ""), request.query.get("freezer", "")
        first = month_of(asked) if asked else this
        wrong = ""
        if first is None or not EARLIEST <= first <= this:
            wrong = f"{asked[:40]!r} is no month up to now; write it like {this:%Y-%m}."
        elif who and who not in house.freezers:
            wrong = f"There is no freezer {who[:40]!r}."
        freezer = house.freezers.get(who)
        if wrong or freezer is None or first is None:
            return self._paint.page(
                request, "month_which.html", wrong=wrong, month=asked[:40] if wrong else f"{this:%Y-%m}", freezer=who,
                freezers=watched(house), status=422 if wrong else 200,
            )  # fmt: skip
        sheets = await self._home.read(lambda conn: _sheets(conn, house, freezer, first, now))
        return self._paint.page(
            request, "month.html", freezer=freezer, sheets=sheets, title=f"{first:%B %Y}", month=f"{first:%Y-%m}",
            before=f"{later(first, -1):%Y-%m}" if first > EARLIEST else "",
            after=f"{later(first):%Y-%m}" if first < this else "", limits=limits(house, freezer),
        )  # fmt: skip


def watched(house: House) -> list[tuple[str, str]]:
    """Return the freezers that have a thermometer, for a choice."""
    return [(freezer.id, freezer.name) for freezer in house.freezers.values() if freezer.sensors]


def month_of(text: str) -> date | None:
    """Return the first of a month written like 2026-11, None for what is none."""
    try:
        return date.fromisoformat(f"{text}-01")
    except ValueError:
        return None


def limits(house: House, freezer: Freezer) -> str:
    """Say above which temperatures this freezer's alarms begin."""
    show, of = house.units.show, freezer.limits
    return f"too warm above {show(of.high)}, much too warm above {show(of.highhigh)}"


def _sheets(conn: sqlite3.Connection, house: House, freezer: Freezer, first: date, now: int) -> list[Sheet]:
    found = []
    for sensor in freezer.sensors:
        wired = house.sensors.get(sensor)
        every = wired.reports_every if wired is not None else None
        checks = [each for each in offsets(conn, sensor) if each.quantity is Quantity.TEMPERATURE]
        month = tuple(days(conn, sensor, first, house.zone, now, every))
        sheet = Sheet(sensor, wired.name if wired is not None else sensor, month)
        if checks:
            last = checks[-1]
            sheet = Sheet(sensor, sheet.name, month, last.since, last.offset, person(last.who, house))
        found.append(sheet)
    return found
