"""The freezer model steps as its equations say: scipy integrates the same ones."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.curve import Curve, curve_of
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.prior import COUNT, Body, Prior, Start
from gatewayd.thermal.roll import begin, reading, roll

ROOM = 21.0


def _deviates(*values: float) -> list[float]:
    """Return thirteen deviates of which the first ones are given."""
    return [*values, *[0.0] * (COUNT - len(values))]


CASES = (
    (Facts(Kind.CHEST, 400, {Group.MEAT: 90, Group.PRODUCE: 30}, ROOM), _deviates()),
    (Facts(Kind.CHEST, 200, {Group.PRODUCE: 30}, ROOM), _deviates(0.5, -0.5, 0.3, 0.4, -0.6, 0.2, 0.5)),
    (
        Facts(Kind.UPRIGHT, 250, {Group.BREAD: 25, Group.MEALS: 15}, ROOM),
        _deviates(0.8, 0.4, -0.4, -0.3, 0.6, 0.0, -0.5),
    ),
    (Facts(Kind.UPRIGHT_AUTO_DEFROST, 300, {Group.MEAT: 40, Group.WATER: 10}, ROOM), _deviates(-0.5, 0.2, 0.7)),
)


def _exact(body: Body, curve: Curve, hours: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Integrate the same equations with scipy; return times (h), °C of the warmest layer and of the fast lump."""
    grid = np.linspace(-39.99, 39.99, 16001)
    enthalpies = np.array([curve.enthalpy(float(t)) for t in grid])

    def temperature(h: float) -> float:
        return float(np.interp(h, enthalpies, grid))

    def coupled(g: float, h: float) -> float:
        melted = min(1.0, max(0.0, (h - curve.at_minus_10) / (curve.at_0 - curve.at_minus_10)))
        return g / (1 + body.crust * melted)

    def slope(_t: float, y: np.ndarray) -> list[float]:
        tf, hs, hb = y
        ts, tb = temperature(hs), temperature(hb)
        gs, gb = coupled(body.top_coupling, hs), coupled(body.bulk_coupling, hb)
        across = body.within * (ts - tb)
        return [
            (body.ua * (ROOM + body.room - tf) - gs * (tf - ts) - gb * (tf - tb)) / body.fast,
            (gs * (tf - ts) - across) / body.top_mass,
            (gb * (tf - tb) + across) / body.bulk_mass,
        ]

    times = np.arange(0, hours * 3600 + 1, 60.0)
    found = solve_ivp(
        slope, (0, times[-1]), begin(body, curve), method="LSODA", t_eval=times, rtol=1e-7, atol=1e-3, max_step=600
    )
    return times / 3600, np.array([temperature(h) for h in found.y[1]]), found.y[0]


def _crossing(times: np.ndarray, values: np.ndarray, level: float) -> float:
    at = int(np.argmax(values >= level))
    part = (level - values[at - 1]) / (values[at] - values[at - 1])
    return float(times[at - 1] + part * (times[at] - times[at - 1]))


@pytest.mark.parametrize(("facts", "z"), CASES)
def test_scipy_agrees_to_a_thousandth(facts: Facts, z: list[float]) -> None:
    """The warmest food reaches each level when scipy (LSODA) says so, to 0.1 % or two minutes."""
    prior = Prior(facts, Start(-19.0, -18.0, ROOM))
    body, curve = prior.body(z), curve_of(facts.kg)
    times, top, _air = _exact(body, curve, 60)
    states = roll(body, curve, begin(body, curve), [ROOM] * 360, 600.0)
    ours = np.array([curve.temperature(h) for _tf, h, _hb in states])
    steps = np.arange(1, len(states) + 1) / 6
    for level in (-14.0, -12.0, -9.4, -6.7):
        want, got = _crossing(times, top, level), _crossing(steps, ours, level)
        assert got == pytest.approx(want, rel=0.001, abs=2 / 60)


def test_probe_reads_air_and_what_lies_beside_it() -> None:
    """Hours after the stop a probe in free air reads the air under the lid, one among packages reads them in part."""
    facts, _ = CASES[0]
    prior = Prior(facts, Start(-18.0, -18.0, ROOM))
    free, buffered = prior.body(_deviates()), prior.body(_deviates(*[0.0] * 8, 3.0))
    state = (-10.0, curve_of(facts.kg).enthalpy(-16.0), 0.0)
    air = -10.0 + free.lift * (ROOM + 10.0)
    assert reading(free, prior.curve, state, ROOM, 24.0) == pytest.approx(air)
    assert reading(buffered, prior.curve, state, ROOM, 24.0) == pytest.approx(
        (1 - buffered.buffer) * air + buffered.buffer * -16.0, abs=0.05
    )


def test_probe_begins_where_it_was_read() -> None:
    """At the stop the probe reads what it read, however much colder the liner is."""
    facts, _ = CASES[0]
    prior = Prior(facts, Start(-18.0, -19.0, ROOM))
    for deviate in (-2.0, 0.0, 2.0):
        body = prior.body(_deviates(*[0.0] * 11, deviate))
        assert reading(body, prior.curve, begin(body, prior.curve), ROOM, 0.0) == pytest.approx(-18.0, abs=1e-9)
