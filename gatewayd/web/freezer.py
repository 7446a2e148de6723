"""The page of one freezer: how it is, its curve, what it may come to, and what somebody does at it."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from aiohttp import web

from gatewayd.message.cause import firm
from gatewayd.message.house import busy, headline, held, older
from gatewayd.message.levels import MEANING, cycling, reached
from gatewayd.message.rule import remaining
from gatewayd.message.script import JUDGE
from gatewayd.message.words import called, clock, level
from gatewayd.model.house import Freezer
from gatewayd.model.moment import HOUR, MINUTE, from_wall, iso
from gatewayd.model.outlook import LEVELS, Label, Where
from gatewayd.model.reading import Quantity
from gatewayd.model.units import show_span
from gatewayd.watch.holding import Case, below, paragraph
from gatewayd.web.curve import SPANS, Curve, Line, Window, back, columns, read, table, window
from gatewayd.web.drawing import draw
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.now import acknowledge, cases_of, row_of, standing_of
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import signed_in

Plain = Mapping[str, Any]

FORECAST_IN = ("day", "week")  # in longer windows the days ahead are a hair's breadth
FEW = 8  # lid openings and spells told in words, the newest; the rest is in the log. Our choice
# How long somebody may say that they are at a freezer; the longest is that of a shelving.
STAYS = tuple((str(span), show_span(span)) for span in (HOUR, 2 * HOUR, 4 * HOUR, 8 * HOUR, 12 * HOUR))


@dataclass(frozen=True, slots=True)
class Place:
    """Hold one place in time that the page links to: its words, where, and whether it is shown now."""

    words: str
    to: str
    here: bool = False


class FreezerPages:
    """Answer at /freezer/ID."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/freezer/{id}", self.show)
        app.router.add_get("/freezer/{id}/curve.json", self.curve)
        app.router.add_get("/freezer/{id}/curve.svg", self.picture)
        app.router.add_post("/freezer/{id}/acknowledge", self.acknowledge)
        app.router.add_post("/freezer/{id}/at", self.at)
        app.router.add_post("/freezer/{id}/left", self.left)
        app.router.add_post("/freezer/{id}/checked", self.checked)

    async def show(self, request: web.Request) -> web.Response:
        """Show how a freezer is."""
        return await self._shown(request)

    async def curve(self, request: web.Request) -> web.Response:
        """Give the curve as columns."""
        freezer, sensor, asked = self._asked(request)
        found, _ = await self._read(freezer, sensor, asked)
        answer = web.json_response(columns(found, self._home.house.units))
        answer.enable_compression()
        return answer

    async def picture(self, request: web.Request) -> web.Response:
        """Give the curve as a picture."""
        freezer, sensor, asked = self._asked(request)
        found, _ = await self._read(freezer, sensor, asked)
        house, now = self._home.house, self._home.now().wall
        words = f"{freezer.name}, {self._words(asked)}"
        answer = web.Response(text=draw(found, house.units, house.zone, now, words), content_type="image/svg+xml")
        answer.enable_compression()
        return answer

    async def acknowledge(self, request: web.Request) -> web.Response:
        """Say of an alarm that somebody has seen it."""
        return await acknowledge(self._home, self._paint, request, f"/freezer/{self._freezer(request).id}")

    async def at(self, request: web.Request) -> web.Response:
        """Keep a freezer quiet while somebody is at it."""
        freezer, form = self._freezer(request), await read_form(request)
        try:
            span = int(form.choice("for", [value for value, _ in STAYS]))
            why = form.text("why")
        except Wrong as wrong:
            return await self._shown(request, str(wrong), 422)
        return await self._order(request, freezer, {"verb": "at the freezer", "span": span, "why": why}, form.key)

    async def left(self, request: web.Request) -> web.Response:
        """Watch a freezer as always again."""
        freezer, form = self._freezer(request), await read_form(request)
        return await self._order(request, freezer, {"verb": "left the freezer"}, form.key)

    async def checked(self, request: web.Request) -> web.Response:
        """Write down what was decided about the food."""
        freezer, form = self._freezer(request), await read_form(request)
        try:
            why = form.text("why")
            if not why:
                raise Wrong("Say what was decided about the food, for instance: kept all, still hard.")
        except Wrong as wrong:
            given = form.fields.get("why", "")
            return await self._shown(request, str(wrong), 422, typed=given if isinstance(given, str) else "")
        return await self._order(request, freezer, {"verb": "food checked", "why": why}, form.key)

    async def _order(self, request: web.Request, freezer: Freezer, order: dict[str, Any], key: str) -> web.Response:
        asked = {"ask": "order", "subject": freezer.id, "key": key, **order}
        answer = await self._home.ask(asked, signed_in(request).who)
        return self._paint.answered(request, f"/freezer/{freezer.id}", answer)

    async def _shown(self, request: web.Request, wrong: str = "", status: int = 200, typed: str = "") -> web.Response:
        home, house = self._home, self._home.house
        freezer, sensor, asked = self._asked(request)
        seen = home.status()
        row = next(one for one in seen["freezers"] if one["id"] == freezer.id)
        case = cases_of(home, seen)[freezer.id]
        theirs = (freezer.id, *freezer.sensors, *freezer.others)
        listed = [one for one in seen["alarms"] if not one["hidden"] or older(one, [row])]
        alarms = [one for one in listed if one["subject"] in theirs]
        own = [one for one in seen["alarms"] if one["subject"] == freezer.id]
        verdict = headline(house, [row], own, {freezer.id: case.event})
        thermal = next(one for one in home.forecast()["freezers"] if one["id"] == freezer.id)
        found, lines = await self._read(freezer, sensor, asked, case)
        return self._paint.page(
            request,
            "freezer.html",
            status=status,
            freezer=freezer,
            verdict=verdict,
            row=row_of(house, row, case),
            standing=standing_of(house, alarms),
            food=any(str(one["state"]).startswith("latched") for one in alarms),
            judge=JUDGE,
            held=held(row),
            quiet=row["quiet_until"] is not None,
            busy=busy(row),
            story=paragraph(case),
            below=below([case], recorded=True).split("\n"),
            compressor=cycling(thermal["cycles"]),
            levels=self._levels(found, case),
            stays=STAYS,
            zone=str(house.zone),
            wrong=wrong,
            typed=typed,
            sensors=[(one, house.sensors[one].name) for one in freezer.sensors if one in house.sensors],
            sensor=sensor,
            query=self._query(asked, sensor),
            spans=[
                Place(
                    words, f"/freezer/{freezer.id}?{self._query(replace(asked, span=key), sensor)}", key == asked.span
                )
                for key, (words, *_) in SPANS.items()
            ],
            steps=self._steps(freezer, asked, sensor),
            window=self._words(asked),
            whole=found.whole,
            begins=None if found.begins is None else self._stamp(found.begins),
            found=found,
            table=[(self._label(line, lines, asked), line.sum) for line in lines],
            unit_of_rows={"day": "Hour", "week": "Day", "month": "Day"}.get(asked.span, "Month"),
            spells=[self._between(s.began, s.ended, called(s.kind)) for s in found.spells[-FEW:]],
            lids=[self._between(opened, shut, "open") for opened, shut in found.lids[-FEW:]],
        )

    def _freezer(self, request: web.Request) -> Freezer:
        found = self._home.house.freezers.get(request.match_info["id"])
        if found is None:
            raise web.HTTPNotFound
        return found

    def _asked(self, request: web.Request) -> tuple[Freezer, str, Window]:
        """Return which freezer, sensor and window an address asks for; raise what answers a wrong one."""
        freezer, query = self._freezer(request), request.query
        try:
            found = window(
                query.get("span", "day"), query.get("until", ""), self._home.house.zone, self._home.now().wall
            )
        except ValueError as wrong:
            raise web.HTTPBadRequest(text=str(wrong)) from None
        sensor = query.get("sensor", "")
        if sensor and sensor not in freezer.sensors:
            raise web.HTTPNotFound
        return freezer, sensor or self._warmest(freezer), found

    def _warmest(self, freezer: Freezer) -> str:
        """Return the probe that the freezer is judged by now: the warmest that is heard; else the first."""
        if len(freezer.sensors) <= 1:
            return next(iter(freezer.sensors), "")
        heard = [
            (one["celsius"], one["id"])
            for one in self._home.health()
            if one["id"] in freezer.sensors and one["quality"] == "good" and one["heard_ago"] is not None
        ]
        return max(heard)[1] if heard else freezer.sensors[0]

    async def _read(
        self, freezer: Freezer, sensor: str, asked: Window, case: Case | None = None
    ) -> tuple[Curve, list[Line]]:
        """Return the curve, with the forecast where it belongs into the window, and the lines of the table."""
        house = self._home.house
        lids = [who for who in freezer.others if who in house.sensors and house.sensors[who].measures is Quantity.LID]
        mine = next((one for one in self._home.health() if one["id"] == sensor), {})
        interval = mine.get("interval_told") or mine.get("interval_learnt")
        wanted = case is not None

        def reading(conn: sqlite3.Connection) -> tuple[Curve, list[Line]]:
            lines = table(conn, sensor, asked, house.zone) if wanted else []
            return read(conn, freezer, sensor, asked, lids, interval), lines

        found, lines = await self._home.read(reading)
        if not asked.live or asked.span not in FORECAST_IN:
            return found, lines
        case = case or cases_of(self._home, self._home.status())[freezer.id]
        if not case.uncooled or firm(case.event) is Label.ROOM_AIR:
            return found, lines
        rows = [span for span in case.outlook.forecast if span.where is Where.FOOD]
        return replace(found, forecast=rows, made=case.outlook.at.wall), lines

    def _levels(self, found: Curve, case: Case) -> list[tuple[str, str, str]]:
        """Return of each level of a forecast what it is, what it means, and when it is reached."""
        by_level = {span.level: span for span in case.outlook.forecast if span.where is Where.FOOD}
        if not case.uncooled or firm(case.event) is Label.ROOM_AIR or not found.window.live:
            return []
        return [
            (level(celsius, self._home.house), MEANING[celsius], reached(by_level[celsius], remaining(case.event)))
            for celsius in LEVELS
            if celsius in by_level
        ]

    def _place(self, words: str, freezer: Freezer, asked: Window, sensor: str, *, here: bool = False) -> Place:
        return Place(words, f"/freezer/{freezer.id}?{self._query(asked, sensor)}", here)

    def _query(self, asked: Window, sensor: str) -> str:
        """Return what stands behind the question mark of an address for a window."""
        parts = {"span": asked.span}
        if not asked.live:
            parts["until"] = iso(asked.until, self._home.house.zone)[:16]
        if sensor and self._home.house.freezers and len(self._sensors_beside(sensor)) > 1:
            parts["sensor"] = sensor
        return urlencode(parts)

    def _sensors_beside(self, sensor: str) -> tuple[str, ...]:
        return next((f.sensors for f in self._home.house.freezers.values() if sensor in f.sensors), ())

    def _steps(self, freezer: Freezer, asked: Window, sensor: str) -> list[Place]:
        """Return the window before, and the one after where there is one."""
        house, now = self._home.house, self._home.now().wall
        before = replace(asked, until=asked.since, live=False)
        found = [self._place("Earlier", freezer, before, sensor)]
        if not asked.live:
            after = back(asked.until, asked.span, house.zone, -1)
            later = replace(asked, until=min(after, now), live=after >= now - MINUTE)
            found.append(self._place("Later", freezer, later, sensor))
            found.append(self._place("Now", freezer, replace(asked, live=True), sensor))
        return found

    def _words(self, asked: Window) -> str:
        """Say from when to when a window reaches."""
        return f"{self._stamp(asked.since)} to {'now' if asked.live else self._stamp(asked.until)}"

    def _stamp(self, wall: int) -> str:
        when = from_wall(wall).astimezone(self._home.house.zone)
        return f"{when:%a} {when.day} {when:%b %Y %H:%M}"

    def _label(self, line: Line, lines: list[Line], asked: Window) -> str:
        """Return the head of a line of the table; the hour that comes twice in autumn says which of the two it is."""
        when = from_wall(line.start).astimezone(self._home.house.zone)
        if asked.span == "day":
            twice = sum(self._hour(other) == self._hour(line) for other in lines) > 1
            return f"{when:%a %H:%M}{f' {when:%Z}' * twice}"
        return f"{when:%a} {when.day} {when:%b}" if asked.span in ("week", "month") else f"{when:%b %Y}"

    def _hour(self, line: Line) -> str:
        return f"{from_wall(line.start).astimezone(self._home.house.zone):%d %H:%M}"

    def _between(self, began: int, ended: int, words: str) -> str:
        now, zone = self._home.now().wall, self._home.house.zone
        return f"{words} {clock(began, now, zone)} to {clock(ended, now, zone)} ({show_span(max(0, ended - began))})"
