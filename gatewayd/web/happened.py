"""What happened: the warm spells, and each with its curve, its messages, and what the chart says of each package."""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from aiohttp import web

from gatewayd.food import asking
from gatewayd.food.fate import SENSOR, Fate
from gatewayd.message.words import capital, name
from gatewayd.model.excursion import Decision, Excursion
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, from_wall
from gatewayd.store import excursion, spell
from gatewayd.store.carried import Carried
from gatewayd.web.form import read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.shelf import Leaf, leaf
from gatewayd.web.visitor import signed_in

LINES = 10  # warm spells on one page; each costs a look at its readings
WHEN = "%a %d %b %Y, %H:%M"
LONGEST = 60_000  # characters of what a form shows of the food; 5 000 packages make half of it
OTHERWISE = "Something else was said of it meanwhile. Nothing was changed; look again."


@dataclass(frozen=True, slots=True)
class Line:
    """Hold one warm spell as the list shows it; `left` are the packages that still ask, `done` that it was closed."""

    way: str
    name: str
    when: str
    why: str
    goes_on: bool
    peak: float | None
    state: str
    left: int
    thrown: int
    done: bool


@dataclass(frozen=True, slots=True)
class Kept:
    """Hold one package: what it is, what the chart says, why, and what was decided."""

    words: str
    number: str
    ruling: str
    reasons: tuple[str, ...]
    source: str
    became: str
    open: bool


@dataclass(frozen=True, slots=True)
class Account:
    """Hold all that is told of one warm spell of one freezer."""

    number: int
    freezer: str
    name: str
    when: str
    why: str
    dark: bool
    goes_on: bool
    done: bool
    peaks: tuple[str, ...]
    levels: tuple[tuple[str, str, str], ...]
    opened: str
    lids: tuple[tuple[str, int], ...]
    blind: tuple[tuple[str, int], ...]
    told: tuple[tuple[str, str], ...]
    look: str
    boxes: tuple[tuple[str, tuple[Kept, ...]], ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    counts: str
    left: int
    harsh: str  # what the chart throws out and nobody has decided on, by name; empty for nothing
    ready: int  # of those the chart says what becomes of them, and nothing more is asked
    chart: str  # what becomes of those, in words
    shown: str  # and what the chart says of each, for the form to carry
    curve: str  # the address of the freezer's curve at that time
    way: str  # this spell's own address

    @property
    def listed(self) -> bool:
        """Return whether the stock's list has anything of it."""
        return bool(self.boxes)


class Happened:
    """Answer at /what-happened and /what-happened/N."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/what-happened", self.show)
        app.router.add_get(r"/what-happened/{number:\d{1,15}}", self.one)
        app.router.add_post(r"/what-happened/{number:\d{1,15}}/done", self.done)
        app.router.add_post(r"/what-happened/{number:\d{1,15}}/chart", self.chart)

    async def show(self, request: web.Request) -> web.Response:
        """List the warm spells, the last first."""
        house, now = self._home.house, self._home.now().wall

        def work(conn: sqlite3.Connection) -> tuple[Leaf, list[Line]]:
            one_leaf, past = leaf(request, excursion.spells(conn, house)[::-1], LINES), Carried(conn, house, now)
            return one_leaf, [_line(conn, house, each, past, now) for each in one_leaf.rows]

        one_leaf, lines = await self._home.read(work)
        return self._paint.page(request, "happened.html", leaf=one_leaf, lines=lines)

    async def one(self, request: web.Request) -> web.Response:
        """Tell of one warm spell: of one freezer, or of all that it took."""
        accounts = await told_of(self._home, request)
        return self._paint.page(
            request, "happened_one.html", accounts=accounts, first=spell.FIRST, number=accounts[0].number,
            only=request.query.get("freezer", ""), several=len(accounts) > 1, goes_on=spell.GOES_ON,
        )  # fmt: skip

    async def done(self, request: web.Request) -> web.Response:
        """Take down that somebody is done with a freezer, whatever is left to decide."""
        number, form = int(request.match_info["number"]), await read_form(request)
        freezer = form.text("freezer", 80)
        order = {"ask": "excursion", "do": "done", "number": number, "freezer": freezer, "why": "", "key": form.key}
        answer = await self._home.ask(order, signed_in(request).who)
        return self._paint.answered(request, address(number, freezer), answer)

    async def chart(self, request: web.Request) -> web.Response:
        """Do as the chart says with all of a freezer of which it says so, if it still says what the page showed."""
        number, form = int(request.match_info["number"]), await read_form(request)
        freezer, house, now = form.text("freezer", 80), self._home.house, self._home.now().wall

        def work(conn: sqlite3.Connection) -> list[Fate]:
            past = Carried(conn, house, now)
            return [
                fate for each in meant(conn, house, number, freezer) for fate in _ready(conn, each, past.story(each)[1])
            ]

        ready = await self._home.read(work)
        if not ready or asking.rulings(ready) != form.text("shown", LONGEST):
            return self._paint.back(request, address(number, freezer), OTHERWISE, done=False)
        order = {"ask": "excursion", "do": "decide", "decision": "chart", "number": number, "freezer": freezer}
        answer = await self._home.ask(
            {**order, **asking.which(ready), "why": "", "key": form.key}, signed_in(request).who
        )
        return self._paint.answered(request, address(number, freezer), answer)


def address(number: int, freezer: str = "", more: str = "", **query: str) -> str:
    """Return where a warm spell is told of, or what is behind `more` of it."""
    asked = {key: value for key, value in {"freezer": freezer, **query}.items() if value}
    return f"/what-happened/{number}{more}" + (f"?{urlencode(asked)}" if asked else "")


async def told_of(home: Home, request: web.Request) -> list[Account]:
    """Return the warm spells of the number and perhaps the freezer of an address. Raise HTTPNotFound for none."""
    house, now = home.house, home.now().wall
    number, freezer = int(request.match_info["number"]), request.query.get("freezer", "")

    def work(conn: sqlite3.Connection) -> list[Account]:
        past = Carried(conn, house, now)
        return [account(conn, house, each, past, now) for each in meant(conn, house, number, freezer)]

    return await home.read(work)


def meant(conn: sqlite3.Connection, house: House, number: int, freezer: str = "") -> list[Excursion]:
    """Return the warm spells of a number, perhaps only of one freezer. Raise HTTPNotFound for none."""
    found = excursion.numbered(excursion.spells(conn, house), number, freezer or None)
    if not found:
        where = f" of the freezer {freezer!r}" if freezer else ""
        raise web.HTTPNotFound(text=f"There is no warm spell {number}{where}. Look at the page “What happened”.")
    return found


def _line(conn: sqlite3.Connection, house: House, each: Excursion, past: Carried, now: int) -> Line:
    seen, those = past.story(each)
    finished = excursion.done(conn, each)
    return Line(
        address(each.number, each.freezer),
        name(each.freezer, house),
        spell.when(each, house, now),
        capital(spell.why(each)),
        each.ended is None,
        seen.curve.peak,
        capital(spell.state(those, done=finished)),
        sum(fate.open for fate in those),
        sum(fate.decision is Decision.THROWN for fate in those),
        finished,
    )


def account(conn: sqlite3.Connection, house: House, each: Excursion, past: Carried, now: int) -> Account:
    """Return all that is told of a warm spell."""
    seen, those = past.story(each)
    listed, ready = spell.listed(those), _ready(conn, each, those)
    zone, until = house.zone, each.ended or now
    by_sensor = bool(listed) and all(fate.by == SENSOR for fate in listed)
    end = from_wall(min(now, until + HOUR)).astimezone(zone).isoformat(timespec="seconds")
    return Account(
        each.number,
        each.freezer,
        name(each.freezer, house),
        spell.when(each, house, now),
        spell.why(each),
        each.dark,
        each.ended is None,
        excursion.done(conn, each),
        tuple(spell.peaks(seen, house)),
        tuple(spell.levels(seen, house)),
        spell.opened(seen),
        tuple((spell.hour(begin, house), shut - begin) for begin, shut in seen.curve.openings),
        tuple((f"{from_wall(begin).astimezone(zone):{WHEN}}", shut - begin) for begin, shut in seen.blind),
        tuple((f"{from_wall(at).astimezone(zone):{WHEN}}", text) for at, text in spell.told(conn, house, each, now)),
        spell.COLD if by_sensor else spell.LOOK,
        tuple(_boxes(listed, house)),
        tuple(dict.fromkeys(caution for fate in listed for caution in fate.cautions)),
        tuple(dict.fromkeys(fate.verdict.source for fate in listed)),
        capital(spell.counts(listed)),
        sum(fate.open for fate in listed),
        spell.harsh(listed),
        len(ready),
        ", ".join(f"{what.lower()}: {many}" for what, many in Counter(map(asking.brought, ready)).items()),
        asking.rulings(ready),
        f"/freezer/{each.freezer}?{urlencode({'span': 'week', 'until': end})}",
        address(each.number, each.freezer),
    )


def _ready(conn: sqlite3.Connection, each: Excursion, those: Sequence[Fate]) -> list[Fate]:
    """Return what can be decided by the chart at once; nothing while it is warm still."""
    said = asking.spoke_of_juice(those, excursion.findings(conn, each))
    return [] if each.ended is None else asking.ready(those, said)


def _boxes(those: Sequence[Fate], house: House) -> list[tuple[str, tuple[Kept, ...]]]:
    found: dict[str, tuple[str, list[Kept]]] = {}
    for fate in those:
        found.setdefault(fate.item.box.id, (fate.item.box.name, []))[1].append(_kept(fate, house))
    return [(title, tuple(rows)) for title, rows in found.values()]


def _kept(fate: Fate, house: House) -> Kept:
    return Kept(
        spell.words(fate, house),
        "" if fate.item.package is None else str(fate.item.package.id),
        capital(spell.ruling(fate)),
        tuple(spell.reasons(fate, house)),
        fate.verdict.source,
        spell.became(fate, house),
        fate.open,
    )
