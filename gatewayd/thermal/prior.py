"""What is believed of a freezer before it has shown itself: thirteen numbers, each with its spread.

Each is a standard normal deviate z, so that a belief is a mean and a spread for each. A fresh belief is zeros and
ones: the kind, the volume and the contents then set the physical numbers. What an outage or a test switch-off has
taught is a shifted and narrower belief. The spreads were set on simulated freezers, on conductances derived from the
energy standard 10 CFR 430.32 and on the 25 homes of the Journal of Food Hygiene and Safety 38(5), 2023, 373-380.
"""

from dataclasses import dataclass, field
from math import erf, exp, sqrt

from gatewayd.model.house import Kind
from gatewayd.thermal.curve import Curve, curve_of
from gatewayd.thermal.facts import Facts

NAMES = (
    "conductance", "mass", "coupling", "share", "fast", "within", "crust", "lift", "buffer", "offset", "food", "liner",
    "room",
)  # fmt: skip
COUNT = len(NAMES)
ROOM = NAMES.index("room")
PASSING = (NAMES.index("liner"), ROOM)  # belong to one outage and are not learnt
FULL = 0.36  # kg of food in a litre of net volume when it is full; simulated freezers, packages with air between
LEAST = 0.03  # of full: shelves, wrappings and rests of frost in a freezer told to be empty (our choice)
TOP_SHARE = 0.18  # of the mass: the warmest layer of five or six
# The warmest layer's share of the coupling, from that of its mass to three times as much.
SHARE_FROM, SHARE_MORE = 0.18, 0.38
# How far the still air at the probe lies from the fast lump towards the room, at most; half of that is rarely passed. A
# chest's probe hangs under the lid, where the warm air stays: two independent simulations differ by a factor of two.
LIFT = {Kind.CHEST: 0.32, Kind.UPRIGHT: 0.16, Kind.UPRIGHT_AUTO_DEFROST: 0.16}
NEW_SPREAD, OLD_SPREAD = 0.15, 0.85  # a learnt spread never shrinks to nothing: the next outage is another day


def cholesky(matrix: list[list[float]]) -> list[list[float]]:
    """Return the lower triangle whose square is `matrix`; a deviate that has died out keeps a little spread."""
    count = len(matrix)
    lower = [[0.0] * count for _ in range(count)]
    for i in range(count):
        for j in range(i + 1):
            left = matrix[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            lower[i][j] = sqrt(max(left, 1e-4)) if i == j else left / lower[j][j]
    return lower


_FRESH = tuple(1.0 if i == j else 0.0 for i in range(COUNT) for j in range(i + 1))


@dataclass(frozen=True, slots=True)
class Belief:
    """Hold the mean of the thirteen deviates, their spread, and how often they have learnt.

    `root` is the lower triangle of the covariance's root, row by row: what an outage shows is the ratio of two numbers
    rather than each, so they are kept together.
    """

    mean: tuple[float, ...] = (0.0,) * COUNT
    root: tuple[float, ...] = _FRESH
    lessons: int = 0

    def lower(self) -> list[list[float]]:
        """Return the root as a square."""
        rows, at = [], 0
        for i in range(COUNT):
            rows.append([*self.root[at : at + i + 1], *[0.0] * (COUNT - 1 - i)])
            at += i + 1
        return rows

    def taught(self, mean: list[float], covariance: list[list[float]]) -> "Belief":
        """Return the belief after an outage whose deviates have come out with this mean and covariance."""
        kept = [0.0 if i in PASSING else value for i, value in enumerate(mean)]
        wide = [[OLD_SPREAD * value for value in row] for row in covariance]
        for i in range(COUNT):
            wide[i][i] += NEW_SPREAD
            for j in range(COUNT):
                if i in PASSING or j in PASSING:
                    wide[i][j] = 1.0 if i == j else 0.0
        root = cholesky(wide)
        flat = tuple(round(root[i][j], 4) for i in range(COUNT) for j in range(i + 1))
        return Belief(tuple(round(value, 4) for value in kept), flat, self.lessons + 1)


@dataclass(frozen=True, slots=True)
class Start:
    """Hold how an outage begins: the reading (°C) at its start, the mean reading of the day before, the room.

    `metered` says that a sensor in the room gives its temperature; `spread` (K) is how uncertain the start of the food
    is, larger where the day before was not as always.
    """

    reading: float
    mean: float
    room: float
    metered: bool = False
    spread: float = 0.7


@dataclass(slots=True)
class Body:
    """Hold the physical numbers of one freezer as one particle has them: W/K, J/K, kg, K, °C."""

    ua: float
    top_mass: float
    bulk_mass: float
    top_coupling: float
    bulk_coupling: float
    within: float
    fast: float
    crust: float
    lift: float
    buffer: float
    offset: float
    room: float
    liner: float
    above: float  # the air over the liner while it cools
    food: float


@dataclass(slots=True)
class Prior:
    """Turn deviates into physical numbers for one freezer and one start."""

    facts: Facts
    start: Start
    belief: Belief = field(default_factory=Belief)
    curve: Curve = field(init=False)

    def __post_init__(self) -> None:
        """Look up the curve of the contents."""
        self.curve = curve_of(self.facts.kg)

    def body(self, z: list[float]) -> Body:
        """Return the freezer that the thirteen deviates stand for."""
        facts, start = self.facts, self.start
        chest = facts.kind is Kind.CHEST
        cold_coil = facts.kind is Kind.UPRIGHT_AUTO_DEFROST
        size = (facts.volume / 300.0) ** 0.667  # surfaces grow with the 2/3 power of a volume
        full = FULL * facts.volume
        weight = max(LEAST * full, facts.weight) if facts.kg else 0.5 * full
        fill = min(1.0, weight / full)
        ua = (0.45 + 0.00195 * facts.volume if chest else 0.62 + 0.0026 * facts.volume) * exp(0.32 * z[0])
        mass = 0.9 * weight * exp((0.28 if facts.told and facts.kg else 0.6) * z[1])
        coupling = (4.0 + 9.0 * fill) * size * (1.0 if chest else 1.15) * exp(0.6 * z[2])
        share = SHARE_FROM + SHARE_MORE * _phi(z[3])
        mixing = _phi(z[8])
        offset = 0.25 * z[9]
        beside = -1.0 if chest else 1.2 if cold_coil else -0.8
        reading = start.reading - offset
        liner = min(reading, reading - (0.0 if cold_coil else 2.0) - 1.2 * z[11])
        return Body(
            ua=ua,
            top_mass=TOP_SHARE * mass,
            bulk_mass=(1 - TOP_SHARE) * mass,
            top_coupling=share * coupling,
            bulk_coupling=(1 - share) * coupling,
            within=(6.0 if chest else 3.0) * size * exp(0.6 * z[5]),
            fast=18e3 * size * exp(0.45 * z[4]),
            crust=0.8 * exp(0.6 * z[6]),
            lift=LIFT[facts.kind] * _phi(z[7]) ** 2,
            buffer=0.0 if mixing < 0.6 else 0.5 * (mixing - 0.6) / 0.4,
            offset=offset,
            room=(0.3 if start.metered else 2.0) * z[12],
            liner=liner,
            above=reading - liner,
            food=max(-39.0, start.mean - offset + beside + start.spread * z[10]),
        )


def _phi(z: float) -> float:
    """Return the standard normal distribution function at z."""
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))
