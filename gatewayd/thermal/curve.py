"""The enthalpy of what a freezer holds, as a fine table: the fit looks temperatures up a million times.

The contents are groups of food; each group warms as one composition of the handbook does. Enthalpies are those of Chen
(1985a), added by mass at equal temperature.
"""

from functools import lru_cache

from gatewayd.model.contents import Contents, Group
from gatewayd.thermal.enthalpy import Composition, enthalpy

# A composition for each group, after rows of the handbook's table of compositions (ASHRAE Handbook-Refrigeration 2006,
# chapter 9, table 3): beef and pork cuts with fish between; peas, beans and berries; white bread; cooked dishes near
# to 4/5 water; tap water with a freezing point just below zero, where Chen's form still holds.
GROUPS = {
    Group.MEAT: Composition(0.68, 0.19, 0.12, 0.0, 0.0, 0.01, -1.8),
    Group.PRODUCE: Composition(0.84, 0.03, 0.005, 0.115, 0.03, 0.01, -0.9),
    Group.BREAD: Composition(0.37, 0.09, 0.035, 0.485, 0.025, 0.02, -4.5),
    Group.MEALS: Composition(0.78, 0.06, 0.05, 0.1, 0.01, 0.01, -1.2),
    Group.WATER: Composition(0.995, 0.0, 0.0, 0.0, 0.0, 0.005, -0.02),
}
COLDEST, WARMEST = -40.0, 40.0  # °C, the range of the enthalpies
CELLS = 8000  # of equal enthalpy; no cell is wider than 0.05 K, so that no interpolation is needed


class Curve:
    """Hold temperature over enthalpy of one mixture: `table[int(h * scale)]` is °C at h J/kg, from 0 at -40 °C."""

    def __init__(self, shares: tuple[tuple[Group, float], ...]) -> None:
        """Make the table of a mixture; `shares` are mass fractions that sum to 1."""
        self._parts = [(share, GROUPS[group]) for group, share in shares if share > 0]
        self.top = self.enthalpy(WARMEST)
        self.scale = CELLS / self.top
        self.table = self._invert()
        self.at_minus_10 = self.enthalpy(-10.0)
        self.at_0 = self.enthalpy(0.0)

    def enthalpy(self, t: float) -> float:
        """Return the enthalpy (J/kg, 0 at -40 °C) at `t` (°C); raise ValueError beyond -40 to 40 °C."""
        return sum(share * enthalpy(t, food) for share, food in self._parts)

    def temperature(self, h: float) -> float:
        """Return the temperature (°C) at `h` J/kg, to half a cell; held at the ends of the range."""
        return self.table[max(0, min(CELLS - 1, int(h * self.scale)))]

    def _invert(self) -> list[float]:
        """Return the temperature at the middle of each cell, by one walk up the curve."""
        step = 0.02  # K
        table, t, h, following = [], COLDEST, 0.0, 0.0
        for cell in range(CELLS):
            wanted = (cell + 0.5) / self.scale
            while following < wanted:
                t, h = (t + step if cell or following else COLDEST), following
                following = self.enthalpy(min(t + step, WARMEST))
            table.append(t + step * (wanted - h) / (following - h) if following > h else t)
        return table


@lru_cache(maxsize=64)  # a household has a handful of mixtures; evaluations play hundreds
def _curve(shares: tuple[tuple[Group, float], ...]) -> Curve:
    return Curve(shares)


def curve_of(kg: Contents) -> Curve:
    """Return the curve of some contents (kg by group); of cooked meals where nothing is told."""
    whole = sum(kg.values())
    if whole <= 0:
        return _curve(((Group.MEALS, 1.0),))
    return _curve(tuple((group, round(kg.get(group, 0.0) / whole, 3)) for group in Group if kg.get(group, 0.0) > 0))
