"""JSON of the upkeep: defrosts, frost, what was done, test switch-offs and checks in ice."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from gatewayd.model.chore import Kind
from gatewayd.model.event import Fact
from gatewayd.model.moment import iso
from gatewayd.model.pack import unpack
from gatewayd.store import calibration, chore, frost
from gatewayd.upkeep.defrost import KEYS
from gatewayd.upkeep.frost import THICKEST
from gatewayd.watch.defrosting import (
    BEGIN_DEFROST,
    CANCEL,
    END_DEFROST,
    PLANNED,
    PLANNED_LEAST,
    PLANNED_MOST,
    STEP_DEFROST,
)
from gatewayd.watch.hindrance import ANYWAY
from gatewayd.watch.switchoff import BEGIN
from gatewayd.web.api.events import OfSensor
from gatewayd.web.api.house import Defrosting
from gatewayd.web.api.operation import Call, Done, Keyed, OfFreezer, Operation, Refused, freezer
from gatewayd.web.api.says import Celsius, Kelvin, Says, Span, Stamp, Words

Millimetres = Annotated[float, Says("mm")]
Step = Annotated[str, Says(f"A step of a defrost: {', '.join(KEYS)}.", pattern="|".join(KEYS))]


@dataclass(frozen=True, slots=True)
class DefrostDue:
    """Why a freezer is to be defrosted, and by when; `early` and `late` are the likely range."""

    why: str
    by: Stamp
    overdue: bool
    early: Stamp | None
    late: Stamp | None
    text: str


@dataclass(frozen=True, slots=True)
class Ice:
    """How the frost grows by the log: now, and in a month with one sigma."""

    now_mm: Millimetres
    mm_a_month: Millimetres | None
    mm_a_month_off: Millimetres | None
    readings: int
    earlier_seasons: int


@dataclass(frozen=True, slots=True)
class GoodDay:
    """A good day for it, and why."""

    at: Stamp
    why: str


@dataclass(frozen=True, slots=True)
class DefrostPlan:
    """When a freezer is to be defrosted: the last time, what says so, and how far a defrost is that runs."""

    id: str
    name: str
    last: Stamp | None
    due: tuple[DefrostDue, ...]
    frost: Ice | None
    good_day: GoodDay | None
    running: Defrosting | None


@dataclass(frozen=True, slots=True)
class DefrostPlans:
    """When the freezers are to be defrosted."""

    freezers: tuple[DefrostPlan, ...]


@dataclass(frozen=True, slots=True)
class Thickness:
    """A line of the frost log."""

    freezer: str
    at: Stamp
    mm: Millimetres
    who: str
    note: str


@dataclass(frozen=True, slots=True)
class FrostLog:
    """The frost log, the newest first."""

    frost: tuple[Thickness, ...]


@dataclass(frozen=True, slots=True)
class Chore:
    """Something that was done for a freezer, a sensor or the house (`subject`, an id)."""

    id: int
    at: Stamp
    subject: str
    kind: Kind
    who: str
    facts: dict[str, Fact]


@dataclass(frozen=True, slots=True)
class Chores:
    """What was done, the newest first."""

    chores: tuple[Chore, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """How a check of a probe in ice stands. `was_k` is what was added to its readings before, `offset_k` what would be.

    `stage` is null where none runs. `raw_c` is what it says now, `steady_ms` for how long it stood still; `mean_c` and
    `spread_k` are those of the `count` readings that are taken.
    """

    sensor: str
    name: str
    freezer: str | None
    running: bool
    was_k: Kelvin
    stage: str | None = None
    readings: int = 0
    raw_c: Celsius | None = None
    steady_ms: Span | None = None
    count: int = 0
    mean_c: Celsius | None = None
    spread_k: Kelvin | None = None
    offset_k: Kelvin | None = None
    until: Stamp | None = None


@dataclass(frozen=True, slots=True)
class Offset:
    """What a former check found."""

    at: Stamp
    quantity: str
    offset_k: Kelvin
    who: str


@dataclass(frozen=True, slots=True)
class Offsets:
    """What former checks of a sensor found, the oldest first."""

    checks: tuple[Offset, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Start(Keyed):
    """For how long a defrost is planned; `anyway` also where it has been too warm. Again: more time."""

    span: Annotated[int, Says("ms, 15 min to 3 h.", least=PLANNED_LEAST, most=PLANNED_MOST)] = PLANNED
    anyway: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDone(Keyed):
    """Which step is done; null: the next of the list."""

    step: Step | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DefrostEnd(Keyed):
    """It is switched on again (which must be true) and the food is in; how much ice came out, like: 3 kg."""

    switched_on: bool
    ice: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured(Keyed):
    """How thick the frost is now, and a word on it."""

    mm: Annotated[float, Says("mm", least=0, most=THICKEST)]
    note: Annotated[str, Says("Words of a person.", longest=200)] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoreDone(Keyed):
    """What was done for a freezer, a sensor or the house; a check in ice writes itself down."""

    subject: Annotated[str, Says("An id.", shortest=1, longest=40)]
    kind: Kind
    note: Words = ""


async def plans(call: Call) -> DefrostPlans:
    """Return when the freezers are to be defrosted."""
    answer = await call.home.ask({"ask": "defrost", "do": "plan"}, call.visitor.who)
    if "freezers" not in answer:
        raise Refused(str(answer.get("error", "It cannot be read now.")), 503)
    found: DefrostPlans = unpack(DefrostPlans, answer)
    return found


async def start(call: Call) -> Done:
    """Begin a defrost."""
    await call.home.ask({"ask": "due"}, call.visitor.who)  # so that the house knows what has been decided on up to now
    why = ANYWAY if call.body.anyway else ""
    return await call.alarm_order(BEGIN_DEFROST, subject=freezer(call), why=why, span=call.body.span)


async def step(call: Call) -> Done:
    """Say that a step is done."""
    done = call.body.step
    return await call.alarm_order(STEP_DEFROST, subject=freezer(call), why=done or "")


async def finish(call: Call) -> Done:
    """End a defrost."""
    if not call.body.switched_on:
        raise Refused("It is not finished: switch it back on, shut it, hear that it runs; then say it once more.")
    return await call.alarm_order(END_DEFROST, subject=freezer(call), why=call.body.ice)


async def cancel(call: Call) -> Done:
    """Say that a defrost came to nothing."""
    return await call.alarm_order(STEP_DEFROST, subject=freezer(call), why=CANCEL)


async def begin_test(call: Call) -> Done:
    """Begin a test switch-off."""
    return await call.alarm_order(BEGIN, subject=freezer(call))


async def end_test(call: Call) -> Done:
    """End a test switch-off."""
    return await call.alarm_order("end the test", subject=freezer(call))


async def frost_log(call: Call) -> FrostLog:
    """Return the frost log."""
    zone = call.home.house.zone
    found = await call.home.read(frost.rows)
    return FrostLog(tuple(Thickness(r.freezer, iso(r.at, zone), r.mm, r.who, r.note) for r in reversed(found)))


async def measured(call: Call) -> Done:
    """Write down how thick the frost is."""
    body: Measured = call.body
    return await call.order(
        {"ask": "frost", "do": "add", "freezer": freezer(call), "mm": body.mm, "note": body.note}
    )  # fmt: skip


async def chores(call: Call) -> Chores:
    """Return what was done."""
    zone = call.home.house.zone
    found = await call.home.read(chore.chores)
    return Chores(
        tuple(Chore(o.id, iso(o.at, zone), o.subject, o.kind, o.who, dict(o.facts)) for o in reversed(found))
    )  # fmt: skip


async def chore_done(call: Call) -> Done:
    """Write down what was done."""
    body: ChoreDone = call.body
    return await call.order(
        {"ask": "chore", "do": "add", "subject": body.subject, "kind": body.kind.value, "note": body.note}
    )  # fmt: skip


def _sensor(call: Call) -> str:
    sensor, house = str(call.path.sensor), call.home.house
    if sensor not in house.sensors:
        raise Refused(f"There is no sensor {sensor!r}; there are: {', '.join(house.sensors) or 'none'}.", 404)
    return sensor


async def check(call: Call) -> Check:
    """Return how a check in ice stands."""
    answer = await call.home.ask({"ask": "calibrate", "do": "state", "sensor": _sensor(call)}, call.visitor.who)
    if answer.get("done") is not True:
        raise Refused(str(answer.get("error", "It cannot be checked.")), 404)
    found: Check = unpack(Check, answer)
    return found


async def checks(call: Call) -> Offsets:
    """Return what former checks found."""
    sensor, zone = _sensor(call), call.home.house.zone
    found = await call.home.read(lambda conn: calibration.offsets(conn, sensor))
    return Offsets(tuple(Offset(iso(c.since, zone), c.quantity.value, c.offset, c.who) for c in found))


def ice(verb: str, text: str = "") -> Callable[[Call], Any]:
    """Return what gives an order about a check in ice; `text` is said where the door says nothing."""

    async def work(call: Call) -> Done:
        done = await call.order({"ask": "calibrate", "do": verb, "sensor": _sensor(call)})
        return Done(done=True, text=text) if text else done

    return work


ABOUT = "Upkeep"
_AT, _CHECK = "/freezers/{freezer}", "/sensors/{sensor}/check"
OPERATIONS = (
    Operation(ABOUT, "defrostPlan", "/defrost", "When each freezer is to be defrosted, and why.", DefrostPlans, plans),
    Operation(
        ABOUT, "defrostStart", f"{_AT}/defrost/start", "A defrost begins; alarms are held for a while.",
        Done, start, OfFreezer, body=Start,
    ),
    Operation(
        ABOUT, "defrostStep", f"{_AT}/defrost/step", "A step of it is done.", Done, step, OfFreezer, body=StepDone
    ),
    Operation(
        ABOUT, "defrostFinish", f"{_AT}/defrost/finish", "It is switched on again, and the food is in.",
        Done, finish, OfFreezer, body=DefrostEnd,
    ),
    Operation(
        ABOUT, "defrostCancel", f"{_AT}/defrost/cancel", "It came to nothing; alarms count again at once.",
        Done, cancel, OfFreezer, body=Keyed,
    ),
    Operation(
        ABOUT, "testBegin", f"{_AT}/test-off/begin", "It is switched off for a test of three hours.",
        Done, begin_test, OfFreezer, body=Keyed,
    ),
    Operation(
        ABOUT, "testEnd", f"{_AT}/test-off/end", "It is on again: the test ends.", Done, end_test, OfFreezer, body=Keyed
    ),
    Operation(ABOUT, "frostLog", "/frost", "How thick the frost was, the newest first.", FrostLog, frost_log),
    Operation(
        ABOUT, "frost", f"{_AT}/frost", "This is how thick the frost is.", Done, measured, OfFreezer, body=Measured
    ),
    Operation(ABOUT, "chores", "/chores", "What was done, the newest first.", Chores, chores),
    Operation(ABOUT, "chore", "/chores", "This was done.", Done, chore_done, body=ChoreDone),
    Operation(ABOUT, "check", _CHECK, "How a check of a probe in ice stands.", Check, check, OfSensor),
    Operation(ABOUT, "checks", "/sensors/{sensor}/checks", "What former checks found.", Offsets, checks, OfSensor),
    Operation(
        ABOUT, "checkBegin", f"{_CHECK}/begin", "The probe is taken out for a check in ice.",
        Done, ice("begin", "Begun: put it into the ice now. It ends after two hours at the latest."), OfSensor,
        body=Keyed,
    ),
    Operation(
        ABOUT, "checkKeep", f"{_CHECK}/keep", "Store what was found.", Done, ice("keep"), OfSensor, body=Keyed
    ),
    Operation(
        ABOUT, "checkEnd", f"{_CHECK}/end", "End the check, store nothing.", Done, ice("end"), OfSensor, body=Keyed
    ),
)  # fmt: skip
