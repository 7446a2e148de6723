"""JSON of the house as it is now: freezers, forecast, sensors, what is due, and who is asking."""

from dataclasses import dataclass
from typing import Annotated

from gatewayd.model.pack import unpack
from gatewayd.model.units import TemperatureUnit
from gatewayd.web.api.operation import Call, Done, Keyed, OfFreezer, Operation, Refused, freezer
from gatewayd.web.api.says import Celsius, Kelvin, Said, Says, Share, Span, Stamp, Words
from gatewayd.web.gate import HEADER


@dataclass(frozen=True, slots=True)
class Defrosting:
    """A defrost that runs: by whom, since when, planned until when, and how long its alarms are held at most.

    `steps` says when each step was done, `next` which one follows; `food_out` for how long the food has been out;
    `ended` when it was switched on again; `warmest` the warmest air since.
    """

    who: str
    began: Stamp
    until: Stamp
    quiet_until: Stamp | None
    steps: dict[str, Stamp]
    next: str | None
    food_out: Span | None
    ended: Stamp | None
    warmest: Celsius | None


@dataclass(frozen=True, slots=True)
class TestOff:
    """A test switch-off that runs: by whom, since when, until when; how long alarms are held at most."""

    who: str
    began: Stamp
    until: Stamp
    ended: Stamp | None
    quiet_until: Stamp | None


@dataclass(frozen=True, slots=True)
class Freezer:
    """A freezer now: the air at its warmest good probe, how long ago it was heard, and its state in words.

    `speed` is how fast it warms, K per hour. `left_alone` says why it should not be defrosted or switched off now, null
    where nothing speaks against it. `quiet_until` is until when somebody at the freezer keeps its alarms quiet.
    `retained_celsius` is what its broker had kept, of unknown age, where nothing was heard.
    """

    id: str
    name: str
    place: str
    celsius: Celsius | None
    heard_ago: Span | None
    speed: Kelvin | None
    state: str
    left_alone: str | None
    quiet_until: Stamp | None
    defrost: Defrosting | None
    test: TestOff | None
    retained_celsius: Celsius | None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm that stands or waits for somebody: `subject` is an id, `name` what people call it, `words` the kind.

    `state` is one of ISA-18.2. `lasted` runs until it was over. `acknowledged_by` is who saw it, empty where nobody
    did. `suppressed_by` names what speaks in its place. `until` and `by` say until when and by whom it is kept quiet.
    """

    number: int
    subject: str
    name: str
    kind: str
    words: str
    state: str
    priority: str
    since: Stamp
    lasted: Span
    acknowledged_by: str
    suppressed_by: str
    until: Stamp | None
    by: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another household's gateway: how long ago it gave a sign of life, and whether it said that it went."""

    id: str
    name: str
    heard: int
    heard_ago: Span | None
    gone: bool


@dataclass(frozen=True, slots=True)
class Source:
    """Where readings come from: whether it is up, since when, and why."""

    id: str
    name: str
    up: bool
    since: Stamp
    reason: str


@dataclass(frozen=True, slots=True)
class House:
    """The house at a glance. `units` is the scale its people read; all temperatures in the JSON are in °C.

    `shelved` are alarms that a person keeps quiet, `suppressed` those for which another alarm speaks. `failing_routes`
    are the ways to reach people that do not work, `messages_waiting` is how many messages are not sent yet.
    """

    house: str
    at: Stamp
    units: TemperatureUnit
    freezers: tuple[Freezer, ...]
    alarms: tuple[Alarm, ...]
    shelved: tuple[Alarm, ...]
    suppressed: tuple[Alarm, ...]
    neighbours: tuple[Neighbour, ...]
    sources: tuple[Source, ...]
    failing_routes: tuple[str, ...]
    messages_waiting: int


@dataclass(frozen=True, slots=True)
class Freezers:
    """All freezers."""

    freezers: tuple[Freezer, ...]


@dataclass(frozen=True, slots=True)
class Sensor:
    """How a sensor does: what it measures and said last, how often it reports, what it missed, battery and signal.

    `missed` is the share of a day's reports that did not come. `signal` is in dBm. `battery_unit` is the unit of
    `battery_trend`, which is its change within a week. `bad`, `unreadable` and `notes` count what it could not say, by
    reason. `offset` is what a check in ice found, and is in its readings already.
    """

    id: str
    name: str
    source: str
    channel: str
    freezer: str | None
    room_of: tuple[str, ...]
    measures: str
    state: str | None
    celsius: Celsius | None
    quality: str | None
    heard_ago: Span | None
    heard: int
    interval_told: Span | None
    interval_learnt: Span | None
    interval_seen: Span | None
    silent_after: Span
    missed: Share | None
    battery: float | None
    battery_trend: float | None
    battery_unit: str
    voltage: float | None
    signal: int | None
    signal_mean: float | None
    signal_weakest: int | None
    advice: str | None
    reboots: int
    notes: dict[str, int]
    late: int
    retained: int
    retained_celsius: Celsius | None
    repeats: int
    bad: dict[str, int]
    unreadable: dict[str, int]
    offset: Kelvin
    assumed_interval: Span | None


@dataclass(frozen=True, slots=True)
class Sensors:
    """All sensors."""

    sensors: tuple[Sensor, ...]


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do: `what`, by when (null: no day), why, and all of it in a line."""

    subject: str
    name: str
    what: str
    by: Stamp | None
    reason: str
    overdue: bool
    text: str


@dataclass(frozen=True, slots=True)
class DueList:
    """What is due, the worst first."""

    due: tuple[Due, ...]


@dataclass(frozen=True, slots=True)
class Me:
    """Who is asking, whether they may order, and the word that each order must carry in the header `header`."""

    who: str
    name: str
    may_order: bool
    form_word: str | None
    header: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AtIt(Keyed):
    """Somebody is at a freezer: for how long its alarms stay quiet, an hour unless said otherwise, and a word on it."""

    span: Annotated[int, Says("ms, 12 h at most; 0 stands for an hour.", least=0, most=12 * 3_600_000)] = 0
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left(Keyed):
    """Somebody is no longer at a freezer, and a word on it."""

    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Keyed):
    """What was decided about the food in a freezer."""

    why: Said


async def now(call: Call) -> House:
    """Return the house at a glance."""
    found: House = unpack(House, call.home.status())
    return found


async def freezers(call: Call) -> Freezers:
    """Return all freezers."""
    found: Freezers = unpack(Freezers, call.home.status())
    return found


async def one_freezer(call: Call) -> Freezer:
    """Return one freezer."""
    wanted = freezer(call)
    found = next((each for each in call.home.status()["freezers"] if each["id"] == wanted), None)
    if found is None:
        raise Refused(f"Nothing is known of {wanted} yet.", 404)
    one: Freezer = unpack(Freezer, found)
    return one


async def sensors(call: Call) -> Sensors:
    """Return all sensors."""
    found: Sensors = unpack(Sensors, {"sensors": call.home.health()})
    return found


async def due(call: Call) -> DueList:
    """Return what is due."""
    found: DueList = unpack(DueList, await call.home.ask({"ask": "due"}, call.visitor.who))
    return found


async def me(call: Call) -> Me:
    """Return who is asking."""
    seen = call.visitor
    return Me(seen.who, seen.name, seen.may_order, seen.csrf if seen.may_order else None, HEADER)


async def at_it(call: Call) -> Done:
    """Keep a freezer quiet."""
    return await call.alarm_order("at the freezer", subject=freezer(call), span=call.body.span, why=call.body.why)


async def left(call: Call) -> Done:
    """Watch a freezer as always again."""
    return await call.alarm_order("left the freezer", subject=freezer(call), why=call.body.why)


async def checked(call: Call) -> Done:
    """Write down what was decided about the food."""
    return await call.alarm_order("food checked", subject=freezer(call), why=call.body.why)


ABOUT = "The house"
OPERATIONS = (
    Operation(ABOUT, "now", "/house", "The house at a glance: freezers, alarms, sources.", House, now),
    Operation(ABOUT, "freezers", "/freezers", "All freezers as they are now.", Freezers, freezers),
    Operation(ABOUT, "freezer", "/freezers/{freezer}", "One freezer as it is now.", Freezer, one_freezer, OfFreezer),
    Operation(ABOUT, "sensors", "/sensors", "How the sensors do.", Sensors, sensors),
    Operation(ABOUT, "due", "/due", "What is to be done, the worst first.", DueList, due),
    Operation(ABOUT, "me", "/me", "Who is asking, and the word that orders must carry.", Me, me),
    Operation(
        ABOUT, "atFreezer", "/freezers/{freezer}/at", "I am at the freezer: its alarms are kept quiet for a while.",
        Done, at_it, OfFreezer, body=AtIt,
    ),
    Operation(
        ABOUT, "leftFreezer", "/freezers/{freezer}/left", "I am done there: it is watched as always again.",
        Done, left, OfFreezer, body=Left,
    ),
    Operation(
        ABOUT, "foodChecked", "/freezers/{freezer}/checked",
        "The food was checked, and this was decided; the alarm that waited for it ends.",
        Done, checked, OfFreezer, body=Checked,
    ),
)  # fmt: skip
