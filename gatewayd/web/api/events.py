"""JSON of what happened: events, why people were told or not, alarms to acknowledge, and the curve of a sensor."""

from dataclasses import dataclass
from typing import Annotated

from gatewayd.message import account
from gatewayd.model.event import Decision, Fact
from gatewayd.model.event import Event as Row
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, iso
from gatewayd.model.pack import unpack
from gatewayd.model.period import read_when
from gatewayd.model.reading import Quantity
from gatewayd.store import chart, log
from gatewayd.web.api.house import Alarm
from gatewayd.web.api.operation import Call, Done, Keyed, Operation, Refused
from gatewayd.web.api.says import Id, Number, Says, Stamp, Time, Words

MOST = 200  # events of one answer; with facts some 80 kB
USUAL = 50
POINTS = 800  # of a curve: a screen's width
LONGEST = 36_525 * DAY  # 100 years: far longer than anybody keeps a freezer, and within what a calendar can say


@dataclass(frozen=True, slots=True)
class Event:
    """One turn of one alarm, or a line of the log that is no alarm (`what` is then "noted").

    `number` counts through the house, `first` is the number of the event that raised the alarm. `words` says it as
    people do. `who` is a person's id, or how the house says that it acted itself.
    """

    number: int
    at: Stamp
    subject: str
    name: str
    kind: str
    what: str
    words: str
    priority: str
    first: int
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class Events:
    """Some events, the newest first. `older` and `newer` are what to say as before or after for the next page."""

    events: tuple[Event, ...]
    older: int | None
    newer: int | None


@dataclass(frozen=True, slots=True)
class Reason:
    """Why somebody was told or not: `person` is an id, empty for everyone; `until` when that changes."""

    person: str
    reason: str
    at: Stamp
    until: Stamp | None
    text: str


@dataclass(frozen=True, slots=True)
class Message:
    """What became of one message by one route: how far it came, since when, how often it was tried, what went wrong."""

    person: str
    route: str
    stage: str
    title: str
    progress: str
    since: Stamp
    tries: int
    error: str
    text: str


@dataclass(frozen=True, slots=True)
class Account:
    """All that is known of one event: its facts, whom it was told and why, and what became of the messages."""

    event: Event
    facts: dict[str, Fact]
    decisions: tuple[Reason, ...]
    messages: tuple[Message, ...]


@dataclass(frozen=True, slots=True)
class Paged:
    """Which events: those older than number `before`, or newer than `after`; of a freezer or another subject; a kind.

    A freezer's events are also those of its sensors.
    """

    before: Number | None = None
    after: Annotated[int, Says("An event's number; 0 begins with the first.", least=0, most=1 << 53)] | None = None
    freezer: Id | None = None
    kind: Annotated[str, Says("A kind of alarm, like high.", longest=40)] | None = None
    most: Annotated[int, Says("How many.", least=1, most=MOST)] = USUAL


@dataclass(frozen=True, slots=True)
class OfEvent:
    """Which event."""

    number: Number


@dataclass(frozen=True, slots=True)
class OfAlarm:
    """Which alarm: the number of any of its events."""

    number: Number


@dataclass(frozen=True, slots=True)
class OfSensor:
    """Which sensor."""

    sensor: Id


@dataclass(frozen=True, slots=True)
class Drawn:
    """Which curve: what is measured, from when (a day back unless said) until when (now), in how many points."""

    quantity: Quantity = Quantity.TEMPERATURE
    since: Time = ""
    until: Time = ""
    points: Annotated[int, Says("At most so many.", least=1, most=POINTS)] = POINTS


@dataclass(frozen=True, slots=True)
class Point:
    """A piece of a curve: when its first reading was, how many there are, their lowest, highest and mean."""

    at: Stamp
    count: int
    low: float
    high: float
    mean: float


@dataclass(frozen=True, slots=True)
class Curve:
    """The good readings of a sensor in order of time; where nothing was heard a piece is missing.

    `unit` is that of the figures, empty for what has none.
    """

    sensor: str
    quantity: Quantity
    unit: str
    since: Stamp
    until: Stamp
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Alarms:
    """The alarms that stand, those kept quiet by a person, and those for which another alarm speaks."""

    alarms: tuple[Alarm, ...]
    shelved: tuple[Alarm, ...]
    suppressed: tuple[Alarm, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen(Keyed):
    """Somebody has seen an alarm, and a word on it."""

    why: Words = ""


def wanted(house: House, freezer: str | None, kind: str | None) -> log.Wanted:
    """Return which events are wanted: a freezer's are those of what watches it too."""
    subjects: tuple[str, ...] = ()
    if freezer is not None:
        of = house.freezers.get(freezer)
        subjects = (freezer, *of.sensors, *of.others, *([of.room] if of.room else [])) if of else (freezer,)
    return log.Wanted(subjects, (kind,) if kind else ())


async def events(call: Call) -> Events:
    """Return a page of events."""
    asked: Paged = call.query
    which = wanted(call.home.house, asked.freezer, asked.kind)
    found = await call.home.read(lambda conn: log.leaf(conn, which, asked.most, asked.before, asked.after))
    numbers = [event.number for event in found.events]
    return Events(
        tuple(_event(event, call.home.house) for event in found.events),
        numbers[-1] if numbers and found.older else None,
        numbers[0] if numbers and found.newer else None,
    )


async def one_event(call: Call) -> Account:
    """Return all that is known of one event."""
    number, house = call.path.number, call.home.house
    found = await call.home.read(
        lambda conn: (log.event(conn, number), log.decisions(conn, [number]), log.sent(conn, [number]))
    )
    event, decisions, sent = found
    if event is None:
        raise Refused(f"There is no event {number}.", 404)
    return Account(
        _event(event, house),
        dict(event.facts),
        tuple(_reason(each, house) for each in decisions),
        tuple(_message(each, house) for each in sent),
    )


def _event(event: Row, house: House) -> Event:
    return Event(
        event.number, iso(event.at.wall, house.zone), event.subject, account.subject(event, house), event.kind,
        event.what.value, account.line(event, house), event.priority.word, event.first, event.who, event.why,
    )  # fmt: skip


def _reason(each: Decision, house: House) -> Reason:
    until = None if each.until is None else iso(each.until, house.zone)
    return Reason(each.person, each.reason, iso(each.at.wall, house.zone), until, account.decided(each, house))


def _message(each: log.Sent, house: House) -> Message:
    return Message(
        each.person, each.route, each.stage.value, each.title, each.progress.value, iso(each.changed, house.zone),
        each.tries, each.error, account.delivered(each.person, each.route, each.progress, each.changed, house),
    )  # fmt: skip


async def curve(call: Call) -> Curve:
    """Return the curve of a sensor."""
    sensor, asked, house, now = call.path.sensor, call.query, call.home.house, call.home.now().wall
    if sensor not in house.sensors:
        raise Refused(f"There is no sensor {sensor!r}; there are: {', '.join(house.sensors) or 'none'}.", 404)
    begin, end = window(call, asked.since, asked.until, now - DAY, now)
    if begin >= end:
        raise Refused("The curve must end after it begins; say an earlier since, or a later until.")
    if end - begin > LONGEST:
        raise Refused("A curve is of 100 years at most; say a later since.")
    measure = asked.quantity
    # the store makes one bucket more at most
    most = max(1, asked.points - 1)
    found = await call.home.read(lambda conn: chart.chart(conn, sensor, measure, begin, end, most))
    points = tuple(Point(iso(each.start, house.zone), each.count, each.low, each.high, each.mean) for each in found)
    return Curve(sensor, measure, measure.unit, iso(begin, house.zone), iso(end, house.zone), points[: asked.points])


def window(call: Call, since: str, until: str, begin: int, end: int) -> tuple[int, int]:
    """Return the span (wall ms) that two texts mean; `begin` and `end` stand for what is not said. Raise Refused."""
    zone, now = call.home.house.zone, call.home.now().wall
    found = []
    for name, text, otherwise in (("since", since, begin), ("until", until, end)):
        try:
            found.append(read_when(text, zone, now) if text else otherwise)
        except ValueError as wrong:
            raise Refused(f"{name}: {wrong}") from None  # such as the 31st of June
        if text and abs(found[-1] - now) > LONGEST:
            raise Refused(f"{name} {text!r} is more than 100 years away.")
    return found[0], found[1]


async def alarms(call: Call) -> Alarms:
    """Return the alarms."""
    found: Alarms = unpack(Alarms, call.home.status())
    return found


async def acknowledge(call: Call) -> Done:
    """Say that somebody has seen one alarm."""
    number = call.path.number
    if call.home.sight(number) is None and await call.home.read(lambda conn: log.event(conn, number)) is None:
        raise Refused(f"There is no alarm {number}.", 404)
    return await call.alarm_order("acknowledge", alarm=number, why=call.body.why)


async def acknowledge_all(call: Call) -> Done:
    """Say that somebody has seen all alarms."""
    return await call.alarm_order("acknowledge", why=call.body.why)


ABOUT = "What happened, and alarms"
OPERATIONS = (
    Operation(ABOUT, "alarms", "/alarms", "The alarms that stand or wait for somebody.", Alarms, alarms),
    Operation(
        ABOUT, "acknowledge", "/alarms/{number}/acknowledge", "I have seen this alarm.",
        Done, acknowledge, OfAlarm, body=Seen,
    ),
    Operation(
        ABOUT, "acknowledgeAll", "/alarms/acknowledge", "I have seen all alarms.", Done, acknowledge_all, body=Seen
    ),
    Operation(ABOUT, "events", "/events", "What happened, the newest first.", Events, events, query=Paged),
    Operation(
        ABOUT, "event", "/events/{number}", "One event: whom it was told, why or why not, what became of the messages.",
        Account, one_event, OfEvent,
    ),
    Operation(
        ABOUT, "curve", "/sensors/{sensor}/curve", "The curve of a sensor, in at most 800 points.",
        Curve, curve, OfSensor, Drawn,
    ),
)  # fmt: skip
