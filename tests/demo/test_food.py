"""The heat in food, against figures printed in the ASHRAE Handbook-Refrigeration, "Thermal Properties of Foods"."""

from itertools import pairwise

import pytest

from gatewayd.demo.food import BEANS, BREAD, MILK, PLUMS, TROUT, VENISON, Curve, Food, curve

BEEF = Food("beef carcass", 0.58, -1.7)
ALL = (BEANS, BREAD, MILK, PLUMS, TROUT, VENISON)


def test_beef_at_minus_20_holds_the_ice_of_the_first_worked_example() -> None:
    """150 kg of beef carcass at -20 °C hold 78 kg of ice."""
    assert pytest.approx(78, abs=1.0) == 150 * BEEF.ice(-20.0)


def test_beef_gives_off_the_heat_of_the_third_worked_example() -> None:
    """150 kg of beef carcass give off 34.7 MJ from 10 to -20 °C; Chen says so with a tenth less ice: within 8 %."""
    beef = Curve(BEEF)

    assert pytest.approx(34.7e6, rel=0.08) == 150 * (beef.heat(10.0) - beef.heat(-20.0))


@pytest.mark.parametrize("food", ALL, ids=lambda food: food.name)
def test_heat_and_temperature_are_inverse(food: Food) -> None:
    """A temperature turned into heat and back is the same to a few hundredths of a kelvin."""
    there = curve(food)

    for celsius in (-40.0, -18.0, -12.0, -6.0, 0.5, 12.0, 30.0):
        assert pytest.approx(celsius, abs=0.05) == there.temperature(there.heat(celsius))


@pytest.mark.parametrize("food", ALL, ids=lambda food: food.name)
def test_melting_takes_the_latent_heat_of_its_water(food: Food) -> None:
    """From -20 to +1 °C a food takes more than the latent heat of nine tenths of its water, and never cools by it."""
    there = curve(food)
    steps = [there.heat(-20 + index * 0.25) for index in range(85)]

    assert steps[-1] - steps[0] > 0.9 * food.water * 333_600
    assert all(low < high for low, high in pairwise(steps))


def test_beyond_its_ends_the_curve_stays_at_the_end() -> None:
    """More or less heat than the curve knows gives its last temperature, not nonsense."""
    there = curve(MILK)

    assert there.temperature(-1.0) == -45.0
    assert there.temperature(1e9) == 45.0
    assert there.heat(-90.0) == there.heat(-45.0)
