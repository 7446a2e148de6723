"""The table of a mixture: as exact as the fit needs it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.contents import Group
from gatewayd.thermal.curve import CELLS, GROUPS, curve_of
from gatewayd.thermal.enthalpy import enthalpy

contents = st.dictionaries(st.sampled_from(Group), st.floats(0.5, 100), min_size=1)


@given(contents, st.floats(-39, 39))
def test_table_gives_back_the_temperature(kg: dict[Group, float], t: float) -> None:
    """Looking up the enthalpy of a temperature gives it back to a twentieth of a kelvin, but for the melting itself."""
    curve = curve_of(kg)
    assert curve.temperature(curve.enthalpy(t)) == pytest.approx(t, abs=0.05)


@pytest.mark.parametrize("group", Group)
def test_single_group_is_its_composition(group: Group) -> None:
    """A freezer of one group has the enthalpy of that group (Chen, ASHRAE 2006 ch. 9 eq. 15 and 18)."""
    assert curve_of({group: 7.0}).enthalpy(-10.0) == pytest.approx(enthalpy(-10.0, GROUPS[group]))


def test_weights_and_not_their_sum_make_the_mixture() -> None:
    """Twice as much of all is the same curve."""
    kg = {Group.MEAT: 10.0, Group.BREAD: 30.0}
    assert curve_of(kg) is curve_of({group: 2 * weight for group, weight in kg.items()})


def test_nothing_told_is_taken_for_meals() -> None:
    """Without a word of its contents a freezer is taken to hold cooked meals."""
    assert curve_of({}) is curve_of({Group.MEALS: 1.0})


def test_table_rises_and_is_held_at_its_ends() -> None:
    """The table never falls, and beyond its range it stands still."""
    curve = curve_of({Group.PRODUCE: 1.0})
    assert curve.table == sorted(curve.table)
    assert len(curve.table) == CELLS
    assert curve.temperature(-1e6) == curve.table[0]
    assert curve.temperature(1e9) == curve.table[-1]
