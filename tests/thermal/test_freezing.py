"""Where food begins to freeze and how much of it is ice, against printed values, a library and the sources' limits."""

from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scisuit.eng import Food

from gatewayd.thermal.enthalpy import FUSION, Composition, enthalpy
from gatewayd.thermal.freezing import (
    frozen_share,
    heat_chen,
    heat_schwartzberg,
    heat_thawed,
    ice_chen,
    ice_tchigeov,
    start_juice,
    start_meat,
    start_pham,
    start_produce,
)
from tests.thermal.handbook import CHECKS, FOODS, asking, compositions, of_check, of_food, said, with_value

ASKS = {
    "start_meat": lambda row: start_meat(float(row["water"])),
    "start_produce": lambda row: start_produce(float(row["water"])),
    "start_juice": lambda row: start_juice(float(row["water"])),
    "frozen_share": lambda row: frozen_share(float(row["t"]), float(row["freezing"])),
    "heat_chen": lambda row: heat_chen(float(row["t"]), of_check(row)),
    "latent heat": lambda row: FUSION * of_check(row).water,
}
FLESH = ("red_meat", "fish_lean", "fish_fatty", "poultry")
below = st.floats(-40, -12.001)  # °C: frozen, whatever the food that `compositions` draws


@pytest.mark.parametrize("name", asking(*ASKS))
def test_rows(name):
    """Each printed freezing point, frozen share, specific heat and latent heat comes out."""
    row = CHECKS[name]
    assert ASKS[row["asks"]](row) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)


@pytest.mark.parametrize("name", with_value("latent_kJ_kg"))
def test_table_latent(name):
    """The table's latent heat is that of all its water: within 1 kJ/kg where read, 2 where remembered."""
    row = FOODS[name]
    tolerance = 1000 if row["status"] == "confirmed" else 2000
    ours = FUSION * of_food(row).water
    assert ours == pytest.approx(1000 * float(row["latent_kJ_kg"]), abs=tolerance), said(row)


@pytest.mark.parametrize("name", with_value("c_below_kJ_kgK"))
def test_table_below(name):
    """The table's specific heat below freezing is Chen's at -40 °C, within 0.075 kJ/(kg K) where read, else 0.11."""
    row = FOODS[name]
    tolerance = 75 if row["status"] == "confirmed" else 110
    ours = heat_chen(-40, of_food(row))
    assert ours == pytest.approx(1000 * float(row["c_below_kJ_kgK"]), abs=tolerance), said(row)


def test_table_below_bias():
    """On the vegetables read in full Chen's value at -40 °C is 0.035 kJ/(kg K) low on average."""
    names = [name for name in with_value("c_below_kJ_kgK") if FOODS[name]["status"] == "confirmed"]
    low = [1000 * float(FOODS[name]["c_below_kJ_kgK"]) - heat_chen(-40, of_food(FOODS[name])) for name in names]
    assert sum(low) / len(low) == pytest.approx(35, abs=3)


def test_column_is_no_constant():
    """At -5 °C peas take many times the table's specific heat below freezing, which holds at -40 °C only."""
    peas = of_food(FOODS["Peas green"])
    assert heat_chen(-5, peas) > 3.5 * heat_chen(-40, peas)


@pytest.mark.parametrize("name", with_value("c_above_kJ_kgK"))
def test_table_thawed(name):
    """Chen's specific heat above freezing is within 0.06 kJ/(kg K) of the table where read, 0.11 where remembered."""
    row = FOODS[name]
    tolerance = 60 if row["status"] == "confirmed" else 110
    assert heat_thawed(of_food(row)) == pytest.approx(1000 * float(row["c_above_kJ_kgK"]), abs=tolerance), said(row)


@pytest.mark.parametrize(
    "name", [name for name in with_value("t_freeze_C") if FOODS[name]["group"] in FLESH], ids=str.lower
)
def test_pham(name):
    """Pham's freezing point of meat, fish and poultry is within 1 K of the table's, and nearer than Chang & Tao's."""
    row = FOODS[name]
    food, printed = of_food(row), float(row["t_freeze_C"])
    ours = start_pham(food.water, food.protein, food.carbohydrate, food.ash)
    assert ours == pytest.approx(printed, abs=1), said(row)
    assert abs(ours - printed) < abs(start_meat(food.water) - printed)


def test_tchigeov_of_the_library():
    """scisuit's ice fraction of a food that it rescaled is ours of the same rescaled food."""
    row = CHECKS["scisuit_x_ice"]
    theirs = Food(water=58.21, protein=17.48, lipid=22.55, ash=0.82)
    theirs.T = -20
    ours = of_check(row)
    share = theirs.x_ice(-1.7)
    assert share == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)
    assert ice_tchigeov(-20, ours) / 0.9906 == pytest.approx(share, rel=1e-9)


def test_worked_example():
    """The handbook's 150 kg of beef hold 78 kg of ice and 9 kg of water at -20 °C, where it rounds to 0.52 first."""
    beef = Composition(0.58, 0.175, 0.237, 0, 0, 0.008, -1.7)
    share = ice_tchigeov(-20, beef)
    assert share == pytest.approx(0.52, abs=0.005)
    assert round(150 * round(share, 2)) == 78
    assert round(150 * (beef.water - round(share, 2))) == 9


@given(compositions(), st.floats(-40, 40))
def test_ice_bounds(food, t):
    """Ice is never less than none nor more than the water, Chen's never more than the freezable water."""
    assert 0 <= ice_chen(t, food) <= food.freezable <= food.water
    assert 0 <= ice_tchigeov(t, food) <= food.water
    if t >= food.freezing:
        assert ice_chen(t, food) == ice_tchigeov(t, food) == 0


@given(compositions(), st.floats(-40, 40), st.floats(-40, 40))
def test_ice_melts(food, one, other):
    """Warmer food never holds more ice."""
    cold, warm = sorted((one, other))
    assert ice_chen(warm, food) <= ice_chen(cold, food)
    assert ice_tchigeov(warm, food) <= ice_tchigeov(cold, food)


@given(compositions(), below)
def test_apparent_is_the_slope(food, t):
    """Chen's apparent specific heat is the slope of Chen's enthalpy."""
    step = 1e-4
    t = max(-40 + step, t)
    slope = (enthalpy(t + step, food) - enthalpy(t - step, food)) / (2 * step)
    assert heat_chen(t, food) == pytest.approx(slope, rel=1e-5)


@given(compositions(), st.floats(-40, 40))
def test_thawed_is_the_slope(food, t):
    """Above freezing the slope of the enthalpy is Chen's unfrozen specific heat."""
    t = max(food.freezing, min(t, 39.9))
    slope = (enthalpy(t + 0.1, food) - enthalpy(t, food)) / 0.1
    assert heat_thawed(food) == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize("t", [-3, -5, -10, -18])
def test_schwartzberg_beside_chen(t):
    """The two apparent specific heats of lean foods differ by less than 28 %, least where most ice melts."""
    for name in ("Beef sirloin lean", "Cod", "Peas green", "Strawberries"):
        food = of_food(FOODS[name])
        assert heat_schwartzberg(t, food) == pytest.approx(heat_chen(t, food), rel=0.28)
    near = heat_schwartzberg(-3, food) / heat_chen(-3, food)
    assert near == pytest.approx(1, abs=0.08)


def test_tchigeov_near_freezing():
    """A hair below freezing there is next to no ice, by the printed equation."""
    food = of_food(FOODS["Cod"])
    t = food.freezing - 1e-3
    assert ice_tchigeov(t, food) == pytest.approx(1.105 * food.water / (1 + 0.7138 / log(1.001)))
    assert ice_tchigeov(t, food) < 0.01


@pytest.mark.parametrize("ask", [start_meat, start_produce, start_juice])
@pytest.mark.parametrize("water", [0.49, 0.99, float("nan")])
def test_start_range(ask, water):
    """Outside the sources' kind of food a freezing point is refused with the range."""
    with pytest.raises(ValueError, match=r"valid from 0.5 to 0.98"):
        ask(water)


def test_pham_range():
    """Pham's is refused for next to dry food and for fractions that are none."""
    with pytest.raises(ValueError, match=r"valid from 0.1 to 1"):
        start_pham(0.05, 0.2, 0.2, 0.01)
    with pytest.raises(ValueError, match="protein; allowed are 0 to 1"):
        start_pham(0.7, 20, 0, 0.01)


@pytest.mark.parametrize("t", [-40.1, 40.1, float("nan")])
def test_ice_range(t):
    """Outside -40 to 40 °C ice is refused with the range."""
    food = of_food(FOODS["Cod"])
    for ask in (lambda: ice_chen(t, food), lambda: ice_tchigeov(t, food), lambda: frozen_share(t, -1)):
        with pytest.raises(ValueError, match="valid from -40 to 40 °C"):
            ask()


@pytest.mark.parametrize("ask", [heat_chen, heat_schwartzberg])
@pytest.mark.parametrize("t", [-40.1, -2.1, float("nan")])
def test_apparent_range(ask, t):
    """Outside -40 °C to freezing the apparent specific heat is refused with the range."""
    with pytest.raises(ValueError, match=r"valid from -40 to -2.2 °C"):
        ask(t, of_food(FOODS["Cod"]))


def test_bound_water():
    """Two fifths of the protein's weight of water is bound, never more than there is."""
    assert of_food(FOODS["Beef carcass select"]).bound == pytest.approx(0.4 * 0.1748)
    assert Composition(0.05, 0.5, 0.45, 0, 0, 0, -1).bound == 0.05
