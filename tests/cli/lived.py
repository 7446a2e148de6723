"""Let a small house live some days through the real watch, and keep them in its store."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import sin, tau
from pathlib import Path

from gatewayd.model.delivery import Delivery
from gatewayd.model.effect import Answer
from gatewayd.model.event import Decision, Event, Notice
from gatewayd.model.given import Given, Order, SourceNews, Start, Tick
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.reading import Heard, Reading
from gatewayd.settings.load import load
from gatewayd.store.batch import Batch
from gatewayd.watch.memory import restore, save
from gatewayd.watch.watch import Watch
from tests.cli.household import settle
from tests.store.make import T0

EVERY = 5 * MINUTE  # of the sensors
BEGIN = Moment(T0, HOUR, "boot-1")
Values = Callable[[str, int], float | None]  # (sensor, ms since T0) -> °C, None for silence


def cycling(sensor: str, at: int) -> float:
    """Return the air of a freezer that cools every 40 min."""
    return -18.5 + sin(tau * at / (40 * MINUTE) + len(sensor))


@dataclass
class Lived:
    """Drive a watch and remember what is to be kept."""

    house: House
    now: Moment = BEGIN
    rows: list[Reading] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    boots: int = 1

    def __post_init__(self) -> None:
        """Start."""
        self.watch = Watch(self.house, self.now)
        self._up(Start())

    def _up(self, start: Start) -> None:
        self.give(start)
        for source in self.house.sources:
            self.give(SourceNews(source, up=True, reason="it answers"))

    def give(self, given: Given) -> None:
        """Give one input now."""
        done = self.watch.step(given, self.now)
        self.rows += done.rows
        self.events += done.events
        self.notices += done.notices
        self.decisions += done.decisions
        if done.answer is not None:
            self.answers.append(done.answer)

    def order(self, verb: str, **of: object) -> None:
        """Let Ann order something that is carried out."""
        self.give(Order(verb, who="ann", **of))  # type: ignore[arg-type]
        assert self.answers[-1].done, self.answers[-1].text

    def until(self, end: int, values: Values = cycling) -> None:
        """Live up to `end` (ms since T0), every sensor reporting what `values` says."""
        while self.now.wall < T0 + end:
            after = self.now.wall + EVERY - self.now.wall % EVERY
            self._pass(after)
            for sensor in self.house.sensors.values():
                value = values(sensor.id, self.now.wall - T0)
                if value is not None:
                    self.give(Heard(sensor.source, sensor.id, f"{value:.2f}".encode(), self.now))

    def _pass(self, wall: int) -> None:
        end = self.now.later(wall - self.now.wall)
        while (wake := self.watch.next_wake()) is not None and wake <= end.steady:
            self.now = self.now.later(wake - self.now.steady)
            self.give(Tick())
        self.now = end

    def dark(self, ms: int, *, reboot: bool = True) -> None:
        """Let the gateway be off for so long, and come back."""
        alive, text = self.now, save(self.watch, self.now)
        self.boots += reboot
        steady = MINUTE if reboot else alive.steady + ms
        self.now = Moment(alive.wall + ms, steady, f"boot-{self.boots}")
        self.watch = Watch(self.house, self.now)
        restore(self.watch, text, self.now)
        self._up(Start(alive))

    def kept(self) -> list[Batch]:
        """Return all of it as batches, one a boot, as the store wants them."""
        deliveries = [
            Delivery(0, notice, route, rank, next_try=notice.made.wall)
            for notice in self.notices
            for rank, route in enumerate(notice.routes)
        ]
        last = {row.heard.boot: row.heard for row in self.rows} | {self.now.boot: self.now}
        batches = [Batch(alive, [r for r in self.rows if r.heard.boot == boot]) for boot, alive in last.items()]
        batches[-1].events, batches[-1].deliveries = self.events, deliveries
        batches[-1].decisions = self.decisions
        return batches


def read_house(folder: Path) -> House:
    """Return the house of the settings in `folder`."""
    return load([settle(folder)], env={"HOME": str(folder)}, state_dir=folder, secrets=False).house
