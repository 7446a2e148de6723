"""The door's part for the stock: orders go straight to the store, and what the freezers hold goes on to the watch.

A file of many packages does not fit one request, so its rows are handed in piece by piece and wait in memory; the last
request stores all of them in one transaction. Whoever breaks off in the middle has imported nothing.
"""

import asyncio
import json
import logging
import math
import sqlite3
from collections.abc import AsyncIterator, Callable

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.stocking import Plain, Refused, Stocking
from gatewayd.food import load, said
from gatewayd.food.draft import CELLS, HEAVIEST, LONGEST, MOST, Draft, tidy
from gatewayd.model.contents import Group
from gatewayd.model.given import Stocked
from gatewayd.model.house import Freezer
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.stock import Turn
from gatewayd.store import stock
from gatewayd.store.bring import ROWS, TOO_MANY
from gatewayd.store.trouble import StoreTrouble
from gatewayd.watch.facts import VOLUMES, half_full

log = logging.getLogger(__name__)

LOOK = HOUR  # how often the list is looked at without a change: lists grow stale by the month
PATIENCE = 10 * MINUTE  # for the next piece of a file
FILES = 4  # under way at once: 20 MB in memory at most, with as many rows as one may have (our choice)
WORDS = 500  # characters of a search, and of a reason


class Pantry:
    """Answer what is ordered of the stock."""

    def __init__(self, gateway: Gateway, clock: Clock) -> None:
        """Take the gateway, whose store and watch it speaks to."""
        self._gateway = gateway
        self._clock = clock
        self._waiting: dict[str, tuple[int, list[Draft]]] = {}  # file -> when its last piece came (steady ms), its rows
        self._changed = asyncio.Event()

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Carry out one order of `who`."""
        try:
            if request.get("do") == "stage":
                yield self._stage(request)
                return
            yield await self._carry_out(self._work(request), _text(request, "key", 80), who)
            self._waiting.pop(_text(request, "file", 80), None)
        except (Refused, ValueError, StoreTrouble) as why:
            yield {"done": False, "error": str(why)}

    async def run(self) -> None:
        """Tell the watch what the freezers hold: at once, after each change, and hourly, for ever."""
        while True:
            self._changed.clear()
            await self.tell()
            waiting = asyncio.create_task(self._changed.wait(), name="the stock has changed")
            sleeping = asyncio.create_task(self._clock.sleep(LOOK), name="look at the stock")
            try:
                await asyncio.wait((waiting, sleeping), return_when=asyncio.FIRST_COMPLETED)
            finally:
                waiting.cancel()
                sleeping.cancel()

    async def tell(self) -> None:
        """Tell the watch what the freezers hold, if that is something else than it knows."""
        watch, now = self._gateway.watch, self._clock.now().wall
        half = {who: half_full(freezer) for who, freezer in watch.house.freezers.items()}

        def read(conn: sqlite3.Connection) -> dict[str, dict[Group, float]]:
            return load.contents(stock.boxes(conn), stock.packages(conn), half, now)

        try:
            found = await self._gateway.store.ask(read)
        except StoreTrouble as trouble:
            log.warning("what the freezers hold cannot be read: %s", trouble)
            return
        if found != watch.stocked:
            self._gateway.give(Stocked(found))

    async def _carry_out(self, work: Callable[[Stocking], Plain], key: str, who: str) -> Plain:
        now, house = self._clock.now(), self._gateway.watch.house

        def do(conn: sqlite3.Connection) -> str:
            stocking = Stocking(conn, house, now.wall, who)
            answer = work(stocking)
            answer["warnings"] += self._too_much(conn, stocking, answer)
            return json.dumps(answer, ensure_ascii=False)

        text, _ = await self._gateway.store.carry_out(do, now, key)
        self._changed.set()
        answer: Plain = json.loads(text)
        return answer

    def _too_much(self, conn: sqlite3.Connection, stocking: Stocking, answer: Plain) -> list[str]:
        """Return a warning for each freezer that was just given more fresh food than it freezes in a day."""
        boxes = {one["box"] for one in answer["packages"] if one["fresh"] and one["gone"] is None}
        freezers = {stocking.boxes[box].freezer for box in boxes if box in stocking.boxes}
        found = []
        for who in sorted(freezers & stocking.house.freezers.keys()):
            freezer = stocking.house.freezers[who]
            litres = freezer.volume or VOLUMES[freezer.kind]
            those = load.fresh(stock.packages(conn, who), litres, stocking.now)
            if those.much is not load.Much.FINE:
                found.append(warning(freezer, those, stocking))
        return found

    # -- requests ------------------------------------------------------------------------------------------

    def _work(self, request: Plain) -> Callable[[Stocking], Plain]:
        """Return what a request orders; ValueError where it is none."""
        verb, what = request.get("do"), _text(request, "what", WORDS)
        why, many = _text(request, "why", WORDS), _number(request, "n", MOST)
        oldest = request.get("oldest") is True
        match verb:
            case "add":
                if "rows" in request:
                    drafts = self._rows(request)
                    return lambda at: at.put_in(drafts)
                lines = request.get("lines")
                if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
                    raise ValueError("what to add must be lines of words")
                return lambda at: at.add(lines)
            case "take":
                return lambda at: at.take(what, many, why, oldest=oldest)
            case "use":
                return lambda at: at.use(what, why, oldest=oldest)
            case "throw":
                return lambda at: at.use(what, why, Turn.THROWN, oldest=oldest)
            case "move":
                to = _text(request, "to", WORDS)
                return lambda at: at.move(what, to, many, why, oldest=oldest)
            case "count":
                full = _number(request, "full", 1.0)
                return lambda at: at.count(what, many, full, why)
            case "set":
                line = _text(request, "line", WORDS)
                fields = _news(request["news"]) if "news" in request else None
                return lambda at: at.set(what, line, fields)
            case "box":
                news: Plain = {
                    name: tidy("box", _text(request, name, WORDS))
                    for name in ("name", "freezer", "layer", "place")
                    if name in request
                }
                if request.get("full") is not None:
                    news["full"] = _number(request, "full", 1.0)
                return lambda at: at.box(what, news, gone=request.get("gone") is True)
            case "undo":
                orders = _orders(request)
                return lambda at: at.undo(orders)
            case "import":
                return lambda at: at.bring(self._whole(request))  # looked for only if it was not done before
        raise ValueError(f"nobody here knows how to do {verb!r} with the stock")

    def _stage(self, request: Plain) -> Plain:
        """Take a piece of a file."""
        now, file, rows = self._clock.now().steady, _text(request, "file", 80), self._rows(request)
        self._waiting = {each: kept for each, kept in self._waiting.items() if now - kept[0] < PATIENCE}
        if not file:
            raise ValueError("a piece of a file must have a name")
        if file not in self._waiting and len(self._waiting) >= FILES:
            raise ValueError("other files are being imported; try again in ten minutes. Nothing was imported")
        have = self._waiting.get(file, (now, []))[1]
        if len(have) + len(rows) > ROWS:
            raise ValueError(f"{TOO_MANY}. Nothing was imported")
        have += rows
        self._waiting[file] = now, have
        return {"done": True, "rows": len(have)}

    def _whole(self, request: Plain) -> list[Draft]:
        """Return the rows of a file that was handed in whole; they stay until they are stored or forgotten."""
        drafts = self._waiting.get(_text(request, "file", 80), (0, []))[1]
        if len(drafts) != request.get("rows"):
            raise ValueError("the rows are not all here (gatewayd was started anew?); nothing was imported. Try again")
        return drafts

    def _rows(self, request: Plain) -> list[Draft]:
        """Read the rows of a request."""
        rows = request.get("rows")
        if isinstance(rows, list):
            return [self._draft(row) for row in rows]
        raise ValueError("packages must come as rows")

    def _draft(self, row: object) -> Draft:
        """Read one row as `Draft` has its fields; ValueError for what no command of ours would send."""
        if not isinstance(row, list) or len(row) != len(CELLS):
            raise ValueError("a row of the file has not the cells that are wanted; use the command of this gatewayd")
        cells = _checked(dict(zip(CELLS, row, strict=True)))
        if cells["freezer"] and cells["freezer"] not in self._gateway.watch.house.freezers:
            raise ValueError(f"there is no freezer {cells['freezer']!r} in the settings that gatewayd runs with")
        return Draft(**cells)


_KNOWN = frozenset(("food", "count", "each", "frozen", "about", "packed", "who", "note", "fresh"))


def _news(news: object) -> Plain:
    """Read what is now known of a package, by the names of `Package`; ValueError for what no page would send."""
    if not isinstance(news, dict) or not news or not news.keys() <= _KNOWN:
        raise ValueError("nothing was said of the package that could be changed")
    found = _checked(news)
    if found.get("food") == "" or found.get("count") == 0:
        raise ValueError("a package has a food, and is used up by use, not by writing that there are none")
    return found


def _checked(cells: Plain) -> Plain:
    """Return fields of a package as they may be kept; ValueError for one that may not."""
    found = dict(cells)
    for name in cells.keys() & LONGEST.keys():
        found[name] = tidy(name, _text(cells, name, LONGEST[name]))
    for name, most in (("count", MOST), ("each", HEAVIEST)):
        if name in cells:
            found[name] = _number(cells, name, most)
    for name in cells.keys() & {"frozen", "since", "number"}:
        if cells[name] is not None and (not isinstance(cells[name], int) or abs(cells[name]) > _LATEST):
            raise ValueError(f"{cells[name]!r} is no {name}")
    for name in cells.keys() & {"about", "fresh"}:
        found[name] = cells[name] is True
    return found


_LATEST = 1 << 45  # wall ms, in the year 3084


def _orders(request: Plain) -> list[int]:
    """Return which orders are to be undone, the newest first; none is the last, whatever it is."""
    orders = request.get("orders", [])
    if not isinstance(orders, list) or not all(isinstance(one, int) for one in orders):
        raise ValueError("what to undo must be numbers of orders")
    return orders


def _text(request: Plain, name: str, longest: int) -> str:
    text = request.get(name, "")
    if not isinstance(text, str) or len(text) > longest:
        raise ValueError(f"{name} must be a text of {longest} characters at most")
    return text


def _number(request: Plain, name: str, most: float) -> float | None:
    value = request.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{name} must be a number, not {value!r}")
    if not 0 <= value <= most:
        raise ValueError(f"{value:g} is out of range for {name}: from 0 to {most:g} is allowed")
    return float(value)


def warning(freezer: Freezer, those: load.Fresh, stocking: Stocking) -> str:
    """Write what it means that so much went in within a day, and what to do."""
    units = stocking.house.units
    weight = said.weight(those.kg, units)
    least, most = said.weight(those.least, units), said.weight(those.most, units)
    about = "" if freezer.volume else ", if it is of the usual size (its volume is not in the settings)"
    more = f" ({those.unweighed} more without a weight)" if those.unweighed else ""
    if those.much is load.Much.FAR_TOO_MUCH:
        begin = f"Too much at once: {weight} of fresh food went into {freezer.name} within a day{more}."
        do = "Take the rest out again now and keep it in the refrigerator, or in another freezer, until tomorrow."
    else:
        begin = f"Careful: {weight} of fresh food went into {freezer.name} within a day{more}."
        do = "Put in nothing more until tomorrow, and lay the packages apart against the walls."
    return (
        f"{begin} It freezes about {least} to {most} in 24 hours{about}; more freezes slowly and warms the rest. {do}"
    )
