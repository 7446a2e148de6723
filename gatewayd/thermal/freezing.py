"""How food freezes: where it begins, how much of it is ice, and how much heat each further degree takes.

Equations as collected in ASHRAE Handbook-Refrigeration 2006 ch. 9. Bound water (Schwartzberg 1976) is a property of
`enthalpy.Composition`. SI units, temperatures in °C, mass fractions of the unfrozen food.
"""

from math import log

from gatewayd.thermal.enthalpy import FUSION, HIGHEST, LOWEST, Composition

ZERO = 273.15  # K
GAS = 8.314  # J/(mol K)
WATER_MOLE = 0.018015  # kg/mol
# Our choice: the sources' tables hold foods of about half to nearly all water; the fits are not to be drawn out further
_DRIEST, _WETTEST = 0.5, 0.98
# kJ/(kg K) at 0 °C, Choi & Okos (1986): water of the range above 0 °C and ice
_WATER_LESS_ICE = 1000 * (4.1762 - 2.0623)


def start_meat(water: float) -> float:
    """Return where meat of this mass fraction of `water` begins to freeze (°C).

    Chang & Tao (1981). Valid from 0.5 to 0.98 (our choice); ValueError outside. It reads 0.6 to 1.8 K warmer than
    the handbook's table on meat, fish and poultry; with protein and ash known, `start_pham` is nearer (0.2 K warmer
    on average, within 1 K).
    """
    _check_water(water)
    return 271.18 + 1.47 * water - ZERO


def start_produce(water: float) -> float:
    """Return where a fruit or vegetable of this mass fraction of `water` begins to freeze (°C).

    Chang & Tao (1981). Valid from 0.5 to 0.98 (our choice); ValueError outside. Above 0.88 of water it goes above
    0 °C (0.17 °C at 0.90), which no food does: of use for the drier ones only.
    """
    _check_water(water)
    return 287.56 - 49.19 * water + 37.07 * water**2 - ZERO


def start_juice(water: float) -> float:
    """Return where a juice of this mass fraction of `water` begins to freeze (°C).

    Chang & Tao (1981). Valid from 0.5 to 0.98 (our choice); ValueError outside. From 0.93 of water it turns down again.
    """
    _check_water(water)
    return 120.47 + 327.35 * water - 176.49 * water**2 - ZERO


def start_pham(water: float, protein: float, carbohydrate: float, ash: float) -> float:
    """Return where a food of these mass fractions begins to freeze (°C).

    Pham (1996), fitted to meats: -4.66 other / water - 46.4 ash / water, "other" taken as what is neither water, fat
    nor ash (our reading). Valid for fractions of 0 to 1 with water of at least 0.1 (our choice); ValueError outside.
    """
    for name, share in (("protein", protein), ("carbohydrate", carbohydrate), ("ash", ash)):
        if not 0 <= share <= 1:
            raise ValueError(f"{share:g} as mass fraction of {name}; allowed are 0 to 1")
    if not 0.1 <= water <= 1:
        raise ValueError(f"{water:g} as mass fraction of water; Pham's freezing point is valid from 0.1 to 1")
    return -4.66 * (protein + carbohydrate) / water - 46.4 * ash / water


def frozen_share(t: float, freezing: float) -> float:
    """Return the share (0 to 1) of the freezable water that is ice at `t` (°C) if ice begins at `freezing` (°C).

    1 - t_f / t (Miles et al. 1983). Valid from -40 to 40 °C, ValueError outside; 0 from `freezing` up.
    """
    _check_t(t)
    return 1 - freezing / t if t < freezing else 0.0


def ice_chen(t: float, food: Composition) -> float:
    """Return the mass fraction of ice in `food` at `t` (°C): the freezable water times its frozen share.

    Chen (1985b) and Miles et al. (1983), handbook eq. 4; never more than the freezable water. Valid from -40 to
    40 °C, ValueError outside; 0 from the food's freezing point up.
    """
    return food.freezable * frozen_share(t, food.freezing)


def ice_tchigeov(t: float, food: Composition) -> float:
    """Return the mass fraction of ice in `food` at `t` (°C) by Tchigeov (1979), handbook eq. 5.

    It knows no bound water: it may exceed the freezable water, never all of it. Valid from -40 to 40 °C, ValueError
    outside; 0 from the food's freezing point up.
    """
    _check_t(t)
    below = food.freezing - t
    # At the freezing point itself the logarithm is 0; a hair below it the fraction goes to 0 by itself.
    logarithm = log(below + 1) if below > 0 else 0.0
    return 1.105 * food.water / (1 + 0.7138 / logarithm) if logarithm else 0.0


def heat_thawed(food: Composition) -> float:
    """Return the specific heat (J/(kg K)) of the unfrozen `food`, the same at all temperatures.

    Chen (1985): 4.19 - 2.30 x_s - 0.628 x_s³ in kJ/(kg K), x_s the solids. Valid from freezing to 40 °C.
    """
    return 1000 * (4.19 - 2.30 * food.solids - 0.628 * food.solids**3)


def heat_chen(t: float, food: Composition) -> float:
    """Return the apparent specific heat (J/(kg K)) of the frozen `food` at `t` (°C), the melting of its ice counted in.

    Chen (1985): 1.55 + 1.26 x_s - (x_wo - x_b) L0 t_f / t² in kJ/(kg K); the slope of `enthalpy`. Valid from -40 °C
    to the food's freezing point, ValueError outside. At -40 °C it reads 0.035 kJ/(kg K) below the handbook's table on
    average; that table's column holds at -40 °C only, and at -5 °C the true value is many times higher.
    """
    _check_frozen(t, food)
    return 1550 + 1260 * food.solids - food.freezable * FUSION * food.freezing / t**2


def heat_schwartzberg(t: float, food: Composition) -> float:
    """Return the apparent specific heat (J/(kg K)) of the frozen `food` at `t` (°C), the melting of its ice counted in.

    Schwartzberg (1976): c_u - (x_wo - x_b) dc + E x_s (R T0² / (M_w t²) - 0.8 dc), dc water less ice, E the molar
    mass of water over that of the solids, which follows from the freezing point (handbook eq. 8). The equation is
    from memory, checked against Chen's. Valid from -40 °C to the food's freezing point, ValueError outside.
    """
    _check_frozen(t, food)
    gas = GAS * ZERO**2 / WATER_MOLE  # J K/kg
    solute = -food.freezable * FUSION * food.freezing / gas  # E x_s, by the freezing point
    return heat_thawed(food) - food.freezable * _WATER_LESS_ICE + solute * (gas / t**2 - 0.8 * _WATER_LESS_ICE)


def _check_water(water: float) -> None:
    if not _DRIEST <= water <= _WETTEST:
        raise ValueError(f"{water:g} as mass fraction of water; this freezing point is valid from 0.5 to 0.98")


def _check_t(t: float) -> None:
    if not LOWEST <= t <= HIGHEST:
        raise ValueError(f"ice asked at {t:g} °C; it is valid from -40 to 40 °C")


def _check_frozen(t: float, food: Composition) -> None:
    if not LOWEST <= t <= food.freezing:
        raise ValueError(
            f"apparent specific heat asked at {t:g} °C; it is valid from -40 to {food.freezing:g} °C (freezing)"
        )
