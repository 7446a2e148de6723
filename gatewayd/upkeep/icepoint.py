"""Check a probe in crushed ice: when it has settled, by how much it is off, and whether that can be true.

Crushed ice with water between it is at 0 °C, within 0.1 K even of tap water and at any height above the sea; that is
why thermometers are checked in it (the ice-point method of common practice for food and vaccine thermometers, USDA and
WHO; from memory). The bath must be stirred, and the probe in its middle and not at the wall or the bottom.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from statistics import mean

from gatewayd.model.moment import MINUTE

ICE = 0.0  # °C
SETTLED_FOR = (
    10 * MINUTE
)  # our choice: a probe in a household's housing follows within 2 to 3 min, so this is thrice that
SETTLED_WITHIN = 0.2  # K; our choice: two steps of a sensor that says tenths
READINGS = 5  # common practice: one reading may be a chance, of five the mean is taken
# K; sensors of households are sold as good to 0.5 or 1 K (common practice). One that is off by three times that is
# broken, or what it lies in is no ice bath: an offset would only hide it.
ABSURD = 3.0


class Stage(Enum):
    """Name how far a check has come."""

    WAITING = "waiting"  # not heard since it began
    COMING = "on its way"  # not near 0 °C yet
    SETTLING = "settling"
    STRANGE = "not ice"  # it stands still, but too far from 0 °C
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Seen:
    """Hold one good reading without any offset: `at` steady ms, `raw` °C."""

    at: int
    raw: float


@dataclass(frozen=True, slots=True)
class Look:
    """Hold how a check stands: `raw` the last reading (°C), `steady_for` how long it has kept within 0.2 K (ms).

    `count` is how many readings lie in that time, five at most. With the stage DONE or STRANGE `mean` is that of the
    last five (°C), `spread` their width (K), and `offset` what is to be added to every reading (K); else None.
    """

    stage: Stage
    raw: float | None = None
    steady_for: int = 0
    count: int = 0
    mean: float | None = None
    spread: float | None = None
    offset: float | None = None


def look(seen: Sequence[Seen]) -> Look:
    """Judge the readings since the probe went into the ice, the oldest first."""
    if not seen:
        return Look(Stage.WAITING)
    last = seen[-1]
    calm = _calm(seen)
    lasted, count = last.at - calm[0].at, min(len(calm), READINGS)
    if lasted < SETTLED_FOR or count < READINGS:
        stage = Stage.SETTLING if abs(last.raw - ICE) <= ABSURD else Stage.COMING
        return Look(stage, last.raw, lasted, count)
    five = [each.raw for each in calm[-READINGS:]]
    middle = mean(five)
    offset = round(ICE - middle, 3)  # as fine as the store keeps it
    stage = Stage.DONE if abs(offset) <= ABSURD else Stage.STRANGE
    return Look(stage, last.raw, lasted, count, middle, max(five) - min(five), offset)


def _calm(seen: Sequence[Seen]) -> Sequence[Seen]:
    """Return the last readings that keep within 0.2 K of each other."""
    low = high = seen[-1].raw
    first = len(seen) - 1
    for number in range(len(seen) - 2, -1, -1):
        low, high = min(low, seen[number].raw), max(high, seen[number].raw)
        if round(high - low, 3) > SETTLED_WITHIN:  # whole thousandths: 0.1 - -0.1 is 0.2 here, whatever floats say
            break
        first = number
    return seen[first:]
