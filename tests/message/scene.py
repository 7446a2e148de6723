"""The house at Heron Lane at 03:12 at night, and events in it."""

from datetime import UTC, datetime

from gatewayd.model.event import Event, Fact, What
from gatewayd.model.house import Freezer, House, Kind, Neighbour, Person, Sensor
from gatewayd.model.moment import HOUR, MINUTE, Moment, to_wall
from gatewayd.model.priority import Priority

NOW = Moment(to_wall(datetime(2026, 11, 24, 3, 12, tzinfo=UTC)), 90 * HOUR, "boot-a")
BROKER = "home"
HOUSE = House(
    id="heron-lane",
    name="Heron Lane",
    freezers={
        f.id: f
        for f in (
            Freezer("shed-chest", "Shed chest", Kind.CHEST, place="shed", sensors=("shed-air",), others=("shed-lid",)),
            Freezer("cellar-upright", "Cellar upright", Kind.UPRIGHT, place="cellar", sensors=("cellar-air",)),
            Freezer("porch-chest", "Porch chest", Kind.CHEST, place="porch", sensors=("porch-air",)),
        )
    },
    sensors={
        s.id: s
        for s in (
            Sensor("shed-air", "Shed chest probe", BROKER, "air/shed"),
            Sensor("cellar-air", "Cellar upright probe", BROKER, "air/cellar"),
            Sensor("porch-air", "Porch chest probe", BROKER, "air/porch"),
            Sensor("shed-lid", "Shed chest contact", BROKER, "lid/shed"),
            Sensor("shed-mains", "Shed mains", BROKER, "mains/shed", place="shed"),
        )
    },
    sources={BROKER: "Home broker"},
    people={"ann": Person("ann", "Ann", ("ann-mail",)), "ben": Person("ben", "Ben", ("ben-chat",))},
    neighbours={"mill-house": Neighbour("mill-house", "Mill House", 30 * MINUTE)},
)


def ago(ms: int) -> int:
    """Return the wall stamp of `ms` before now."""
    return NOW.wall - ms


# What the alarms give with each turn: (kind, turn) -> facts. Temperatures °C, speeds K an hour, spans ms.
SINCE: dict[str, Fact] = {"since": ago(48 * MINUTE), "lasted": 48 * MINUTE}
LATER: dict[str, Fact] = {"since": ago(228 * MINUTE), "lasted": 228 * MINUTE, "repeats": 2}
WARM: dict[str, Fact] = {"value": -9.4, "limit": -12.0, "speed": 3.06, "rising": True, **SINCE}
WARMER: dict[str, Fact] = {**WARM, "value": -4.1, "limit": -6.67}
COLD: dict[str, Fact] = {
    "value": -13.2, "limit": -12.0, "peak": -8.1, "peak_at": ago(10 * MINUTE), "latched": False, **SINCE,
}  # fmt: skip
STOPPED: dict[str, Fact] = {
    "value": -16.1, "limit": -12.0, "speed": 1.4, "eta": 176 * MINUTE, "since": ago(125 * MINUTE),
    "lasted": 125 * MINUTE,
}  # fmt: skip
DARKNESS: dict[str, Fact] = {
    "lasted": 9 * HOUR, "since": ago(9 * HOUR + 10 * MINUTE), "until": ago(10 * MINUTE), "ended": "power",
    "freezer:shed-chest": -11.5, "freezer:cellar-upright": -16.0, "freezer:porch-chest": None,
    "before:shed-chest": -18.2, "before:cellar-upright": -19.0, "before:porch-chest": -20.4,
    "before_at:shed-chest": ago(9 * HOUR + 11 * MINUTE), "before_at:cellar-upright": ago(9 * HOUR + 12 * MINUTE),
    "before_at:porch-chest": ago(9 * HOUR + 10 * MINUTE),
}  # fmt: skip
# What the thermal picture adds: why it warms, and in how many hours the food is at a level (°C).
FORECAST: dict[str, Fact] = {
    "left_where": "food", "left_level": -9.4, "left_early": 4.2, "left_likely": 7.5, "left_late": 10.6,
    "calibrated": False, "beyond_rule": False,
}  # fmt: skip
NO_POWER: dict[str, Fact] = {"cause": "power", "cause_sure": "likely", "cause_since": ago(62 * MINUTE)}
MAINS: dict[str, Fact] = {"covers": "shed-chest,porch-chest", "place": "shed", "how": "sensor", **SINCE}
ROUTE: dict[str, Fact] = {"text": "route mail: the password was refused"}

BEGINNINGS: dict[str, tuple[str, dict[str, Fact]]] = {
    "high": ("shed-chest", WARM),
    "highhigh": ("shed-chest", WARMER),
    "rising": ("shed-chest", STOPPED),
    "mains-out": ("shed-mains", MAINS),
    "lid-open": ("shed-chest", {"contact": True, "value": -14.0, **SINCE}),
    "warm-long": ("cellar-upright", {"value": -14.2, "limit": -15.0, "lasted": 6 * HOUR, "which": "single"}),
    "too-cold": ("porch-chest", {"value": -29.5, "habit": -20.1, "lasted": 2 * HOUR}),
    "chattering": ("shed-chest", {"count": 12, "window": HOUR}),
    "not-cooling": ("shed-chest", {"value": -14.1, "speed": 1.2, "after": "test", **SINCE}),
    "unwatched": ("shed-chest", {"value": -18.2, "rising": False, "why": "", **SINCE}),
    "silent": ("shed-air", {"lasted": 40 * MINUTE, "why": ""}),
    "stuck": ("shed-air", {"value": -18.2, "lasted": 24 * HOUR}),
    "sensor-fault": ("shed-air", {"why": "probe disconnected", "lasted": 30 * MINUTE, "count": 6}),
    "battery": ("shed-air", {"level": 41.0, "unit": "%", "why": "it fell by 22 % within a month of like cold"}),
    "weak-signal": ("shed-air", {"signal": -94.0, "missed": 0.62, "advice": "The signal is very weak. Go nearer."}),
    "source-down": (BROKER, {"reason": "the password was refused", **SINCE}),
    "store": ("heron-lane", {"text": "The disk is full."}),
    "disk-filling": ("heron-lane", {"text": "Of the disk 210 MB are left, enough for about 12 days."}),
    "route": ("heron-lane", ROUTE),
    "clock-unset": ("heron-lane", {"lasted": HOUR}),
    "neighbour-silent": ("mill-house", {"heard": True, "gone": False, **SINCE}),
    "test": ("heron-lane", {}),
}
ENDS: dict[str, dict[str, Fact]] = {
    "high": COLD,
    "highhigh": {**COLD, "limit": -6.67, "peak": 1.2, "latched": True},
    "rising": {"value": -17.2, "since": ago(3 * HOUR), "lasted": 3 * HOUR},
    "too-cold": {"value": -21.0, **SINCE},
    "warm-long": {"value": -17.0, "limit": -15.0},
    "battery": {"level": 98.0, "unit": "%"},
    "store": {"text": "", "lasted": HOUR},
    "route": {"text": "", "lasted": HOUR},
    "test": {"answered": True, "acknowledged_by": "ann"},
}


STAGES = ("begun", "switch-on", "ended", "too-warm")  # of a planned switch-off


def event(kind: str, what: What, /, subject: str = "shed-chest", **facts: Fact) -> Event:
    """Return an event of this night with exactly these facts."""
    return Event(12, NOW, subject, kind, what, Priority.HIGH, 1, 12, facts=facts)


def turn(kind: str, what: What, /, **changes: Fact) -> Event:
    """Return an event as the alarms write it, with some facts changed."""
    subject, facts = BEGINNINGS[kind]
    if what is What.OVER:
        facts = ENDS.get(kind, {**facts, "latched": False})
    elif what is What.REPEATED:
        facts = {**facts, **LATER}
    return event(kind, what, subject, **{**facts, **changes})


def every_turn() -> list[Event]:
    """Return each kind's raised, worse, repeated and over, and what is noted."""
    turns = (What.RAISED, What.WORSE, What.REPEATED, What.OVER)
    noted = [
        event("dark", What.NOTED, "heron-lane", **DARKNESS),
        event("test", What.NOTED, "heron-lane", since=ago(24 * HOUR)),
        event("clock", What.NOTED, "heron-lane", moved=-3 * HOUR),
        event("mended", What.NOTED, "heron-lane", text="The file with the readings was damaged."),
        event("week", What.NOTED, "heron-lane", title="all is well", text="Shed chest: −20.1 °C to −16.4 °C."),
        *(event("test-off", What.NOTED, stage=stage, until=ago(-3 * HOUR), value=-9.9) for stage in STAGES),
        event("ageing", What.NOTED, change=0.18, weeks=6),
        event("drift", What.NOTED, change=2.5, since=ago(30 * HOUR)),
        event("start", What.NOTED, "heron-lane", text="gatewayd started watching"),
    ]
    return [turn(kind, what) for kind in BEGINNINGS for what in turns] + noted
