"""Play Heron Lane: three simulated freezers whose probes speak real bytes, through the story and on for ever."""

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import tzinfo
from zoneinfo import ZoneInfo

from gatewayd.demo.cabinet import chest, upright
from gatewayd.demo.food import BEANS, BREAD, MILK, PLUMS, TROUT, VENISON
from gatewayd.demo.physics import Plant
from gatewayd.demo.probe import Make, Probe, bare, nested, stamped
from gatewayd.demo.room import Climate, Room
from gatewayd.demo.story import (
    CELLAR_BROKER,
    CELLAR_PROBE,
    CELLAR_UPRIGHT,
    ENDS,
    PORCH_CHEST,
    PORCH_PROBE,
    SHED_BROKER,
    SHED_CHEST,
    SHED_PROBE,
    STORY,
    Act,
    Answer,
    Battery,
    Lid,
    Link,
    Load,
    Plug,
    first_midnight,
)
from gatewayd.model.house import Freezer, House, Kind, PayloadForm, PayloadRule, Person, Sensor
from gatewayd.model.limits import Limits
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, from_wall
from gatewayd.model.priority import Priority

ZONE = ZoneInfo("Europe/London")
STEP = 15 * SECOND  # of the physics: ten times finer than a probe's lag
SETTLING = 12 * HOUR  # played before the start, so that every freezer is in its own rhythm by then
LOAD_TOUCHES = 0.3  # W/K per kg of fresh food laid out flat on top; chosen
GARDEN, GARDEN_TOPIC = Climate(7, 5, 1.5), "heron-lane/garden-shed/thermometer"  # a late November in the open
GARDEN_EVERY = 5 * SECOND  # so that nobody waits long for it who listens
ROUTES = ("ann-phone", "ben-phone")  # shown on the terminal


@dataclass(frozen=True, slots=True)
class Sent:
    """A probe's message reached its broker."""

    sensor: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Aired:
    """A message of a thermometer that nobody has named yet reached a broker."""

    source: str
    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class SourceUp:
    """A broker came up or went away, and why, in the keeper's words."""

    source: str
    up: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Remark:
    """The narrator says what happens, with the local time in front."""

    text: str


@dataclass(frozen=True, slots=True)
class Answered:
    """A person says that they have seen it."""

    person: str


Happening = Sent | Aired | SourceUp | Remark | Answered


def house(zone: tzinfo = ZONE) -> House:
    """Return the house as its keeper would have wired it, with the limits that are the default."""
    fahrenheit = PayloadRule(PayloadForm.JSON, value="/fahrenheit", time="/measured", unit="°F")
    celsius = PayloadRule(PayloadForm.JSON, value="/air/celsius", battery="/battery")
    # an automatic defrost warms the air by itself, so HighHigh waits longer
    patient = Limits(highhigh_on_delay=60 * MINUTE)
    auto = Kind.UPRIGHT_AUTO_DEFROST
    freezers = (
        Freezer(SHED_CHEST, "Shed chest", Kind.CHEST, 400.0, "shed", (SHED_PROBE,)),
        Freezer(CELLAR_UPRIGHT, "Cellar upright", auto, 250.0, "cellar", (CELLAR_PROBE,), patient),
        Freezer(PORCH_CHEST, "Porch chest", Kind.CHEST, 200.0, "porch", (PORCH_PROBE,)),
    )
    sensors = (
        Sensor(SHED_PROBE, "Shed chest's probe", SHED_BROKER, "heron-lane/shed/chest"),
        Sensor(CELLAR_PROBE, "Cellar upright's probe", CELLAR_BROKER, "heron-lane/cellar/upright", celsius),
        Sensor(PORCH_PROBE, "Porch chest's probe", SHED_BROKER, "heron-lane/porch/chest", fahrenheit),
    )
    people = (
        Person("ann", "Ann", ("ann-phone",)),
        Person("ben", "Ben", ("ben-phone",), told_from=Priority.HIGH),
    )
    return House(
        id="heron-lane",
        name="Heron Lane",
        zone=zone,
        freezers={freezer.id: freezer for freezer in freezers},
        sensors={sensor.id: sensor for sensor in sensors},
        sources={SHED_BROKER: "Shed broker", CELLAR_BROKER: "Cellar broker"},
        people={person.id: person for person in people},
        version="demo",
    )


@dataclass(slots=True)
class _Corner:
    """Hold one freezer with its room, its probe, and how people use it.

    `habit` is openings a day and the longest of them (s). `looks` are the openings ahead today, as (from, until)
    in wall ms, latest first. `ajar` is how far the lid stands open besides.
    """

    plant: Plant
    room: Room
    probe: Probe
    sensor: str
    source: str
    habit: tuple[int, int]
    rng: random.Random
    looks: list[tuple[int, int]] = field(default_factory=list)
    ajar: float = 0.0

    def plan(self, midnight: int) -> None:
        """Draw a day's openings, between 7 and 22 o'clock; in a household nobody looks at night."""
        count, longest = self.habit
        looks = []
        for _ in range(self.rng.randint(count - 1, count + 1)):
            begins = midnight + self.rng.randrange(7 * HOUR, 22 * HOUR)
            looks.append((begins, begins + self.rng.randrange(10, longest) * SECOND))
        self.looks = sorted(looks, reverse=True)

    def step(self, wall: int) -> None:
        """Move the freezer from `wall` (ms) by one step."""
        while self.looks and self.looks[-1][1] <= wall:
            self.looks.pop()
        looking = bool(self.looks) and self.looks[-1][0] <= wall and self.plant.plugged
        self.plant.open(1.0 if looking else self.ajar)
        self.plant.step(self.room.air(wall), STEP / 1000)
        self.probe.follow(self.plant.air, STEP / 1000)


class HeronLane:
    """Hold the house at one instant and play it on. The same generator and start give the same bytes."""

    def __init__(
        self, rng: random.Random, start_wall_ms: int, zone: tzinfo = ZONE, garden: random.Random | None = None
    ) -> None:
        """Build the house and let it settle, so that it is in its rhythm at the start.

        With a generator for it there is a thermometer in the garden shed too, which nobody has named yet.
        """
        self._zone = zone
        self._at = start_wall_ms
        self.start = start_wall_ms
        self.midnight = first_midnight(start_wall_ms, zone)
        self.ends = self.midnight + ENDS
        self._turns = list(reversed(STORY))  # next one last
        self._planned = self.midnight - 2 * DAY
        self._down: set[str] = set()
        self._opened = False
        self._corners = self._furnish(rng, start_wall_ms)
        self._garden = None if garden is None else Room(GARDEN, garden, self.midnight)
        for wall in range(start_wall_ms - SETTLING, start_wall_ms, STEP):
            for corner in self._corners.values():
                corner.step(wall)

    def _furnish(self, rng: random.Random, start: int) -> dict[str, _Corner]:
        def corner(
            plant: Plant, climate: Climate, make: Make, sensor: str, source: str, habit: tuple[int, int]
        ) -> _Corner:
            seeds = [random.Random(rng.getrandbits(64)) for _ in range(3)]  # noqa: S311 - weather and habits, no secret
            probe = Probe(make, seeds[1], plant.air, start)
            return _Corner(plant, Room(climate, seeds[0], self.midnight), probe, sensor, source, habit, seeds[2])

        # Intervals differ so that nothing falls into step; lags of 2 to 7 min are what cased probes have.
        return {
            SHED_CHEST: corner(
                chest(400, 36, (TROUT, VENISON)), Climate(14, 4, 1.0), Make(30 * SECOND, 180, bare),
                SHED_PROBE, SHED_BROKER, (2, 90),
            ),
            CELLAR_UPRIGHT: corner(
                upright(250, 30, (BREAD, MILK)), Climate(13, 0.8, 0.5), Make(60 * SECOND, 240, nested),
                CELLAR_PROBE, CELLAR_BROKER, (5, 40),
            ),
            PORCH_CHEST: corner(
                chest(200, 35, (PLUMS, BEANS)), Climate(15, 4, 1.0), Make(45 * SECOND, 150, stamped(self._zone)),
                PORCH_PROBE, SHED_BROKER, (3, 75),
            ),
        }  # fmt: skip

    def house(self) -> House:
        """Return the house as its keeper would have wired it."""
        return house(self._zone)

    def play(self, until: int | None = None) -> Iterator[tuple[int, Happening]]:
        """Yield what happens, in order, as (wall ms, happening), up to and with `until`; without it, for ever.

        A later call goes on where the last one ended, to the next step of the physics.
        """
        if not self._opened:
            self._opened = True
            yield self._at, self._remark(self._at, "an evening in Heron Lane; three freezers hum")
            yield self._at, SourceUp(SHED_BROKER, up=True, reason="it answers")
            yield self._at, SourceUp(CELLAR_BROKER, up=True, reason="it answers")
        while until is None or self._at < until:
            yield from self._step()

    def _step(self) -> Iterator[tuple[int, Happening]]:
        wall = self._at
        while self._planned <= wall:
            for corner in self._corners.values():
                corner.plan(self._planned)
            self._planned += DAY
        while self._turns and self.midnight + self._turns[-1].at <= wall:
            turn = self._turns.pop()
            yield wall, self._remark(wall, turn.text)
            yield from self._do(wall, turn.act)
        sent: list[tuple[int, Happening]] = []
        for corner in self._corners.values():
            corner.step(wall)
            while corner.probe.due <= wall + STEP:
                due, payload = corner.probe.due, corner.probe.report()
                if payload is not None and corner.source not in self._down:
                    sent.append((due, Sent(corner.sensor, payload)))
        if self._garden is not None and SHED_BROKER not in self._down:
            said = json.dumps({"temperature": round(self._garden.air(wall), 1), "battery": 91}).encode()
            sent += [(at, Aired(SHED_BROKER, GARDEN_TOPIC, said)) for at in range(wall, wall + STEP, GARDEN_EVERY)]
        self._at = wall + STEP
        yield from sorted(sent, key=lambda pair: pair[0])

    def _do(self, wall: int, act: Act) -> Iterator[tuple[int, Happening]]:
        match act:
            case Lid(freezer, share):
                self._corners[freezer].ajar = share
            case Plug(freezer, on):
                self._corners[freezer].plant.plugged = on
            case Load(freezer, food, mass, celsius):
                self._corners[freezer].plant.load(food, mass, celsius, mass * LOAD_TOUCHES)
            case Battery(probe, percent):
                for corner in self._corners.values():
                    if corner.sensor == probe:
                        corner.probe.battery, corner.probe.alive = percent, percent > 0
            case Answer(person):
                yield wall, Answered(person)
            case Link(source, up, reason):
                if up:
                    self._down.discard(source)
                else:
                    self._down.add(source)
                yield wall, SourceUp(source, up, reason)

    def _remark(self, wall: int, text: str) -> Remark:
        return Remark(f"{from_wall(wall).astimezone(self._zone):%H:%M} {text}")
