"""Build freezers of a given size and fill: the plants that physics then moves.

Conductances are chosen so that duty, starts, ripple and hold-over time agree with published figures (see the tests).
"""

from gatewayd.demo.food import Food
from gatewayd.demo.physics import Build, Defrost, Lump, Plant, chest_conductance

_TYPICAL = 300.0  # L; surfaces, and what hangs on them, grow with volume to the power 2/3
_PACKED = 0.36  # kg of food per litre of a freezer that is packed full (about 20 lb a cubic foot: common practice)


def chest(litres: float, kilograms: float, foods: tuple[Food, Food], mean: float = -18.4) -> Plant:
    """Build a manual-defrost chest: layers of food, the upper ones of the first food, the lowest of the second.

    The thermostat keeps the air near `mean` (°C). Coldest at the walls, where the evaporator is.
    """
    size = (litres / _TYPICAL) ** (2 / 3)
    ua = chest_conductance(litres)
    joint = (4 + 9 * min(1.0, kilograms / (_PACKED * litres))) * size
    build = Build(
        ua_walls=ua * 0.75,
        ua_lid=ua * 0.25,  # lid and gasket: 10 to 30 % of the load in measured freezers
        cooling=90.0 * ua,  # runs a third of the time at 15 °C
        cut_in=mean + 1.4,
        cut_out=mean - 3.4,
        open_exchange=7.0 * size,  # cold air stays in an open chest; W/K, chosen
        air_liner=8.0 * size,
        liner_mass=17_000.0 * size,
    )
    above, below = foods
    lumps = [
        Lump(above, kilograms * 0.2, joint * 0.45, joint * 0.10, 4.0 * size, mean),
        Lump(above, kilograms * 0.4, 0.0, joint * 0.20, 4.0 * size, mean - 0.5),
        Lump(below, kilograms * 0.4, 0.0, joint * 0.25, 0.0, mean - 0.8),
    ]
    return Plant(build, lumps, mean - 1.0)


def upright(litres: float, kilograms: float, foods: tuple[Food, Food], mean: float = -18.9) -> Plant:
    """Build an upright with automatic defrost: a fan blows over a coil, and a heater clears it once a day or so."""
    size = (litres / _TYPICAL) ** (2 / 3)
    build = Build(
        ua_walls=0.90 * size,
        ua_lid=0.28 * size,  # the door's gasket is longer than a lid's
        cooling=113.0 * size,
        cut_in=mean + 2.4,
        cut_out=mean - 0.1,
        open_exchange=28.0 * size,  # cold air falls out of an open door; W/K, chosen
        air_liner=20.0 * size,  # the fan stirs
        liner_mass=17_000.0 * size,
        fan=22.0 * size,
        defrost=Defrost(after=6 * 3600.0, power=170.0, lasts=20 * 60.0),  # 6 h of running: the usual clockwork timer
    )
    joint = 9.0 * size
    lumps = [
        Lump(foods[0], kilograms * 0.4, joint * 0.45, joint * 0.05, 1.0, mean),
        Lump(foods[1], kilograms * 0.6, joint * 0.45, joint * 0.05, 0.0, mean),
    ]
    return Plant(build, lumps, mean)
