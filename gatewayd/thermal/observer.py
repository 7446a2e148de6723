"""What the food has, told from the air: a slow follower of the probe, one for the warmest layer and one for the bulk.

Air reads the ripple of the compressor and the rise of a lid; food does neither. Measured on simulated freezers the
warmest layer is told to about 0.5 K in ordinary running and 0.75 K in an outage (air taken as food: 1.7 and 2.2 K).
"""

from dataclasses import dataclass
from math import exp

from gatewayd.model.house import Kind
from gatewayd.thermal.curve import Curve
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.prior import COUNT, Belief, Prior, Start

FROZEN = 2000.0  # J/(kg K), the specific heat that the time constant stands for: frozen food (Chen, about 1.9 to 2.5)
# K, food against the probe's air in ordinary running: the inner box of 25 home freezers was 1.6 K colder than the door
# shelf (Journal of Food Hygiene and Safety 38(5), 2023); with automatic defrost the probe hangs in the coil's stream.
BESIDE = {Kind.CHEST: -1.0, Kind.UPRIGHT: -0.8, Kind.UPRIGHT_AUTO_DEFROST: 1.2}
GAP = 60  # min: over a longer silence nothing is known, and it begins anew
STEP_MAX = 0.2  # of a time constant, for one step of the follower


@dataclass(slots=True)
class Food:
    """Hold the enthalpies (J/kg) of the warmest layer and the bulk, None before anything was heard."""

    top: float | None = None
    bulk: float | None = None


class Observer:
    """Follow the food of one freezer by its air."""

    def __init__(self, facts: Facts, belief: Belief, food: Food | None = None) -> None:
        """Take the time constants from what is believed of the freezer."""
        prior = Prior(facts, Start(-18.0, -18.0, facts.room), belief)
        body = prior.body(list(belief.mean) if belief.lessons else [0.0] * COUNT)
        self.curve: Curve = prior.curve
        self.beside = BESIDE[facts.kind]
        self.top = FROZEN * body.top_mass / body.top_coupling  # s
        self.bulk = FROZEN * body.bulk_mass / body.bulk_coupling
        self.food = food or Food()

    def take(self, air: float, minutes: float, *, warming: bool) -> None:
        """Follow a reading (°C) that held for some minutes; while `warming` the air is what the food goes to."""
        goal = air + (0.0 if warming else self.beside)
        goal = max(-39.0, min(39.0, goal))
        if self.food.top is None or self.food.bulk is None or minutes > GAP:
            self.food.top = self.food.bulk = self.curve.enthalpy(goal)
            return
        self.food.top = self._follow(self.food.top, goal, minutes * 60.0, self.top)
        self.food.bulk = self._follow(self.food.bulk, goal, minutes * 60.0, self.bulk)

    def put(self, top: float, bulk: float) -> None:
        """Take what a fit knows better (°C): an outage is described by all its readings, not by the last."""
        self.food.top, self.food.bulk = self.curve.enthalpy(top), self.curve.enthalpy(bulk)

    def _follow(self, h: float, goal: float, seconds: float, tau: float) -> float:
        away = goal - self.curve.temperature(h)
        share = 1.0 - exp(-min(STEP_MAX, seconds / tau))
        return max(0.0, min(self.curve.top, h + FROZEN * away * share))

    @property
    def temperatures(self) -> tuple[float, float] | None:
        """Return °C of the warmest layer and of the bulk, None before anything was heard."""
        if self.food.top is None or self.food.bulk is None:
            return None
        return self.curve.temperature(self.food.top), self.curve.temperature(self.food.bulk)
