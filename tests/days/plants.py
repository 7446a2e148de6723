"""Freezers of the demo's own physics, heard by a played watch: days in which a plug is pulled or a test is run."""

import random
from dataclasses import dataclass, field

from gatewayd.demo.cabinet import chest
from gatewayd.demo.food import PLUMS, VENISON
from gatewayd.demo.physics import Plant
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.watch.known import Pace
from tests.days.player import Player, house

STEP = 30.0  # s
ROOM = 17.0  # °C
SELDOM = Pace(HOUR, DAY)  # a test has no time for more fits than its messages need


@dataclass
class Lane:
    """Hold a played house, and a chest freezer behind each of its probes."""

    freezers: int = 1
    seed: int = 1
    pace: Pace | None = SELDOM
    player: Player = field(init=False)
    plants: dict[str, Plant] = field(init=False)

    def __post_init__(self) -> None:
        """Build the house, its freezers full enough to hold for a day."""
        self.player = Player(house(self.freezers), pace=self.pace)
        self.rng = random.Random(self.seed)
        self.plants = {
            who: chest(300.0 - 40 * n, 60.0, (VENISON, PLUMS)) for n, who in enumerate(self.player.house.freezers)
        }

    def live(self, ms: int, *deaf: str) -> None:
        """Let time pass; each probe is heard once a minute, but for those named."""
        for _ in range(ms // MINUTE):
            for who, plant in self.plants.items():
                for _ in range(round(60 / STEP)):
                    plant.step(ROOM, STEP)
                if who not in deaf:
                    self.player.hear(round(plant.air + self.rng.gauss(0, 0.05), 1), who)
            self.player.go(MINUTE)

    def live_until(self, kind: str, most: int = DAY) -> None:
        """Let time pass until an alarm of a kind was raised, at the longest `most` ms."""
        for _ in range(most // (5 * MINUTE)):
            if any(event.kind == kind for event in self.player.events):
                return
            self.live(5 * MINUTE)
        raise AssertionError(f"no {kind} within {most / HOUR:g} h")
