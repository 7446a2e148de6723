"""The front page: one sentence for the house, a row for each freezer, what is due, and the gateway's own health."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from gatewayd.alarm.kinds import CLOCK_UNSET, DISK, STORE
from gatewayd.alarm.table import UNSEEN
from gatewayd.message.house import HEARD_WITHIN, STANDING, headline, held, holds, older, trend, waits_for_food
from gatewayd.message.words import called, capital
from gatewayd.model.house import House
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
_UNSEEN = {state.value for state in UNSEEN}


@dataclass(frozen=True, slots=True)
class Row:
    """Hold what is said of one freezer; `loud` that its figures are old, `how` how bad it is (empty: well)."""

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


@dataclass(frozen=True, slots=True)
class Standing:
    """Hold what is said of one alarm; `unseen` that it waits for somebody to say that they have seen it."""

    number: int
    text: str
    freezer: str
    unseen: bool
    food: bool
    how: str
    by: str


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
        standing = [standing_of(one) for one in status["alarms"] if not one["hidden"] or older(one, status["freezers"])]
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
            ails=ails(house, status),
        )

    async def acknowledge(self, request: web.Request) -> web.Response:
        """Say of an alarm that somebody has seen it."""
        return await acknowledge(self._home, self._paint, request, "/")


async def acknowledge(home: Home, paint: Paint, request: web.Request, to: str) -> web.Response:
    """Carry out that somebody has seen the alarm of a form, and go on to a page."""
    form = await read_form(request)
    try:
        number = form.number("alarm", 1, 2**53)
        if number is None:
            raise Wrong("Which alarm was seen must be said.")
    except Wrong as wrong:
        return paint.back(request, to, str(wrong), done=False)
    order = {"ask": "order", "verb": "acknowledge", "alarm": int(number), "why": form.text("why"), "key": form.key}
    return paint.answered(request, to, await home.ask(order, signed_in(request).who))


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
    )


def standing_of(alarm: Plain) -> Standing:
    """Return what is said of one alarm that is listed."""
    food, unseen = waits_for_food(alarm), alarm["state"] in _UNSEEN
    text = f"{capital(alarm['name'])}: {called(alarm['kind'])}"
    if alarm["state"] in STANDING:
        text += f" for {show_span(alarm['lasted'])}"
    elif food:
        text += f" for {show_span(alarm['lasted'])}; it is over, and the food is to be checked"
    else:
        text += f" for {show_span(alarm['lasted'])}; it is over"
    by = "" if unseen else str(alarm["acknowledged_by"])
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
    ]


def due_of(one: Plain) -> tuple[str, str, str, bool]:
    """Return of something that is due what to do, why, the page on which it is done, and whether it is overdue."""
    what, _, reason = sentences(str(one["text"])).partition(": ")
    way = due_way(one["subject"], one["what"]).to
    if not way and str(one["what"]).startswith("a test switch-off"):
        way = f"/freezer/{one['subject']}"
    return what, reason, way or "/due", one["overdue"]


def ails(house: House, status: Plain) -> list[str]:
    """Say what ails the gateway itself and its ways to the outside, nothing where all is well."""
    said = [f"{one['name']} is not reachable: {one['reason']}" for one in status["sources"] if not one["up"]]
    said += [f"Messages do not get out by {route}: {why}" for route, why in status.get("failing_routes", {}).items()]
    waiting = status.get("messages_waiting", 0)
    if waiting:
        said.append(f"{waiting} {'message waits' if waiting == 1 else 'messages wait'} to be sent")
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
