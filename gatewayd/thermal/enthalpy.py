"""How much heat a food holds at a temperature, and how warm it is with that heat: enthalpy and its inverse.

The curve is Chen's (1985a), which Fricke & Becker (HVAC&R Research 7(4), 2001) found best of the published ones. All
is SI: J, kg, K; temperatures in °C; mass fractions of the unfrozen food.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

LOWEST, HIGHEST = -40.0, 40.0  # °C: reference of Chen's curve; above it no household food is asked about (our choice)
FUSION = 333_600.0  # J/kg, heat of fusion of water at 0 °C (ASHRAE Handbook-Refrigeration 2006 ch. 9, L0)
BOUND = 0.4  # kg of water held by a kg of protein, never freezing (Schwartzberg 1976; same chapter, eq. 3)

# Chen 1985a as in the same chapter, eq. 18 (frozen) and eq. 15 (unfrozen), there in kJ/(kg K)
_FROZEN, _FROZEN_SOLIDS = 1550.0, 1260.0
_THAWED, _THAWED_SOLIDS, _THAWED_CUBE = 4190.0, -2300.0, -628.0
# The handbook's rows sum to 0.974 (mackerel) to 1.024 (halibut): each column was analysed by itself.
_LEAST_SUM, _MOST_SUM = 0.97, 1.03
_COLDEST_START, _WARMEST_START = -30.0, -0.01  # °C: colder holds no freezing water; 0 would lose the heat of fusion


@dataclass(frozen=True, slots=True)
class Composition:
    """Hold what a food is made of: mass fractions (0 to 1) of the unfrozen food, and where it begins to freeze (°C).

    `carbohydrate` is the total and holds `fibre`, as in the handbook's columns (ASHRAE Handbook-Refrigeration 2006
    ch. 9 table 3); the sum is taken without `fibre`. The handbook itself counts fibre twice where it prints specific
    heats: its printed column comes out only with fibre added to the total (checked on 21 vegetables), which is up to
    0.09 kJ/(kg K) more than the parts hold.
    Raises ValueError if a fraction is outside 0 to 1, fibre outside carbohydrate, the sum outside 0.97 to 1.03 or
    freezing outside -30 to -0.01 °C.
    """

    water: float
    protein: float
    fat: float
    carbohydrate: float
    fibre: float
    ash: float
    freezing: float

    def __post_init__(self) -> None:
        """Refuse what no food is."""
        for name in ("water", "protein", "fat", "carbohydrate", "fibre", "ash"):
            share = getattr(self, name)
            if not 0 <= share <= 1:
                raise ValueError(f"{share:g} as mass fraction of {name}; allowed are 0 to 1")
        if self.fibre > self.carbohydrate:
            raise ValueError(f"fibre {self.fibre:g} is more than carbohydrate {self.carbohydrate:g}, which holds it")
        total = self.water + self.protein + self.fat + self.carbohydrate + self.ash
        if not _LEAST_SUM <= total <= _MOST_SUM:
            raise ValueError(f"water, protein, fat, carbohydrate and ash sum to {total:g}; allowed are 0.97 to 1.03")
        if not _COLDEST_START <= self.freezing <= _WARMEST_START:
            raise ValueError(f"freezing begins at {self.freezing:g} °C; allowed are -30 to -0.01 °C")

    @property
    def solids(self) -> float:
        """Return the mass fraction that is not water."""
        return 1 - self.water

    @property
    def bound(self) -> float:
        """Return the mass fraction of water bound to protein, 0.4 of the protein (Schwartzberg 1976), at most all."""
        return min(self.water, BOUND * self.protein)

    @property
    def freezable(self) -> float:
        """Return the mass fraction of water that can freeze: all but the bound."""
        return self.water - self.bound


@dataclass(frozen=True, slots=True)
class Mixture:
    """Hold several foods at one temperature, as shares of the mass that sum to 1. Made by `mixture`."""

    parts: tuple[tuple[float, Composition], ...]


def mixture(parts: Sequence[tuple[float, Composition]]) -> Mixture:
    """Mix foods by mass.

    `parts` are (mass, food), the masses in any one unit. The foods stay apart: each freezes at its own temperature and
    the enthalpies add, which averaging the compositions would get wrong. Raises ValueError if a mass is negative or
    not finite, or all are 0.
    """
    for mass, _ in parts:
        if not (isfinite(mass) and mass >= 0):
            raise ValueError(f"a mass of {mass:g} in a mixture; allowed are 0 and more")
    total = sum(mass for mass, _ in parts)
    if not total > 0:
        raise ValueError("a mixture of no mass; give at least one part a mass above 0")
    return Mixture(tuple((mass / total, food) for mass, food in parts if mass))


def enthalpy(t: float, food: Composition | Mixture) -> float:
    """Return the heat (J/kg) that `food` holds at `t` (°C) over -40 °C.

    Valid from -40 to +40 °C, ValueError outside. Up to the initial freezing point Chen's frozen form, above it Chen's
    unfrozen one standing on it (ASHRAE Handbook-Refrigeration 2006 ch. 9 eq. 18 and 15). A mixture is the sum over its
    parts by mass.
    """
    if not LOWEST <= t <= HIGHEST:
        raise ValueError(f"enthalpy asked at {t:g} °C; it is valid from -40 to 40 °C")
    if isinstance(food, Mixture):
        return sum(share * _of_one(t, part) for share, part in food.parts)
    return _of_one(t, food)


def temperature(h: float, food: Composition | Mixture) -> float:
    """Return the temperature (°C) at which `food` holds `h` (J/kg) over -40 °C: the inverse of `enthalpy`.

    Valid where `enthalpy` is, from 0 to its value at +40 °C, ValueError outside. Exact for one food; of a mixture to
    better than 1e-9 K.
    """
    most = enthalpy(HIGHEST, food)
    if not 0 <= h <= most:
        raise ValueError(f"temperature asked at {h:g} J/kg; it is valid from 0 to {most:.0f} J/kg (-40 to 40 °C)")
    if isinstance(food, Composition):
        return _at_one(h, food)
    low, high = LOWEST, HIGHEST
    while high - low > 1e-10:  # halving: the curve has a kink at every part's freezing point, where steps would jump
        middle = (low + high) / 2
        if enthalpy(middle, food) < h:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _frozen(food: Composition) -> tuple[float, float]:
    """Return the two coefficients of the frozen form a (t - t_r) - b (1/t_r - 1/t); b is negative."""
    return _FROZEN + _FROZEN_SOLIDS * food.solids, food.freezable * FUSION * food.freezing


def _thawed(food: Composition) -> float:
    return _THAWED + _THAWED_SOLIDS * food.solids + _THAWED_CUBE * food.solids**3


def _of_one(t: float, food: Composition) -> float:
    a, b = _frozen(food)
    below = min(t, food.freezing)
    return a * (below - LOWEST) - b * (1 / LOWEST - 1 / below) + (t - below) * _thawed(food)


def _at_one(h: float, food: Composition) -> float:
    at_start = _of_one(food.freezing, food)
    if h > at_start:
        return min(HIGHEST, food.freezing + (h - at_start) / _thawed(food))
    # The frozen form times t is the square a t² - p t + b = 0. As b is not positive, one root lies below 0.
    a, b = _frozen(food)
    p = a * LOWEST + b / LOWEST + h
    return max(LOWEST, min(food.freezing, (p - sqrt(p * p - 4 * a * b)) / (2 * a)))
