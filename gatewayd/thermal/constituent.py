"""What the parts of food are like: heat, conductivity and density of protein, fat, water and the others.

Choi & Okos (1986), as printed in ASHRAE Handbook-Refrigeration 2006 ch. 9 tables 1 and 2: polynomials a + b t + c t² in
°C. They agree with CoolProp 8.0.0 `INCOMP::Food*` to the last printed digit, but for water below 0 °C. SI units.
"""

from enum import Enum

from gatewayd.thermal.enthalpy import Composition

COLDEST, HOTTEST = -40.0, 150.0  # °C, the range the source gives
THAW = 0.0  # °C, where ice ends and the polynomials of water change


class Part(Enum):
    """Name a part of food."""

    PROTEIN = "protein"
    FAT = "fat"
    CARBOHYDRATE = "carbohydrate"
    FIBRE = "fibre"
    ASH = "ash"
    WATER = "water"
    ICE = "ice"


class Water(Enum):
    """Name whose constant begins the specific heat of water.

    ORIGINAL are Choi & Okos' own two (from memory): 4.1762 kJ/(kg K) above 0 °C and 4.0817 below. HANDBOOK is the
    4.1289 that the 2006 handbook prints for both ranges, which is the mean of the two and was copied into libraries.
    The handbook's own examples and its table of specific heats come out only with the original (3.59 kJ/(kg K) for
    lamb at 5 °C; 3.556 with the mean), so the original is what we take unless asked otherwise.
    """

    ORIGINAL = "original"
    HANDBOOK = "handbook"


_Three = tuple[float, float, float]

# kJ/(kg K); the constant of water stands in _WATER_HEAT
_HEAT: dict[Part, _Three] = {
    Part.PROTEIN: (2.0082, 1.2089e-3, -1.3129e-6),
    Part.FAT: (1.9842, 1.4733e-3, -4.8008e-6),
    Part.CARBOHYDRATE: (1.5488, 1.9625e-3, -5.9399e-6),
    Part.FIBRE: (1.8459, 1.8306e-3, -4.6509e-6),
    Part.ASH: (1.0926, 1.8896e-3, -3.6817e-6),
    Part.ICE: (2.0623, 6.0769e-3, 0.0),
}
# kJ/(kg K) of water: from 0 °C up, and below
_WATER_HEAT: dict[Water, tuple[_Three, _Three]] = {
    Water.ORIGINAL: ((4.1762, -9.0864e-5, 5.4731e-6), (4.0817, -5.3062e-3, 9.9516e-4)),
    Water.HANDBOOK: ((4.1289, -9.0864e-5, 5.4731e-6), (4.1289, -5.3062e-3, 9.9516e-4)),
}
# W/(m K)
_CONDUCTIVITY: dict[Part, _Three] = {
    Part.PROTEIN: (0.17881, 1.1958e-3, -2.7178e-6),
    Part.FAT: (0.18071, -2.7604e-4, -1.7749e-7),
    Part.CARBOHYDRATE: (0.20141, 1.3874e-3, -4.3312e-6),
    Part.FIBRE: (0.18331, 1.2497e-3, -3.1683e-6),
    Part.ASH: (0.32962, 1.4011e-3, -2.9069e-6),
    Part.WATER: (0.57109, 1.7625e-3, -6.7036e-6),
    Part.ICE: (2.2196, -6.2489e-3, 1.0154e-4),
}
# kg/m³
_DENSITY: dict[Part, _Three] = {
    Part.PROTEIN: (1329.9, -0.51840, 0.0),
    Part.FAT: (925.59, -0.41757, 0.0),
    Part.CARBOHYDRATE: (1599.1, -0.31046, 0.0),
    Part.FIBRE: (1311.5, -0.36589, 0.0),
    Part.ASH: (2423.8, -0.28063, 0.0),
    Part.WATER: (997.18, 3.1439e-3, -3.7574e-3),
    Part.ICE: (916.89, -0.13071, 0.0),
}


def specific_heat(part: Part, t: float, water: Water = Water.ORIGINAL) -> float:
    """Return the specific heat (J/(kg K)) of `part` at `t` (°C).

    Valid from -40 to 150 °C, ice to 0 °C; ValueError outside. `water` chooses the constant of water and changes no
    other part. Source: Choi & Okos (1986).
    """
    _check(part, t)
    if part is Part.WATER:
        above, below = _WATER_HEAT[water]
        return 1000 * _at(above if t >= THAW else below, t)
    return 1000 * _at(_HEAT[part], t)


def conductivity(part: Part, t: float) -> float:
    """Return the thermal conductivity (W/(m K)) of `part` at `t` (°C).

    Valid from -40 to 150 °C, ice to 0 °C; ValueError outside. Source: Choi & Okos (1986), for water one polynomial
    over both ranges.
    """
    _check(part, t)
    return _at(_CONDUCTIVITY[part], t)


def density(part: Part, t: float) -> float:
    """Return the density (kg/m³) of `part` at `t` (°C).

    Valid from -40 to 150 °C, ice to 0 °C; ValueError outside. Source: Choi & Okos (1986), for water one polynomial
    over both ranges.
    """
    _check(part, t)
    return _at(_DENSITY[part], t)


def shares(food: Composition) -> dict[Part, float]:
    """Return the mass fractions of the unfrozen `food` by part, fibre taken out of the carbohydrate that holds it.

    They sum to what the composition sums to (0.97 to 1.03).
    """
    return {
        Part.WATER: food.water,
        Part.PROTEIN: food.protein,
        Part.FAT: food.fat,
        Part.CARBOHYDRATE: food.carbohydrate - food.fibre,
        Part.FIBRE: food.fibre,
        Part.ASH: food.ash,
    }


def heat_of(food: Composition, t: float, water: Water = Water.ORIGINAL) -> float:
    """Return the specific heat (J/(kg K)) of the unfrozen `food` at `t` (°C): the sum of its parts by mass.

    Valid from the food's freezing point to 150 °C; ValueError outside. Source: ASHRAE Handbook-Refrigeration 2006
    ch. 9. The handbook's printed column adds fibre once more (see `Composition`); this does not.
    """
    _check_thawed(food, t)
    return sum(share * specific_heat(part, t, water) for part, share in shares(food).items())


def density_of(food: Composition, t: float, porosity: float = 0.0) -> float:
    """Return the density (kg/m³) of the unfrozen `food` at `t` (°C): the volumes of its parts add.

    `porosity` is the share of air in the volume (0 to below 1). Valid from the food's freezing point to 150 °C;
    ValueError outside. Source: ASHRAE Handbook-Refrigeration 2006 ch. 9, (1 - porosity) / Σ(x / rho).
    """
    _check_thawed(food, t)
    if not 0 <= porosity < 1:
        raise ValueError(f"a porosity of {porosity:g}; allowed are 0 to below 1")
    return (1 - porosity) / sum(share / density(part, t) for part, share in shares(food).items())


def _at(three: _Three, t: float) -> float:
    a, b, c = three
    return a + t * (b + t * c)


def _check(part: Part, t: float) -> None:
    highest = THAW if part is Part.ICE else HOTTEST
    if not COLDEST <= t <= highest:
        raise ValueError(f"{part.value} asked at {t:g} °C; its figures are valid from -40 to {highest:g} °C")


def _check_thawed(food: Composition, t: float) -> None:
    if not food.freezing <= t <= HOTTEST:
        raise ValueError(f"unfrozen food asked at {t:g} °C; it is valid from {food.freezing:g} (freezing) to 150 °C")
