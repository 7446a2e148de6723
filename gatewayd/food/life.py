"""How long a food keeps its quality at -18 °C, and how much faster it ages when kept warmer: its pace.

Quality only: food kept frozen at -18 °C (0 °F) stays safe (USDA FSIS, "Freezing and Food Safety"). Where anything is
not known, the shorter time and the faster ageing are taken.
"""

import math
from dataclasses import dataclass

from gatewayd.food.chart import ROWS
from gatewayd.food.lives import LIVES, Life
from gatewayd.food.row import Category, Food
from gatewayd.model.excursion import Ruling

BASE = -18.0  # °C, where the months hold. The charts mean 0 °F (-17.8 °C): taking them for -18 °C is the shorter
DAYS = 365.25 / 12  # in a month
COLDEST, WARM, MELTING = -24.0, -12.0, -5.0  # °C: where the tables end, have their step, and where they hold no more

# Above -5 °C most of the ice melts within hours, and no table of frozen lives holds. It counts as if it had thawed at
# once: the shorter of the "1 to 2 days" that minced meat, poultry and fish keep in a refrigerator (FDA chart).
THAWED = 1.0  # days
# Bread and the like, which the chart of warm spells keeps: the least of 3 to 5 days (USDA FSIS data set, from memory).
THAWED_DRY = 3.0  # days

# Growth of ageing in 10 K where no row tells it. Our choice: that of green vegetables; only berries, stone fruit,
# spinach and ice cream are steeper in the tables.
UNKNOWN_GROWTH = 10.08
# Months of a food that nobody can name, or that the charts would not freeze. Our choice: the least that common foods
# have in the charts (soups, stews, cooked meat and fatty fish: 2 to 3 months); what has less is named as a rule.
UNKNOWN_MONTHS = 2.0

GAS = 8.314462618e-3  # kJ/(mol K), CODATA 2018
FREEZING = 273.15  # K


@dataclass(frozen=True, slots=True)
class Pace:
    """Hold by how much ageing grows in 10 K: from -24 to -18 °C, from there to -12 °C, and from there to -5 °C.

    All are at least 1, so that warmer is never better.
    """

    cold: float
    warm: float
    hot: float

    def rate(self, celsius: float) -> float:
        """Return how many days at -18 °C one day at `celsius` counts for.

        Colder than -24 °C counts as -24 °C, warmer than -5 °C as -5 °C; `thaws` says what comes on top there.
        """
        at = min(max(celsius, COLDEST), MELTING)
        if at <= BASE:
            return float(self.cold ** ((at - BASE) / 10))
        step = float(self.warm ** ((min(at, WARM) - BASE) / 10))
        return step * float(self.hot ** (max(0.0, at - WARM) / 10))


@dataclass(frozen=True, slots=True)
class Keeping:
    """Hold how one food keeps: `least` and `most` months at -18 °C, its pace, and its days once thawed.

    The least counts. `thawed` is None for what needs no cold (flour, nuts). `known` is False where nobody knows the
    food, or no chart would freeze it; then all of it is our choice.
    """

    least: float
    most: float
    pace: Pace
    thawed: float | None = THAWED
    known: bool = True

    @property
    def days(self) -> float:
        """Return the days it keeps at -18 °C."""
        return self.least * DAYS


def thaws(celsius: float) -> float:
    """Return 1 where food counts as thawed, above -5 °C, else 0."""
    return 1.0 if celsius > MELTING else 0.0


def growth(energy: float, low: float = BASE, high: float = BASE + 10) -> float:
    """Return by how much ageing grows from `low` to `high` (°C) at an activation energy (kJ/mol), after Arrhenius."""
    return math.exp(energy / GAS * (1 / (low + FREEZING) - 1 / (high + FREEZING)))


# Sea bream, sea bass and tuna: 49 to 84 kJ/mol (Tsironi, Stoforos & Taoukis, Foods 2020, 9(12), 1893), the steepest
_FISH = growth(84.0)


def _steepest(group: str) -> Pace:
    """Return the fastest ageing of a group, for foods of it without a row of their own: nothing is gained by cold."""
    if group == "fish":
        return Pace(1.0, _FISH, _FISH)
    rows = [life for life in LIVES if life.group == group]
    warm = max((life.warm for life in rows if life.warm is not None), default=UNKNOWN_GROWTH)
    return Pace(1.0, warm, max([warm, *(life.hot for life in rows if life.hot is not None)]))


def _own(life: Life) -> Pace:
    """Return the ageing of a row; what it does not tell is its group's."""
    group = _steepest(life.group)
    if life.warm is None:
        return Pace(life.cold, group.warm, group.hot)
    return Pace(life.cold, life.warm, max(life.warm, life.hot or 1.0))


_ROWS = {(life.group, life.name): _own(life) for life in LIVES}
_GROUPS = {group: _steepest(group) for group in {life.group for life in LIVES} | {"fish"}}
_NO_ROW = Pace(1.0, UNKNOWN_GROWTH, UNKNOWN_GROWTH)
HOT_MOST = max(max(pace.warm, pace.hot) for pace in (*_ROWS.values(), *_GROUPS.values(), _NO_ROW))  # of all foods


def pace_of(food: Food | None) -> Pace:
    """Return how a food ages with warmth: by its own row, else by the steepest of its group, else by our choice."""
    if food is None or food.life is None:
        return _NO_ROW
    if food.life_row is not None:
        return _ROWS[food.life, food.life_row]
    return _GROUPS[food.life]


def keeping(food: Food | None) -> Keeping:
    """Return how a food keeps; None is a food that is not in the food table."""
    if food is None:
        return Keeping(UNKNOWN_MONTHS, UNKNOWN_MONTHS, _NO_ROW, known=False)
    pace, thawed = pace_of(food), _thawed(food)
    if food.months is None:
        return Keeping(UNKNOWN_MONTHS, UNKNOWN_MONTHS, pace, thawed, known=False)
    return Keeping(*food.months, pace, thawed)


def _thawed(food: Food) -> float | None:
    if food.verdict is Category.FLOUR:
        return None
    row = ROWS[food.verdict]
    return THAWED_DRY if Ruling.REFREEZE in {row.warm, row.printed} else THAWED
