"""Answer what the commands `frost` and `defrost plan` ask: the log of the ice, when it is due, and a good day."""

import sqlite3
from collections.abc import AsyncIterator, Mapping, Sequence
from datetime import tzinfo
from math import isfinite

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.message.words import name
from gatewayd.model.chore import Kind
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY, HOUR, from_wall, iso
from gatewayd.model.reading import Quantity
from gatewayd.model.stock import Move, Package
from gatewayd.store import frost
from gatewayd.store.calibration import began
from gatewayd.store.chart import chart
from gatewayd.store.chore import chores
from gatewayd.store.stock import boxes, moves, packages
from gatewayd.store.trouble import StoreTrouble
from gatewayd.thermal.ageing import ageing
from gatewayd.upkeep.defrost import Due, Reason, due, earliest, good_day
from gatewayd.upkeep.frost import THICKEST, Growth, Thickness, growth, show_thickness
from gatewayd.watch.view import defrosting
from gatewayd.watch.watch import Watch

YEAR_BACK = 365 * DAY
MONTH = 30 * DAY
LONGEST = 200  # characters of a note


class Frosts:
    """Answer requests about frost; orders about a defrost that runs go to the watch."""

    def __init__(self, gateway: Gateway, clock: Clock) -> None:
        """Take the gateway and the clock."""
        self._gateway = gateway
        self._clock = clock

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer one request of `who`: add a line to the frost log, or plan a defrost."""
        if request.get("ask") == "frost":
            yield await self._add(request, who)
            return
        watch, now = self._gateway.watch, self._clock.now()
        running = {one: plain for one in watch.house.freezers if (plain := defrosting(watch, one, now)) is not None}
        try:
            found = await self._gateway.store.ask(lambda conn: plans(conn, watch.house, now.wall, periods(watch)))
        except StoreTrouble as trouble:
            yield {"error": str(trouble)}
            return
        yield {"freezers": [{**plan, "running": running.get(plan["id"])} for plan in found]}

    async def _add(self, request: Plain, who: str) -> Plain:
        freezer, mm, house = str(request.get("freezer", ""))[:40], request.get("mm"), self._gateway.watch.house
        now = self._clock.now()
        if freezer not in house.freezers:
            known = ", ".join(house.freezers) or "none"
            return {"done": False, "error": f"There is no freezer {freezer!r}; there are: {known}."}
        if not isinstance(mm, int | float) or isinstance(mm, bool) or not 0 <= mm <= THICKEST:
            return {"done": False, "error": f"{mm!r} is no thickness; 0 to {THICKEST:.0f} mm can be written down."}
        row = Thickness(freezer, now.wall, float(mm), who, str(request.get("note", ""))[:LONGEST])

        def work(conn: sqlite3.Connection) -> str:
            frost.add(conn, row)
            return f"Written down: {name(freezer, house)}, {show_thickness(row.mm)} of frost."

        try:
            text, _ = await self._gateway.store.carry_out(work, now, str(request.get("key", ""))[:80])
            said = await self._gateway.store.ask(lambda conn: plans(conn, house, now.wall, {}, freezer))
        except StoreTrouble as trouble:
            return {"done": False, "error": str(trouble)}
        found = said[0]["due"]
        first = next((one for one in found if one["why"] == Reason.FROST.value), next(iter(found), None))
        return {"done": True, "text": f"{text} {first['text']}" if first else text}


def periods(watch: Watch) -> dict[str, float]:
    """Return by how much the cycles of each freezer changed in six weeks, where that is known."""
    found = {who: ageing(picture.kept.days) for who, picture in watch.pictures.items()}
    return {who: aged.period for who, aged in found.items() if aged is not None}


def grown(conn: sqlite3.Connection, freezer: str, now: int) -> Growth | None:
    """Return how the frost of a freezer grows by its log, None where that does not show it."""
    defrosted = [each.at for each in chores(conn, freezer, Kind.DEFROSTED)]
    return growth(frost.rows(conn, freezer), defrosted, now)


def plans(
    conn: sqlite3.Connection, house: House, now: int, period: Mapping[str, float], freezer: str = ""
) -> list[Plain]:
    """Return for each freezer, or one, when it is to be defrosted and why, and a good day. Stamps ISO 8601, mm, kg."""
    return [
        _plan(conn, house, one, now, period.get(one.id)) for one in house.freezers.values() if freezer in ("", one.id)
    ]


def _plan(conn: sqlite3.Connection, house: House, freezer: Freezer, now: int, period: float | None) -> Plain:
    defrosted = [each.at for each in chores(conn, freezer.id, Kind.DEFROSTED)]
    ice = grown(conn, freezer.id, now)
    found = due(freezer, now, began(conn), defrosted, ice, period)
    there = packages(conn, freezer.id)
    known = [package.weight for package in there if package.weight is not None]
    holds = sum(known) if known or not boxes(conn, freezer.id) else None
    holds = holds if there else None
    theirs = {box.id for box in boxes(conn, freezer.id)}
    weights = by_month(moves(conn), theirs, holds or 0.0, now, house.zone) if there else {}
    by, begin = found[0].by if found else None, earliest(found, defrosted, now)
    day = good_day(now, by, house.zone, room(conn, freezer, now, house.zone), weights, holds, begin)
    return {
        "id": freezer.id,
        "name": freezer.name,
        "last": iso(max(defrosted), house.zone) if defrosted else None,
        "due": [_due(one, now, house.zone) for one in found],
        "frost": None if ice is None else _ice(ice),
        "good_day": {"at": iso(day.at, house.zone), "why": day.words} if found else None,
    }


def _due(one: Due, now: int, zone: tzinfo) -> Plain:
    late = one.overdue is not None and one.overdue <= now
    when = "Overdue" if late else "Due now" if one.by <= now else f"Due by {_day(one.by, zone)}"
    between = ""
    if one.by > now and one.early is not None:
        until = "later than five years" if one.late is None else _day(one.late, zone)
        between = f" (likely between {_day(max(one.early, now), zone)} and {until})"
    return {
        "why": one.why.value,
        "by": iso(one.by, zone),
        "overdue": late,
        "early": None if one.early is None else iso(one.early, zone),
        "late": None if one.late is None else iso(one.late, zone),
        "text": f"{when}{between}: {one.words}.",
    }


def _day(wall: int, zone: tzinfo) -> str:
    when = from_wall(wall).astimezone(zone)
    return f"{when.day} {when:%B %Y}"


def _ice(ice: Growth) -> Plain:
    return {
        "now_mm": round(ice.now, 1),
        "mm_a_month": round(ice.rate * 30, 2) if isfinite(ice.rate_off) else None,
        "mm_a_month_off": round(ice.rate_off * 30, 2) if isfinite(ice.rate_off) else None,
        "readings": ice.readings,
        "earlier_seasons": ice.seasons,
    }


def room(conn: sqlite3.Connection, freezer: Freezer, now: int, zone: tzinfo) -> dict[int, list[float]]:
    """Return by month (1 to 12) the daily means (°C) of the freezer's room in the past year, empty without a sensor."""
    found: dict[int, list[float]] = {}
    if not freezer.room:
        return found
    for bucket in chart(conn, freezer.room, Quantity.TEMPERATURE, now - YEAR_BACK, now, 365):
        month = from_wall(bucket.start + 12 * HOUR).astimezone(zone).month
        found.setdefault(month, []).append(bucket.mean)
    return found


def by_month(story: Sequence[Move], theirs: set[str], holds: float, now: int, zone: tzinfo) -> dict[int, float]:
    """Return by month (1 to 12) how much (kg) was in the boxes `theirs` in the middle of it, as far back as is known.

    `story` is the newest first, `holds` what is in them now; weights that were never said are left out. Where boxes
    stood in another freezer then is not looked at.
    """
    found: dict[int, float] = {}
    if not story or now - story[-1].at < MONTH:
        return found
    kg, place = holds, 0
    for back in range(12):
        when = now - back * MONTH
        while place < len(story) and story[place].at > when:
            kg -= _in(story[place].after, theirs) - _in(story[place].before, theirs)
            place += 1
        if place == len(story):
            break
        found.setdefault(from_wall(when).astimezone(zone).month, max(0.0, round(kg, 3)))
    return found


def _in(package: Package | None, theirs: set[str]) -> float:
    gone = package is None or package.gone is not None or package.box not in theirs
    return 0.0 if gone or package is None else package.weight or 0.0
