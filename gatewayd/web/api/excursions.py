"""JSON of the warm spells: what was seen, what the published chart says of each package, and what was decided."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Any

from gatewayd.food import said
from gatewayd.food.fate import Fate
from gatewayd.food.seen import Seen
from gatewayd.message.words import name
from gatewayd.model.excursion import Answer, Decision, Excursion, Ruling
from gatewayd.model.house import House
from gatewayd.model.moment import iso
from gatewayd.store import carried, excursion
from gatewayd.web.api.operation import Call, Done, Keyed, Operation, Refused
from gatewayd.web.api.says import LISTED, Amount, BoxId, Celsius, Hours, Id, Kilograms, Number, Says, Stamp, Words

MOST = 100  # spells of one list; each is judged anew from the readings, some 10 ms each
HOURS = Annotated[float, Says("h; from 0 on.", least=0, most=10_000)]
Numbers = Annotated[tuple[Number, ...], Says("Numbers of packages.", longest=LISTED)]
BoxIds = Annotated[tuple[BoxId, ...], Says("Ids of boxes.", longest=LISTED)]


class Order(Enum):
    """Name what may be decided; `chart` does what the chart says and leaves open what it leaves open."""

    KEEP = "keep"
    REFREEZE = "refreeze"
    THROW = "throw"
    CHART = "chart"


@dataclass(frozen=True, slots=True)
class Spell:
    """A warm spell of one freezer: `number` is the event that opened it, `why` the kinds of alarm that made it.

    `dark` says that nobody watched in a part of it. `peak_c` is the warmest air at its warmest sensor. `to_decide`
    counts what is still to be decided on, `done` says that somebody was done with it all the same.
    """

    number: int
    freezer: str
    name: str
    began: Stamp
    ended: Stamp | None
    why: tuple[str, ...]
    dark: bool
    peak_c: Celsius | None
    packages: int
    to_decide: int
    done: bool


@dataclass(frozen=True, slots=True)
class Spells:
    """Warm spells, the newest first."""

    excursions: tuple[Spell, ...]


@dataclass(frozen=True, slots=True)
class Sight:
    """What the warmest sensor said at a moment of a spell."""

    at: Stamp
    celsius: Celsius


@dataclass(frozen=True, slots=True)
class Opening:
    """A lid was open."""

    began: Stamp
    ended: Stamp


@dataclass(frozen=True, slots=True)
class Told:
    """A message about a spell, to whom and by which routes."""

    event: int
    person: str
    stage: str
    title: str
    at: Stamp
    routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Food:
    """One package, or a box that nobody listed (`package` null): what was found, what the chart says, what is decided.

    `answered_by` is a person, the sensor, or nobody; `again` says that somebody looked, but it was warm for long since.
    `unsaid` asks whether juice of raw meat touched it. `cautions` must be read with the ruling.
    """

    package: int | None
    box: str
    box_name: str
    food: str
    words: str | None
    kg: Kilograms | None
    answer: Answer
    answered_by: str
    hours: Hours | None
    touched: bool
    again: bool
    unsaid: bool
    ruling: Ruling
    rule: str
    source: str
    cautions: tuple[str, ...]
    strict: str
    decision: Decision | None
    decided_by: str
    decided_at: Stamp | None
    thrown_kg: Kilograms
    gone: bool


@dataclass(frozen=True, slots=True)
class Whole:
    """All that is known of a warm spell.

    `hours_above` is for how long the air was surely above a level (°C), `hours_above_at_most` the same if every gap was
    warm; `not_heard_h` the gaps. `core_estimate_c` is an estimate from the air and decides nothing.
    """

    spell: Spell
    peak_at: Stamp | None
    hours_above: dict[str, Hours]
    hours_above_at_most: dict[str, Hours]
    not_heard_h: Hours
    core_estimate_c: Celsius | None
    curve: tuple[Sight, ...]
    lid_open: tuple[Opening, ...]
    messages: tuple[Told, ...]
    food: tuple[Food, ...]


@dataclass(frozen=True, slots=True)
class Wholes:
    """One spell, or one a freezer where the power failed for several."""

    excursions: tuple[Whole, ...]


@dataclass(frozen=True, slots=True)
class OfSpell:
    """Which warm spell: the number of any of its events."""

    number: Number


@dataclass(frozen=True, slots=True)
class Listed:
    """How many."""

    most: Annotated[int, Says("How many of the newest.", least=1, most=MOST)] = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish(Keyed):
    """Somebody is done with the food of a spell, whatever is left undecided."""

    freezer: Id | None = None
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen(Keyed):
    """Which food of a spell: packages, boxes, or all. Only of one freezer if that is said."""

    packages: Numbers = ()
    boxes: BoxIds = ()
    all: bool = False
    freezer: Id | None = None
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Find(Chosen):
    """What somebody found: `answer`, or whether raw juice `touched` it; of packages, of boxes, or of all.

    `hours` is for how long it was above 4.4 °C (40 °F), with the answer warm. Only of one freezer if that is said.
    """

    answer: Answer | None = None
    touched: bool | None = None
    hours: HOURS | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decide(Chosen):
    """What becomes of packages, of boxes, or of all; `count` is how many of one package are thrown out.

    To keep what the chart throws out needs `anyway`. Only of one freezer if that is said.
    """

    decision: Order
    count: Amount | None = None
    anyway: bool = False


# -- looking ---------------------------------------------------------------------------------------------------


def _listed(those: list[Fate]) -> list[Fate]:
    """Leave out what was used up and so is neither judged nor lost."""
    return [fate for fate in those if not fate.gone or fate.decision is not None or fate.thrown or fate.unweighed]


def _spell(conn: sqlite3.Connection, house: House, spell: Excursion, seen: Seen, those: list[Fate]) -> Spell:
    return Spell(
        spell.number, spell.freezer, name(spell.freezer, house), iso(spell.began, house.zone),
        None if spell.ended is None else iso(spell.ended, house.zone), tuple(spell.why), spell.dark, seen.curve.peak,
        len(_listed(those)), sum(fate.open for fate in those), excursion.done(conn, spell),
    )  # fmt: skip


def _whole(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> Whole:
    seen, those = carried.story(conn, house, spell, now)
    curve, zone = seen.curve, house.zone
    told, _ = excursion.messages(conn, spell, now)
    return Whole(
        _spell(conn, house, spell, seen, those),
        None if curve.peak_at is None else iso(curve.peak_at, zone),
        dict(curve.above), dict(curve.at_most), curve.gaps, curve.core,
        tuple(Sight(iso(at, zone), value) for at, value in curve.points),
        tuple(Opening(iso(begin, zone), iso(end, zone)) for begin, end in curve.openings),
        tuple(
            Told(one.event, one.person, one.stage, one.title, iso(one.at, zone),
                 tuple(f"{route}: {progress.value}" for route, progress, _ in one.ways))
            for one in told
        ),
        tuple(_food(fate, house) for fate in _listed(those)),
    )  # fmt: skip


def _food(fate: Fate, house: House) -> Food:
    package, verdict = fate.item.package, fate.verdict
    return Food(
        None if package is None else package.id, fate.item.box.id, fate.item.box.name, fate.item.food,
        None if package is None else said.package(package, house.zone, house.units),
        None if package is None else package.weight,
        fate.answer, fate.by, fate.hours, fate.touched, fate.again, fate.unsaid,
        verdict.ruling, verdict.rule, verdict.source, fate.cautions, verdict.strict,
        fate.decision, fate.decided_by, None if fate.decided_at is None else iso(fate.decided_at, house.zone),
        fate.thrown, fate.gone,
    )  # fmt: skip


async def spells(call: Call) -> Spells:
    """Return the newest warm spells."""
    house, now, most = call.home.house, call.home.now().wall, call.query.most

    def look(conn: sqlite3.Connection) -> Spells:
        past = carried.Carried(conn, house, now)
        found = excursion.spells(conn, house)[-most:][::-1]
        return Spells(tuple(_spell(conn, house, each, *past.story(each)) for each in found))

    return await call.home.read(look)


async def one_spell(call: Call) -> Wholes:
    """Return all that is known of a warm spell."""
    house, now, number = call.home.house, call.home.now().wall, call.path.number

    def look(conn: sqlite3.Connection) -> Wholes:
        those = excursion.numbered(excursion.spells(conn, house), number)
        return Wholes(tuple(_whole(conn, house, each, now) for each in those))

    found = await call.home.read(look)
    if not found.excursions:
        raise Refused(f"There is no warm spell {number}.", 404)
    return found


# -- orders ----------------------------------------------------------------------------------------------------


def order(verb: str) -> Callable[[Call], Any]:
    """Return what hands an order about a warm spell in at the door."""

    async def work(call: Call) -> Done:
        body = call.body
        request: dict[str, Any] = {"ask": "excursion", "do": verb, "number": call.path.number}
        for field in ("answer", "touched", "hours", "decision", "count", "anyway", "all", "freezer", "why"):
            value = getattr(body, field, None)
            request[field] = value.value if isinstance(value, Enum) else value
        request["why"] = request["why"] or ""
        request |= {field: list(getattr(body, field, ())) for field in ("packages", "boxes")}
        return await call.order(request)

    return work


ABOUT = "Warm spells"
OPERATIONS = (
    Operation(ABOUT, "excursions", "/excursions", "The warm spells, the newest first.", Spells, spells, query=Listed),
    Operation(
        ABOUT, "excursion", "/excursions/{number}", "All that is known of a warm spell, package by package.",
        Wholes, one_spell, OfSpell,
    ),
    Operation(
        ABOUT, "answer", "/excursions/{number}/answer", "This is what I found.",
        Done, order("answer"), OfSpell, body=Find,
    ),
    Operation(
        ABOUT, "decide", "/excursions/{number}/decide", "This becomes of the food.",
        Done, order("decide"), OfSpell, body=Decide,
    ),
    Operation(
        ABOUT, "doneWith", "/excursions/{number}/done", "I am done with the food of this spell.",
        Done, order("done"), OfSpell, body=Finish,
    ),
    Operation(
        ABOUT, "undoDecision", "/excursions/{number}/undo", "Undo the last decision.",
        Done, order("undo"), OfSpell, body=Keyed,
    ),
)  # fmt: skip
