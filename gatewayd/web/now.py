"""The front page: one sentence for the house, a row for each freezer, what is due, and the gateway's own health."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from aiohttp import web

from gatewayd.alarm.kinds import CLOCK_UNSET, DISK, STORE
from gatewayd.alarm.table import UNSEEN
from gatewayd.message.house import (
    HEARD_WITHIN,
    STANDING,
    busy,
    headline,
    held,
    holds,
    older,
    trend,
    waits_for_food,
)
from gatewayd.message.plan import HOUSE
from gatewayd.message.words import at, called, capital, clock
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR
from gatewayd.model.units import show_span
from gatewayd.thermal.picture import AS_USUAL
from gatewayd.watch.holding import Case, below, case_of, short
from gatewayd.web.due import way as due_way
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.spoken import sentences
from gatewayd.web.visitor import signed_in

Plain = Mapping[str, Any]

FEW = 3  # of what is due; the rest is a tap away
MOST = 20  # alarms seen with one tap; a freezer has a dozen kinds
NUMBER = re.compile("[1-9][0-9]{0,15}", re.ASCII)
_UNSEEN = {state.value for state in UNSEEN}


@dataclass(frozen=True, slots=True)
class Row:
    """Hold what is said of one freezer; `loud` that its figures are old, `how` how bad it is (empty: well).

    `at` is the order by which somebody says that he is at it, or is done: `at`, `left`, or empty where there is none.
    """

    id: str
    name: str
    place: str
    air: float | None
    trend: str
    state: str
    reserve: str
    heard: str
    loud: bool
    how: str
    at: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Hold what is said of one alarm; `unseen` that it waits for somebody to say that they have seen it.

    `covers` are the numbers of all alarms that its tap is for, none where it has no tap.
    """

    number: int
    text: str
    freezer: str
    unseen: bool
    food: bool
    how: str
    by: str
    covers: tuple[int, ...] = ()


class Now:
    """Answer at /."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/", self.show)
        app.router.add_post("/acknowledge", self.acknowledge)

    async def show(self, request: web.Request) -> web.Response:
        """Show how the house is."""
        home, house = self._home, self._home.house
        status = home.status()
        cases = cases_of(home, status)
        said = headline(house, status["freezers"], status["alarms"], {who: case.event for who, case in cases.items()})
        listed = [one for one in status["alarms"] if not one["hidden"] or older(one, status["freezers"])]
        standing = standing_of(house, sorted(listed, key=lambda one: one["number"] != said.alarm))
        due = (await home.ask({"ask": "due"}, signed_in(request).who)).get("due", [])
        return self._paint.page(
            request,
            "now.html",
            verdict=said,
            told=next((one for one in standing if one.number == said.alarm), None),
            standing=[one for one in standing if one.number != said.alarm],
            rows=[row_of(house, row, cases[row["id"]]) for row in status["freezers"]],
            below=below(list(cases.values()), recorded=True).split("\n") if cases else [],
            quiet=quiet(status),
            due=[due_of(one) for one in due[:FEW]],
            more_due=max(0, len(due) - FEW),
            ails=ails(house, status, home.now().wall),
            hour=HOUR,
        )

    async def acknowledge(self, request: web.Request) -> web.Response:
        """Say of an alarm that somebody has seen it."""
        return await acknowledge(self._home, self._paint, request, "/")


async def acknowledge(home: Home, paint: Paint, request: web.Request, to: str) -> web.Response:
    """Carry out that somebody has seen the alarms of a form, and go on to a page."""
    form = await read_form(request)
    try:
        given, why = form.choices("alarm")[:MOST], form.text("why")
        if not given or not all(NUMBER.fullmatch(one) for one in given):
            raise Wrong("Which alarm was seen must be said by its number.")
    except Wrong as wrong:
        return paint.back(request, to, str(wrong), done=False)
    order, who = {"ask": "order", "verb": "acknowledge", "why": why}, signed_in(request).who
    answers = []
    for place, one in enumerate(given):
        key = f"{form.key}-{place}" if place else form.key
        answers.append(await home.ask({**order, "alarm": int(one), "key": key}, who))
    text = "\n".join(str(one.get("error") or one.get("text")) for one in answers)
    return paint.answered(request, to, {"done": all(one.get("done") is True for one in answers), "text": text})


def cases_of(home: Home, status: Plain) -> dict[str, Case]:
    """Return what there is to say of each freezer's hold-over."""
    now, house = home.now(), home.house
    heard = {row["id"]: row["heard_ago"] for row in status["freezers"]}
    return {
        row["id"]: case_of(row, now, house.units, house.zone, heard.get(row["id"]))
        for row in home.forecast()["freezers"]
    }


def row_of(house: House, row: Plain, case: Case) -> Row:
    """Return what is said of one freezer; not how fast it moves while a compressor goes on and off as usual."""
    ago, value = row["heard_ago"], row["celsius"]
    loud = row["state"] != "no sensor" and (ago is None or ago > HEARD_WITHIN)
    heard = "" if row["state"] == "no sensor" else "not heard yet" if ago is None else f"heard {show_span(ago)} ago"
    if ago is not None and loud:
        heard = f"not heard for {show_span(ago)}"
    elif ago is not None and ago < 5000:
        heard = "heard just now"
    if value is None and row["retained_celsius"] is not None:
        heard = f"the broker kept {house.units.show(row['retained_celsius'])}, age not known"
    known = value is not None and not loud
    well = holds(row, house) and row["state"].startswith("cold enough")
    return Row(
        row["id"],
        row["name"],
        row["place"],
        value,
        "" if not known or (well and case.state == AS_USUAL) else trend(row["speed"], house),
        row["state"],
        short(case),
        heard,
        loud,
        "" if well else "warn",
        "left" if row["quiet_until"] else "" if row["state"] == "no sensor" or busy(row) else "at",
    )


def standing_of(house: House, alarms: Sequence[Plain]) -> list[Standing]:
    """Return what is said of alarms that are listed; one tap is for all alarms of a freezer, at the first of them."""
    said = [_standing(one) for one in alarms]
    waiting: dict[str, list[Standing]] = {}
    for one in said:
        if one.unseen:
            waiting.setdefault(_freezer_of(house, one.freezer), []).append(one)
    covers = {those[0].number: tuple(one.number for one in those) for those in waiting.values()}
    return [replace(one, covers=covers.get(one.number, ())) for one in said]


def _freezer_of(house: House, subject: str) -> str:
    """Return the freezer that the subject of an alarm belongs to, itself where it belongs to none."""
    mine = (one.id for one in house.freezers.values() if subject in (*one.sensors, *one.others))
    return next(mine, subject)


def _standing(alarm: Plain) -> Standing:
    food, unseen = waits_for_food(alarm), alarm["state"] in _UNSEEN
    text = f"{capital(alarm['name'])}: {called(alarm['kind'])}"
    if alarm["state"] in STANDING:
        text += f" for {show_span(alarm['lasted'])}"
    elif food:
        text += f" for {show_span(alarm['lasted'])}; it is over, and the food is to be checked"
    else:
        text += f" for {show_span(alarm['lasted'])}; it is over"
    by = "" if unseen or alarm["acknowledged_by"] == HOUSE else str(alarm["acknowledged_by"])
    if by:
        text += f". {by} has seen it"
    how = "bad" if alarm["priority"] == "high" and alarm["state"] in STANDING else "warn"
    how = how if alarm["priority"] != "low" else ""
    return Standing(alarm["number"], f"{text}.", alarm["subject"], unseen, food, how, by)


def quiet(status: Plain) -> list[str]:
    """Say which alarms are held back, why and until when."""
    said = [f"{row['name']}: {text}" for row in status["freezers"] for text in held(row)]
    return said + [
        f"{capital(alarm['name'])}: {called(alarm['kind'])}; {alarm['by'] or 'another alarm'} speaks for it"
        for alarm in status["suppressed"]
        if not older(alarm, status["freezers"])  # it is listed itself
    ]


def due_of(one: Plain) -> tuple[str, str, str, bool]:
    """Return of something that is due what to do, why, the page on which it is done, and whether it is overdue."""
    what, _, reason = sentences(str(one["text"])).partition(": ")
    way = due_way(one["subject"], one["what"]).to
    if not way and str(one["what"]).startswith("a test switch-off"):
        way = f"/freezer/{one['subject']}"
    return what, reason, way or "/due", one["overdue"]


def ails(house: House, status: Plain, now: int) -> list[str]:
    """Say what ails the gateway itself and its ways to the outside, nothing where all is well."""
    said = [f"{one['name']} is not reachable: {one['reason']}" for one in status["sources"] if not one["up"]]
    said += [f"Messages do not get out by {route}: {why}" for route, why in status.get("failing_routes", {}).items()]
    said += [
        f"The last try by {route} failed {at(clock(wall, now, house.zone))}"
        for route, wall in status["failed_tries"].items()
        if route not in status.get("failing_routes", {})
    ]
    late = status["messages_late"]
    if late:
        said.append(f"{late} {'message waits' if late == 1 else 'messages wait'} to be sent")
    if not any(person.routes for person in house.people.values()):
        said.append("Nobody is told: no person has a way to be reached")
    own = (STORE.name, DISK.name, CLOCK_UNSET.name)
    said += [
        capital(called(one["kind"])) for one in status["alarms"] if one["kind"] in own and one["state"] in STANDING
    ]
    said += [
        f"{one['name']}'s gateway {'is gone' if one['gone'] else 'was never heard'}"
        for one in status["neighbours"]
        if one["gone"] or not one["heard"]
    ]
    return said
