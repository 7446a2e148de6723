"""The log: what happened, whom it was told and why, or why not; and exports of it."""

import sqlite3
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from aiohttp import web

from gatewayd.message import account
from gatewayd.message.plan import HOUSE
from gatewayd.model.event import Event, What
from gatewayd.model.house import House
from gatewayd.store import log
from gatewayd.store.trouble import StoreTrouble
from gatewayd.web.api.events import wanted
from gatewayd.web.api.fit import Unfit
from gatewayd.web.api.operation import Refused
from gatewayd.web.api.service import Api
from gatewayd.web.api.stream import WAY, Streams
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.server import Part

MOST = 25  # events of a page: some screens of a phone, some 6 kB on the line
TURNS = 60  # of one alarm on its page: reminders of two days, hour by hour
MESSAGES = 40  # of one event with their whole text: a household of ten, two routes each, new and over
NUMBER = r"[1-9][0-9]{0,14}"


@dataclass(frozen=True, slots=True)
class Line:
    """Hold an event as the page shows it: in words, by whom it was seen, whom it was told, and why or why not."""

    number: int
    at: int
    words: str
    why: str = ""
    seen: str = ""
    messages: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)


class Log:
    """Answer at /log, /log/NUMBER and /export."""

    def __init__(self, home: Home, paint: Paint, streams: Streams) -> None:
        """Take the house, the painter, and what streams exports."""
        self._home = home
        self._paint = paint
        self._streams = streams

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/log", self.show)
        app.router.add_get(f"/log/{{number:{NUMBER}}}", self.one)
        app.router.add_get("/export", self.choose)
        app.router.add_get(f"/export{WAY}", self.export)

    async def show(self, request: web.Request) -> web.Response:
        """Show a page of the log."""
        house, now = self._home.house, self._home.now().wall
        freezer, about = request.query.get("freezer", ""), request.query.get("about", "")
        before, after = (_number(request.query.get(name, "")) for name in ("before", "after"))
        which = _which(house, freezer, about)
        lines, older, newer = await self._home.read(lambda conn: _page(conn, house, which, before, after, now))
        chosen = {name: value for name, value in (("freezer", freezer), ("about", about)) if value}

        def way(**more: int) -> str:
            return f"/log?{urlencode({**chosen, **more})}" if chosen or more else "/log"

        return self._paint.page(
            request, "log.html", lines=lines, freezer=freezer, about=about, chosen=bool(chosen),
            freezers=[("", "The whole house"), *((f.id, f.name) for f in house.freezers.values())],
            kinds=[("", "All"), *((key, words) for key, words, _ in account.ABOUT), account.NOTES],
            older=way(before=lines[-1].number) if older and lines else "",
            newer=way(after=lines[0].number) if newer and lines else "",
            newest=way() if before or after else "", day=lambda wall: account.day(wall, house.zone),
        )  # fmt: skip

    async def one(self, request: web.Request) -> web.Response:
        """Show all that is known of one event."""
        number, house, now = int(request.match_info["number"]), self._home.house, self._home.now().wall
        found = await self._home.read(lambda conn: _whole(conn, house, number, now))
        if found is None:
            raise web.HTTPNotFound
        return self._paint.page(request, "log_one.html", **found)

    async def choose(self, request: web.Request) -> web.Response:
        """Show what can be exported."""
        return self._exports(request)

    async def export(self, request: web.Request) -> web.StreamResponse:
        """Stream an export, or say on the page what is wrong with what was filled in."""
        try:
            return await self._streams.answer(request)
        except Unfit as wrong:
            return self._exports(request, str(wrong), 422)
        except Refused as wrong:
            return self._exports(request, str(wrong), wrong.status)
        except StoreTrouble as trouble:
            return self._exports(request, str(trouble), 503)

    def _exports(self, request: web.Request, wrong: str = "", status: int = 200) -> web.Response:
        sensors = [("", "All"), *((one.id, one.name) for one in self._home.house.sensors.values())]
        asked = {name: request.query.get(name, "")[:40] for name in ("sensor", "since", "until")}
        return self._paint.page(request, "log_export.html", status=status, wrong=wrong, sensors=sensors, asked=asked)


def log_pages(home: Home, paint: Paint) -> list[Part]:
    """Return the log, and the JSON, which share the few exports that may run at a time."""
    streams = Streams(home)
    return [Log(home, paint, streams), Api(home, paint, streams)]


def _number(text: str) -> int | None:
    """Return the number of an event that stands in an address; anything else stands for none."""
    return int(text) if text.isascii() and text.isdigit() and 0 < len(text) < 16 else None


def _which(house: House, freezer: str, about: str) -> log.Wanted:
    subjects = wanted(house, freezer, None).subjects if freezer else ()
    kinds = next((kinds for key, _, kinds in account.ABOUT if key == about), ())
    but = tuple(kind for _, _, those in account.ABOUT for kind in those) if about == account.NOTES[0] else ()
    return log.Wanted(subjects, kinds, but)


# -- in the reader's thread ------------------------------------------------------------------------------------


def _page(
    conn: sqlite3.Connection, house: House, which: log.Wanted, before: int | None, after: int | None, now: int
) -> tuple[list[Line], bool, bool]:
    found = log.leaf(conn, which, MOST, before, after)
    return _lines(conn, house, found.events, now), found.older, found.newer


def _lines(conn: sqlite3.Connection, house: House, events: Sequence[Event], now: int) -> list[Line]:
    """Return events in words; `now` (wall ms) says what today is."""
    numbers = [event.number for event in events]
    seen = log.answers(conn, [event.number for event in events if event.what is What.RAISED])
    messages, reasons = defaultdict[int, list[str]](list), defaultdict[int, list[str]](list)
    for each in log.sent(conn, numbers):
        messages[each.event].append(_sent(each, house, now))
    for decision in log.decisions(conn, numbers):
        reasons[decision.event].append(account.decided(decision, house, now))
    return [
        Line(
            event.number, event.at.wall, account.line(event, house), event.why, _seen(seen.get(event.number), house),
            messages[event.number], reasons[event.number],
        )
        for event in events
    ]  # fmt: skip


def _sent(each: log.Sent, house: House, now: int) -> str:
    return account.sent(each.person, each.route, each.progress, each.changed, each.tries, each.error, house, now)


def _seen(answer: Event | None, house: House) -> str:
    return "" if answer is None or answer.who in ("", HOUSE) else account.who(answer.who, house)


def _whole(conn: sqlite3.Connection, house: House, number: int, now: int) -> dict[str, Any] | None:
    """Return what the page of one event shows, None where there is none."""
    event = log.event(conn, number)
    if event is None:
        return None
    sent = log.sent(conn, [number])
    return {
        "line": _lines(conn, house, [event], now)[0],
        "by": account.who(event.who, house),
        "letters": [(each, _sent(each, house, now)) for each in sent[:MESSAGES]],
        "more_letters": max(0, len(sent) - MESSAGES),
        "turns": _lines(conn, house, log.story(conn, event.first or number, TURNS), now),
        "facts": account.known(event, house),
        "event": event,
        "not_kept": account.NOT_KEPT,
    }
