"""The house: its freezers, sensors, sources and people, as the keeper wired them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from enum import Enum

from gatewayd.model.contents import Group
from gatewayd.model.format import Saying
from gatewayd.model.limits import Limits
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Quantity
from gatewayd.model.telling import Telling
from gatewayd.model.units import TemperatureUnit

WIRED = "wired"  # the one source that is no broker and no radio: probes at the computer itself
SLUG = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


def check_id(text: str) -> str:
    """Return an id unchanged, or raise ValueError: lower-case letters, digits and hyphens, 40 at most."""
    if not SLUG.fullmatch(text):
        raise ValueError(f"{text!r} is not an id; use small letters, digits and hyphens, 40 at most, like shed-chest")
    return text


class Kind(Enum):
    """Name the kind of a freezer; it sets delays and the thermal priors."""

    CHEST = "chest"
    UPRIGHT = "upright"
    UPRIGHT_AUTO_DEFROST = "upright with automatic defrost"


@dataclass(frozen=True, slots=True)
class Freezer:
    """Describe one freezer.

    `sensors` are the ids of its thermometers; an empty tuple means it is in the list but not watched. `others` are the
    ids of what else looks at it: a contact at the lid, a meter in its plug. `alarms` maps kinds of alarm to the
    priority they have for this freezer, None for one that is switched off. `contents` is what the keeper says it holds
    (kg by group), empty where nobody said. `room` is the id of the thermometer that stands in its room, empty where
    there is none; `room_about` is how warm that room is as a rule (°C), for want of one.
    """

    id: str
    name: str
    kind: Kind = Kind.CHEST
    volume: float | None = None  # litres
    place: str = ""
    sensors: tuple[str, ...] = ()
    limits: Limits = field(default_factory=Limits)
    others: tuple[str, ...] = ()
    alarms: Mapping[str, Priority | None] = field(default_factory=dict)
    contents: Mapping[Group, float] = field(default_factory=dict)
    room: str = ""
    room_about: float | None = None

    def __post_init__(self) -> None:
        """Refuse an id that could not be kept for ever."""
        check_id(self.id)


class PayloadForm(Enum):
    """Say how a payload is written."""

    NUMBER = "number"
    JSON = "json"


@dataclass(frozen=True, slots=True)
class PayloadRule:
    """Say where in a payload the values lie. The pointers are JSON Pointers (RFC 6901); None means absent.

    `unit` is the unit of the temperature in the payload: °C, °F or K. `measures` is what the number, or what `value`
    points at, says: a temperature, the power (W) a plug draws, or in a word or 0 and 1 whether a lid is open or the
    mains is there.
    """

    form: PayloadForm = PayloadForm.NUMBER
    value: str | None = None
    battery: str | None = None
    time: str | None = None
    unit: str = "°C"
    measures: Quantity = Quantity.TEMPERATURE


@dataclass(frozen=True, slots=True)
class Sensor:
    """Describe one probe and how it is heard.

    `source` is the id of a broker or a radio, or WIRED; `channel` the topic, address or file within it.
    `reports_every` (ms) is what the keeper says; None means: learn it. `place` is where a sensor of the mains stands
    that belongs to no freezer; empty means that it speaks for the whole house.
    """

    id: str
    name: str
    source: str
    channel: str
    payload: PayloadRule | Saying = field(default_factory=PayloadRule)
    reports_every: int | None = None
    place: str = ""

    @property
    def measures(self) -> Quantity:
        """Return what it is there for, whatever else it says."""
        return self.payload.measures

    def __post_init__(self) -> None:
        """Refuse an id that could not be kept for ever."""
        check_id(self.id)


@dataclass(frozen=True, slots=True)
class Person:
    """Describe who is told, by which routes in order, and from which priority on.

    `quiet` are the hours in which only high alarms are told: minutes after local midnight, from and until.
    """

    id: str
    name: str
    routes: tuple[str, ...] = ()
    told_from: Priority = Priority.MEDIUM
    quiet: tuple[int, int] | None = None

    def __post_init__(self) -> None:
        """Refuse an id that could not be kept for ever."""
        check_id(self.id)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Describe another household's gateway that gives signs of life to this one; `silent_after` in ms.

    `source` and `topic` name the broker and topic in which it says whether it is up, empty where there is none.
    """

    id: str
    name: str
    silent_after: int
    source: str = ""
    topic: str = ""

    def __post_init__(self) -> None:
        """Refuse an id that could not be kept for ever."""
        check_id(self.id)


@dataclass(frozen=True, slots=True)
class House:
    """Hold everything the watch needs to know of the house; secrets and addresses stay outside."""

    id: str
    name: str
    zone: tzinfo = UTC
    units: TemperatureUnit = TemperatureUnit.C
    freezers: Mapping[str, Freezer] = field(default_factory=dict)
    sensors: Mapping[str, Sensor] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)  # id -> name for people
    people: Mapping[str, Person] = field(default_factory=dict)
    keep_every: int = 60_000  # ms; at most one row per sensor and quantity in this span, 0 keeps all
    neighbours: Mapping[str, Neighbour] = field(default_factory=dict)
    telling: Telling = field(default_factory=Telling)
    version: str = ""  # which settings this is; kept with the events
