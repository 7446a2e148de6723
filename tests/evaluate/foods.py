"""The plant's own food curves: temperature and conductivity from enthalpy, by Tchigeov's ice curve.

Nothing of gatewayd is used here, so that a mistake in its food properties cannot hide behind the same mistake.
Compositions: ASHRAE Handbook-Refrigeration 2006, chapter 9, table 3 (rows of meat, bread and dairy from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LATENT = 333.6e3  # J/kg of ice, same chapter
BOTTOM, TOP = -44.0, 80.0  # °C; Tchigeov's curve is fitted down to about -45 °C
STEP = 500.0  # J/kg between the points of a curve: under 0.25 K where it is steepest
POINTS = 1400


@dataclass(frozen=True, slots=True)
class Food:
    """Hold mass fractions, the initial freezing point (°C), and the group that an owner would tell."""

    name: str
    group: str
    water: float
    protein: float
    fat: float
    carbohydrate: float
    freezes: float
    density: float = 1000.0  # kg/m3, frozen; bread is a sponge


FOODS = (
    Food("lean beef", "meat", 0.717, 0.2124, 0.044, 0.0, -1.7),
    Food("venison, pork", "meat", 0.726, 0.196, 0.071, 0.0, -2.2),
    Food("chicken", "meat", 0.660, 0.186, 0.151, 0.0, -2.8, 960.0),
    Food("cod, trout", "meat", 0.812, 0.178, 0.007, 0.0, -2.2),
    Food("peas", "vegetables-fruit", 0.7886, 0.0542, 0.004, 0.1446, -0.6, 700.0),  # poured: a third is air
    Food("beans", "vegetables-fruit", 0.9027, 0.0182, 0.0012, 0.0714, -0.7, 700.0),
    Food("strawberries", "vegetables-fruit", 0.9157, 0.0061, 0.0037, 0.0702, -0.8, 750.0),
    Food("bread", "bread", 0.367, 0.082, 0.036, 0.495, -4.5, 350.0),
    Food("cooked dishes", "meals", 0.780, 0.060, 0.050, 0.100, -1.2),
    Food("water in bottles", "water", 0.999, 0.0, 0.0, 0.0, -0.02, 920.0),
)
GROUPS = ("meat", "vegetables-fruit", "bread", "meals", "water")
DENSITY = np.array([food.density for food in FOODS])
GROUP_OF = np.array([GROUPS.index(food.group) for food in FOODS])


def ice(food: Food, t: Array) -> Array:
    """Return the mass fraction of ice at `t` (°C). Tchigeov 1979 as in the same chapter, equation 5.

    The curve is for food with something dissolved; pure water is given a narrow melt just below 0 °C instead.
    """
    below = np.maximum(food.freezes - t, 0.0)
    if food.water > 0.99:
        return food.water * np.clip(below / 0.28, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        share = 1.105 * food.water / (1.0 + 0.7138 / np.log1p(below))
    return np.minimum(share, food.water)


def _conductivity(food: Food, frozen: Array) -> Array:
    # Choi & Okos 1986 at about -5 °C, volumes mixed geometrically: between parallel and series, common practice
    parts = (
        (food.water - frozen, 990.0, 0.56),
        (frozen, 917.0, 2.25),
        (np.full_like(frozen, food.protein), 1330.0, 0.18),
        (np.full_like(frozen, food.fat), 926.0, 0.18),
        (np.full_like(frozen, food.carbohydrate + 0.01), 1600.0, 0.20),
    )
    volume = sum(mass / density for mass, density, _ in parts)
    solid: Array = np.exp(sum(mass / density * np.log(k) for mass, density, k in parts) / volume)
    air = max(0.0, 1.0 - food.density / 950.0)
    return solid * (1.0 - air) ** 1.5  # Bruggeman's rule for pores that carry no heat


def _curve(food: Food) -> tuple[Array, Array]:
    t = np.arange(BOTTOM, TOP + 0.001, 0.005)
    frozen = ice(food, t)
    sensible = (
        (food.water - frozen) * 4180.0 + frozen * 2050.0 + food.protein * 2010.0 + food.fat * 1985.0
        + (food.carbohydrate + 0.01) * 1550.0
    )  # fmt: skip
    steps = 0.5 * (sensible[1:] + sensible[:-1]) * np.diff(t) - LATENT * np.diff(frozen)
    enthalpy = np.concatenate(([0.0], np.cumsum(steps)))
    grid = np.arange(POINTS) * STEP
    return np.interp(grid, enthalpy, t), np.interp(grid, enthalpy, _conductivity(food, frozen))


_CURVES = [_curve(food) for food in FOODS]
_T = np.concatenate([curve[0] for curve in _CURVES])
_K = np.concatenate([curve[1] for curve in _CURVES])


def temperature(food: NDArray[np.int64], h: Array) -> tuple[Array, Array]:
    """Return temperature (°C) and conductivity (W/mK) at enthalpy `h` (J/kg, 0 at -44 °C) of foods by index."""
    x = h * (1.0 / STEP)
    whole = x.astype(np.int64)
    np.clip(whole, 0, POINTS - 2, out=whole)
    part = x - whole
    at = food * POINTS + whole
    low = _T.take(at)
    return low + part * (_T.take(at + 1) - low), _K.take(at)


def enthalpy(food: NDArray[np.int64], t: Array) -> Array:
    """Return the enthalpy (J/kg) of foods by index at `t` (°C)."""
    food, t = np.broadcast_arrays(food, t)
    out = np.empty(t.shape)
    for index, (curve, _) in enumerate(_CURVES):
        mine = food == index
        out[mine] = np.interp(t[mine], curve, np.arange(POINTS) * STEP)
    return out
