"""What the food has, told from the air."""

from math import exp

import pytest

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.observer import BESIDE, FROZEN, Observer
from gatewayd.thermal.prior import Belief

FACTS = Facts(Kind.CHEST, 300, {Group.MEAT: 60}, 18)


def following(air: float, minutes: int, *, warming: bool = False, step: int = 1) -> Observer:
    """Return an observer that began at -20 °C and then saw one temperature."""
    found = Observer(FACTS, Belief())
    found.take(-20.0, 1, warming=True)
    for _ in range(0, minutes, step):
        found.take(air, step, warming=warming)
    return found


def test_nothing_heard_is_nothing_known() -> None:
    """Before the first reading there is no temperature."""
    assert Observer(FACTS, Belief()).temperatures is None


@pytest.mark.parametrize("kind", Kind)
def test_ordinary_running_ends_beside_the_air(kind: Kind) -> None:
    """In days of one temperature the food comes to the air and what it differs by in that kind of freezer."""
    found = Observer(Facts(kind, 300, {Group.MEAT: 30}, 18), Belief())
    for _ in range(14 * 24):
        found.take(-18.0, 60, warming=False)
    assert found.temperatures == pytest.approx((-18.0 + BESIDE[kind],) * 2, abs=0.1)


def test_layer_follows_as_an_exponential() -> None:
    """Frozen food follows 1 - exp(-t/tau), tau by its own heat (Chen), which grows a little on the way."""
    found = following(-18.0, 60, warming=True)
    assert found.temperatures is not None
    heat = found.curve.enthalpy(-19.0) - found.curve.enthalpy(-20.0)
    way = 2.0 * (1 - exp(-3600 / (found.top * heat / FROZEN)))
    assert found.temperatures[0] + 20.0 == pytest.approx(way, rel=0.1)
    assert found.temperatures[0] > found.temperatures[1]


def test_steps_of_readings_make_no_difference() -> None:
    """A reading each minute or each ten minutes tells the same food to a tenth of a kelvin."""
    one, ten = following(-8.0, 600, warming=True), following(-8.0, 600, warming=True, step=10)
    assert one.temperatures == pytest.approx(ten.temperatures, abs=0.1)


def test_silence_of_hours_begins_anew() -> None:
    """After two silent hours the food is taken to be where the air is."""
    found = following(-18.0, 60)
    found.take(-5.0, 120, warming=True)
    assert found.temperatures == pytest.approx((-5.0, -5.0), abs=0.05)
