"""The parts of food against the handbook's numbers and two libraries that hold the same polynomials."""

import pytest
from CoolProp.CoolProp import PropsSI
from scisuit.eng import Food

from gatewayd.thermal.constituent import (
    Part,
    Water,
    conductivity,
    density,
    density_of,
    heat_of,
    shares,
    specific_heat,
)
from tests.thermal.handbook import CHECKS, FOODS, asking, of_check, of_food, said, with_value

FLUIDS = {
    Part.PROTEIN: "FoodProtein",
    Part.FAT: "FoodFat",
    Part.CARBOHYDRATE: "FoodCarbohydrate",
    Part.FIBRE: "FoodFiber",
    Part.ASH: "FoodAsh",
    Part.WATER: "FoodWater",
    Part.ICE: "FoodIce",
}


def twice(food):
    """Return the specific heat at 20 °C as the handbook's table has it: fibre added to the total that holds it."""
    parts = {**shares(food), Part.CARBOHYDRATE: food.carbohydrate}
    return sum(share * specific_heat(part, 20) for part, share in parts.items())


@pytest.mark.parametrize("name", asking("specific_heat", "density", "conductivity"))
def test_part_rows(name):
    """Each printed value of a part comes out, water below 0 °C by its own polynomial."""
    row = CHECKS[name]
    part, t = Part(row["of"]), float(row["t"])
    ours = {
        "specific_heat": lambda: specific_heat(part, t, Water.HANDBOOK),
        "density": lambda: density(part, t),
        "conductivity": lambda: conductivity(part, t),
    }[row["asks"]]()
    assert ours == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)


@pytest.mark.parametrize("part", Part)
@pytest.mark.parametrize("t", [-40, -20, -5, -0.5, 0, 5, 20, 40])
def test_coolprop(part, t):
    """CoolProp's food fluids hold the same numbers, water below 0 °C aside, where it keeps the polynomial above."""
    if part is Part.ICE and t > -0.5:
        t = -0.01  # CoolProp's ice ends there
    if part is Part.WATER and t < 0:
        theirs = PropsSI("C", "T", t + 273.15, "P", 101325, "INCOMP::FoodWater")
        extended = 4128.9 - 9.0864e-2 * t + 5.4731e-3 * t * t
        assert theirs == pytest.approx(extended, rel=1e-9)
        assert specific_heat(part, t, Water.HANDBOOK) > extended
    else:
        theirs = PropsSI("C", "T", t + 273.15, "P", 101325, "INCOMP::" + FLUIDS[part])
        assert specific_heat(part, t, Water.HANDBOOK) == pytest.approx(theirs, rel=1e-9)
    for ours, key in ((density, "D"), (conductivity, "L")):
        theirs = PropsSI(key, "T", t + 273.15, "P", 101325, "INCOMP::" + FLUIDS[part])
        assert ours(part, t) == pytest.approx(theirs, rel=1e-9)


def test_coolprop_trap():
    """CoolProp's water at -20 °C is 4.1329 kJ/(kg K), not the 4.6331 of the handbook's own range below 0 °C."""
    theirs = PropsSI("C", "T", 253.15, "P", 101325, "INCOMP::FoodWater")
    assert theirs == pytest.approx(4132.9, abs=0.1)
    assert specific_heat(Part.WATER, -20, Water.HANDBOOK) == pytest.approx(4633.1, abs=0.1)


def test_water_constants():
    """The handbook's one constant of water is the mean of the two originals."""
    above = specific_heat(Part.WATER, 0)
    below = specific_heat(Part.WATER, -1e-9)
    assert specific_heat(Part.WATER, 0, Water.HANDBOOK) == pytest.approx((above + below) / 2, abs=0.1)
    assert specific_heat(Part.FAT, 0, Water.HANDBOOK) == specific_heat(Part.FAT, 0)


@pytest.mark.parametrize("t", [0, 10, 30])
def test_scisuit_heat(t):
    """scisuit sums the same specific heats for a food without fibre whose parts sum to 1."""
    ours = of_food({**FOODS["Beef carcass select"], "fat_pct": "23.49"})
    theirs = Food(water=58.21, protein=17.48, lipid=23.49, ash=0.82)
    theirs.T = t
    assert heat_of(ours, t, Water.HANDBOOK) == pytest.approx(1000 * theirs.cp(), rel=1e-9)


def test_scisuit_density_trap():
    """scisuit's density is a mean by mass, ours adds volumes, which is less wherever the parts differ."""
    ours = of_food({**FOODS["Beef carcass select"], "fat_pct": "23.49"})
    theirs = Food(water=58.21, protein=17.48, lipid=23.49, ash=0.82)
    theirs.T = 5
    by_mass = sum(share * density(part, 5) for part, share in shares(ours).items())
    assert theirs.rho() == pytest.approx(by_mass, rel=1e-9)
    assert density_of(ours, 5) < by_mass


@pytest.mark.parametrize("name", asking("heat_of", "heat_of with fibre twice", "heat_of x 150 kg x 10 K"))
def test_food_rows(name):
    """Each printed specific heat and heat load of a whole food comes out, with the original constant of water."""
    row = CHECKS[name]
    food = of_check(row)
    ours = {
        "heat_of": lambda: heat_of(food, float(row["t"])),
        "heat_of with fibre twice": lambda: twice(food),
        "heat_of x 150 kg x 10 K": lambda: heat_of(food, float(row["t"])) * 150 * 10 / 1000,
    }[row["asks"]]()
    assert ours == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)


@pytest.mark.parametrize("name", with_value("c_above_kJ_kgK"))
def test_table_heat(name):
    """The table's specific heat above freezing comes out as the handbook reckoned it, to its rounding where read."""
    row = FOODS[name]
    # Rows from memory may be a unit of the I-P copy off: 0.005 Btu/(lb °F) is 0.02 kJ/(kg K)
    tolerance = 6 if row["status"] == "confirmed" else 25
    assert twice(of_food(row)) == pytest.approx(1000 * float(row["c_above_kJ_kgK"]), abs=tolerance), said(row)


def test_fibre_once():
    """With fibre counted once the read vegetables lie up to 0.09 kJ/(kg K) below the table, 0.04 on average."""
    rows = [FOODS[name] for name in with_value("c_above_kJ_kgK") if FOODS[name]["status"] == "confirmed"]
    low = [1000 * float(row["c_above_kJ_kgK"]) - heat_of(of_food(row), 20) for row in rows]
    assert len(low) == 22
    assert 0 < min(low) < max(low) < 90
    assert sum(low) / len(low) == pytest.approx(40, abs=5)


def test_porosity():
    """Half air is half the density."""
    food = of_food(FOODS["Apples fresh"])
    assert density_of(food, 5, 0.5) == pytest.approx(density_of(food, 5) / 2)


@pytest.mark.parametrize("part", Part)
@pytest.mark.parametrize("ask", [specific_heat, conductivity, density])
def test_range(part, ask):
    """Outside its range a part is refused with the range, nan too."""
    highest = 0 if part is Part.ICE else 150
    for t in (-40.1, highest + 0.1, float("nan")):
        with pytest.raises(ValueError, match=f"valid from -40 to {highest} °C"):
            ask(part, t)
    assert ask(part, -40) > 0
    assert ask(part, highest) > 0


@pytest.mark.parametrize("ask", [heat_of, density_of])
def test_food_range(ask):
    """A sum over parts is refused below freezing, where it would leave out the ice."""
    food = of_food(FOODS["Cod"])
    with pytest.raises(ValueError, match=r"valid from -2.2 \(freezing\) to 150 °C"):
        ask(food, -3)
    with pytest.raises(ValueError, match="to 150 °C"):
        ask(food, 151)


@pytest.mark.parametrize("porosity", [-0.1, 1])
def test_porosity_range(porosity):
    """A porosity that no food has is refused with the range."""
    with pytest.raises(ValueError, match="0 to below 1"):
        density_of(of_food(FOODS["Cod"]), 5, porosity)
