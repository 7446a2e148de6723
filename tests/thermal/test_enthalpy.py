"""The heat that food holds, against printed values, calorimetry, a library and an integration of the freezer."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scisuit.eng import Food

from gatewayd.thermal.enthalpy import Composition, Mixture, enthalpy, mixture, temperature
from gatewayd.thermal.freezing import heat_chen, heat_thawed
from tests.thermal.handbook import CHECKS, FOODS, asking, compositions, of_check, of_food, read, said

BEEF = of_food(FOODS["Beef carcass select"])
PEAS = of_food(FOODS["Peas green"])
temperatures = st.floats(-40, 40)
foods = st.one_of(
    compositions(),
    st.lists(st.tuples(st.floats(0.1, 100), compositions()), min_size=1, max_size=4).map(mixture),
)
# Riedel's calorimetry of lean beef with 74.5 % of water, kJ/kg from -40 °C (ASHRAE's enthalpy table; from memory)
RIEDEL = {-20: 42, -18: 47, -10: 72, -5: 105, -3: 138, -2: 180, -1: 285, 0: 304}
HOLDS = read("hold_times.csv")


@pytest.mark.parametrize("name", asking("enthalpy"))
def test_rows(name):
    """Each printed enthalpy comes out; a library's of a food that it rescaled, of the food rescaled like that."""
    row = CHECKS[name]
    food = of_check(row)
    if name.startswith("scisuit"):
        total = food.water + food.protein + food.fat + food.ash
        assert total == pytest.approx(0.9906)
        food = Composition(
            food.water / total, food.protein / total, food.fat / total, 0, 0, food.ash / total, food.freezing
        )
    ours = enthalpy(float(row["t"]), food)
    assert ours == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)


def test_heat_row():
    """150 kg of beef from 10 to -20 °C give off what the handbook prints."""
    row = CHECKS["ashrae_ex3_heat"]
    food = of_check(row)
    ours = 150 * (enthalpy(10, food) - enthalpy(-20, food)) / 1000
    assert ours == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)


@pytest.mark.parametrize("t", [-35, -20, -10, -5, -2])
def test_scisuit_frozen(t):
    """scisuit's frozen enthalpy is ours for a food whose parts sum to 1, which it does not rescale."""
    theirs = Food(water=58.21, protein=17.48, lipid=23.49, ash=0.82)
    theirs.T = t
    assert enthalpy(t, BEEF) == pytest.approx(1000 * theirs.enthalpy(-1.7), rel=1e-9)


def test_scisuit_unfrozen_trap():
    """scisuit's unfrozen enthalpy stands on another reference (Chang & Tao) and jumps at freezing; ours does not."""
    trap, start = CHECKS["scisuit_H_unfrozen_trap"], CHECKS["changtao_Hf"]
    theirs = Food(water=58.21, protein=17.48, lipid=22.55, ash=0.82)
    theirs.T = 10
    assert 1000 * theirs.enthalpy(-1.7) == pytest.approx(float(trap["expected"]), abs=10), said(trap)
    whole = Food(water=58.21, protein=17.48, lipid=23.49, ash=0.82)
    whole.T = 10
    at_freezing = 1000 * whole.enthalpy(-1.7) - 11.7 * heat_thawed(BEEF)
    assert at_freezing == pytest.approx(float(start["expected"]), abs=10), said(start)
    assert at_freezing - enthalpy(-1.7, BEEF) > 2000
    assert enthalpy(-1.7 + 1e-9, BEEF) == pytest.approx(enthalpy(-1.7, BEEF), abs=0.01)


@pytest.mark.parametrize(("t", "measured"), RIEDEL.items())
def test_riedel(t, measured):
    """Lean beef's curve keeps within a twentieth of the calorimeter's, whose numbers are from memory."""
    lean = Composition(0.745, 0.212, 0.032, 0, 0, 0.011, -1.0)
    assert enthalpy(t, lean) == pytest.approx(1000 * measured, rel=0.05)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("Beef sirloin lean", (52.9, 84.1, 129.5, 242.7, 280.9, 296.4)),
        ("Peas green", (44.7, 66.0, 90.4, 141.9, 325.8, 342.1)),
        ("Raspberries", (43.1, 64.5, 90.4, 147.3, 353.3, 370.4)),
        ("Chicken", (60.2, 100.4, 165.0, 258.0, 264.7, 279.6)),
    ],
)
def test_model_foods(name, printed):
    """Four foods of the freezer have the enthalpies that were worked out apart from this code (kJ/kg)."""
    for t, value in zip((-18, -10, -5, -2, 0, 4.4), printed, strict=True):
        assert enthalpy(t, of_food(FOODS[name])) == pytest.approx(1000 * value, abs=100)


@given(foods, temperatures, temperatures)
def test_rises(food, one, other):
    """Warmer food holds more heat."""
    assume(abs(one - other) > 1e-6)
    cold, warm = sorted((one, other))
    assert enthalpy(cold, food) < enthalpy(warm, food)


@given(foods, temperatures)
def test_inverse(food, t):
    """The temperature of a food's heat is the temperature it had."""
    assert temperature(enthalpy(t, food), food) == pytest.approx(t, abs=1e-7)


@given(foods, st.floats(0, 1))
def test_inverse_back(food, share):
    """The heat at the temperature of a heat is that heat."""
    h = share * enthalpy(40, food)
    assert enthalpy(temperature(h, food), food) == pytest.approx(h, abs=0.1)


@given(compositions(), compositions(), st.floats(0.01, 100), temperatures)
def test_mixture_between(one, other, mass, t):
    """A mixture holds no less per kg than one of its parts and no more than the other, by their masses."""
    mixed = enthalpy(t, mixture([(mass, one), (1, other)]))
    low, high = sorted((enthalpy(t, one), enthalpy(t, other)))
    assert low - 1e-6 <= mixed <= high + 1e-6
    assert mixed * (mass + 1) == pytest.approx(mass * enthalpy(t, one) + enthalpy(t, other), abs=1e-3)


def test_mixture_keeps_freezing_points():
    """In a mixture each food melts at its own temperature: at -1 °C beef has thawed, the peas beside it have not."""
    mixed = mixture([(1, BEEF), (1, PEAS)])
    step = 0.01
    slope = (enthalpy(-1 + step, mixed) - enthalpy(-1, mixed)) / step
    assert slope == pytest.approx((heat_thawed(BEEF) + heat_chen(-1, PEAS)) / 2, rel=0.02)


def test_mixture_units():
    """Only the ratio of the masses counts, and a part without mass is none."""
    assert mixture([(2, BEEF), (6, PEAS), (0, BEEF)]) == mixture([(0.25, BEEF), (0.75, PEAS)])
    assert mixture([(3, BEEF)]) == Mixture(((1.0, BEEF),))


@pytest.mark.parametrize("parts", [[], [(0, BEEF)]])
def test_mixture_of_nothing(parts):
    """A mixture of no mass is refused with what to do."""
    with pytest.raises(ValueError, match="at least one part a mass above 0"):
        mixture(parts)


@pytest.mark.parametrize("mass", [-1, float("nan"), float("inf")])
def test_mixture_mass(mass):
    """A mass that is none is refused."""
    with pytest.raises(ValueError, match="allowed are 0 and more"):
        mixture([(mass, BEEF)])


@pytest.mark.parametrize("food", [BEEF, mixture([(1, BEEF), (2, PEAS)])], ids=["one", "mixed"])
@pytest.mark.parametrize("t", [-40.01, 40.01, float("nan")])
def test_range(food, t):
    """Outside -40 to 40 °C an enthalpy is refused with the range."""
    with pytest.raises(ValueError, match="valid from -40 to 40 °C"):
        enthalpy(t, food)


@pytest.mark.parametrize("h", [-1, 1e6, float("nan")])
def test_inverse_range(h):
    """A heat that food between -40 and 40 °C does not hold is refused with the range."""
    with pytest.raises(ValueError, match="valid from 0 to 375865 J/kg"):
        temperature(h, BEEF)


@pytest.mark.parametrize(
    ("values", "said_"),
    [
        ((1.2, 0, 0, 0, 0, 0, -1), "1.2 as mass fraction of water; allowed are 0 to 1"),
        ((0.7, -0.1, 0.2, 0.1, 0, 0.1, -1), "protein"),
        ((0.8, 0, 0, 0.2, 0.3, 0, -1), "fibre 0.3 is more than carbohydrate 0.2"),
        ((0.8, 0, 0, 0.1, 0, 0, -1), "sum to 0.9; allowed are 0.97 to 1.03"),
        ((0.8, 0, 0, 0.2, 0, 0, 0), "freezing begins at 0 °C; allowed are -30 to -0.01"),
        ((0.8, 0, 0, 0.2, 0, 0, float("nan")), "freezing begins at nan"),
    ],
)
def test_composition_refused(values, said_):
    """What no food is made of is refused with what is allowed."""
    with pytest.raises(ValueError, match=said_):
        Composition(*values)


def test_all_handbook_rows():
    """Every row of the handbook is a food, and its curve rises from 0 at -40 °C through its freezing point."""
    for row in FOODS.values():
        food = of_food(row)
        assert 0 == enthalpy(-40, food) < enthalpy(food.freezing, food) < enthalpy(40, food)


def hours(food, kg, room, to, per_kelvin=20e3, conductance=1.3):
    """Return the hours from -18 °C to `to`, by quadrature over the two specific heats."""

    def span(heat, begin, end):
        return quad(lambda t: (kg * heat(t) + per_kelvin) / (conductance * (room - t)) / 3600, begin, end)[0]

    frozen = span(lambda t: heat_chen(t, food), -18, min(to, food.freezing))
    return frozen + (span(lambda _: heat_thawed(food), food.freezing, to) if to > food.freezing else 0.0)


@pytest.mark.parametrize("row", HOLDS, ids=lambda row: f"{row['kg']} kg {row['load']} to {row['to']} in {row['room']}")
def test_hold_times(row):
    """A lumped freezer holds as long as was worked out apart from this code, to the rounding of half an hour."""
    ours = hours(of_food(FOODS[row["food"]]), float(row["kg"]), float(row["room"]), float(row["to"]))
    assert ours == pytest.approx(float(row["hours"]), abs=0.5)


@pytest.mark.parametrize("name", ["lumped_beef100_to-5", "lumped_beef60_to-5"])
def test_lumped_rows(name):
    """The lumped freezer reaches -5 °C when worked out, by an ODE over enthalpy and by quadrature over its slope."""
    row = CHECKS[name]
    food, kg = of_check(row), float(row["asks"].split()[2])

    def of_heat(heat):
        return brentq(lambda t: kg * enthalpy(t, food) + 20e3 * (t + 40) - heat, -40, 19.9)

    begin, end = (kg * enthalpy(t, food) + 20e3 * (t + 40) for t in (-18, -5))
    arrived = lambda _, heat: heat[0] - end  # noqa: E731  (the solver wants an attribute on it)
    arrived.terminal = True
    run = solve_ivp(lambda _, heat: [1.3 * (20 - of_heat(heat[0]))], (0, 4e5), [begin], events=arrived, rtol=1e-6)
    assert run.t_events[0][0] / 3600 == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), said(row)
    assert hours(food, kg, 20, -5) == pytest.approx(run.t_events[0][0] / 3600, rel=1e-3)
