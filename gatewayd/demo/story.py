"""Tell what happens in Heron Lane in a few eventful days, and when. All times count from the first midnight.

Each mishap lasts long enough to be told and is mended before it becomes another: the lid and the plug stay below
HighHigh, the dead probe is replaced before its silence becomes urgent, the broker is back before a freezer counts as
unwatched. Nothing else in these days lasts long enough to be told.
"""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from gatewayd.demo.food import VENISON, Food
from gatewayd.model.moment import DAY, HOUR, MINUTE, to_wall

SHED_CHEST, CELLAR_UPRIGHT, PORCH_CHEST = "shed-chest", "cellar-upright", "porch-chest"
SHED_PROBE, CELLAR_PROBE, PORCH_PROBE = "shed-chest-air", "cellar-upright-air", "porch-chest-air"
SHED_BROKER, CELLAR_BROKER = "shed-broker", "cellar-broker"
AJAR = 0.37  # of a lid's wide-open exchange of air: a box edge keeps it a hand's breadth up; chosen


@dataclass(frozen=True, slots=True)
class Lid:
    """Leave a lid open: `share` 0 is shut, 1 wide open."""

    freezer: str
    share: float


@dataclass(frozen=True, slots=True)
class Plug:
    """Pull a freezer's plug or put it back."""

    freezer: str
    on: bool


@dataclass(frozen=True, slots=True)
class Battery:
    """Let a probe's battery go flat (0 %), or put in a new one."""

    probe: str
    percent: float


@dataclass(frozen=True, slots=True)
class Link:
    """Lose a source or find it again, for a reason in the keeper's words."""

    source: str
    up: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Load:
    """Put fresh food into a freezer: kg, and its temperature (°C)."""

    freezer: str
    food: Food
    mass: float
    celsius: float


@dataclass(frozen=True, slots=True)
class Answer:
    """Let a person say that they have seen what they were told."""

    person: str


Act = Lid | Plug | Battery | Link | Load | Answer


@dataclass(frozen=True, slots=True)
class Turn:
    """Hold one turn of the story: `at` ms after the first midnight, what is done, and what the narrator says."""

    at: int
    act: Act
    text: str


def _at(day: int, hour: int, minute: int) -> int:
    return (day - 1) * DAY + hour * HOUR + minute * MINUTE


STORY: tuple[Turn, ...] = (
    Turn(_at(1, 17, 20), Lid(PORCH_CHEST, AJAR), "the porch chest's lid is left ajar on a bag of plums"),
    Turn(_at(1, 18, 25), Answer("ann"), "Ann answers from the road: she is on it"),
    Turn(_at(1, 19, 10), Lid(PORCH_CHEST, 0.0), "Ann shuts the porch chest's lid"),
    Turn(_at(2, 11, 0), Load(SHED_CHEST, VENISON, 5.0, 4.0), "5 kg of fresh venison go into the shed chest"),
    Turn(_at(3, 1, 0), Plug(SHED_CHEST, on=False), "the shed chest's plug is pulled"),
    Turn(_at(3, 6, 40), Answer("ben"), "Ben answers: he will look"),
    Turn(_at(3, 7, 20), Plug(SHED_CHEST, on=True), "Ben finds the shed chest's plug and puts it back"),
    Turn(_at(3, 13, 30), Battery(CELLAR_PROBE, 0.0), "the battery of the cellar upright's probe goes flat"),
    Turn(_at(3, 16, 40), Battery(CELLAR_PROBE, 100.0), "Ann puts a new battery into the cellar upright's probe"),
    Turn(_at(4, 10, 0), Link(SHED_BROKER, up=False, reason="it does not answer"), "the shed broker goes away"),
    Turn(_at(4, 10, 40), Link(SHED_BROKER, up=True, reason="it answers again"), "the shed broker is back"),
)
ENDS = _at(4, 14, 0)  # by then the last of it is over and has been told


def first_midnight(start: int, zone: tzinfo) -> int:
    """Return the first local midnight (wall ms) at or after `start` (wall ms): the story's zero."""
    local = datetime.fromtimestamp(start / 1000, zone)
    today = to_wall(datetime(local.year, local.month, local.day, tzinfo=zone))
    if today >= start:
        return today
    tomorrow = date.fromordinal(local.date().toordinal() + 1)
    return to_wall(datetime(tomorrow.year, tomorrow.month, tomorrow.day, tzinfo=zone))


def evening(day: date, zone: tzinfo) -> int:
    """Return 18:00 of `day` in `zone` as a wall stamp (ms): a good hour to begin, with a quiet night ahead."""
    return to_wall(datetime(day.year, day.month, day.day, 18, tzinfo=zone))
