"""The fit finds what a freezer is from what its probe read."""

from itertools import pairwise
from math import nan
from random import Random
from statistics import fmean

import pytest

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.fit import COUNT, Seen, fit, points, slopes, strata
from gatewayd.thermal.prior import Belief, Prior, Start
from gatewayd.thermal.roll import begin, reading, roll

FACTS = Facts(Kind.CHEST, 300, {Group.MEAT: 60, Group.PRODUCE: 20}, 19)


def played(z: list[float], hours: float, start: Start) -> tuple[Seen, float]:
    """Return what the probe of a known freezer reads each 5 min, and the top's true temperature (°C) at the end."""
    prior = Prior(FACTS, start)
    body = prior.body(z)
    rooms = [19.0] * int(hours * 12)
    states = roll(body, prior.curve, begin(body, prior.curve), rooms, 300.0)
    air = [round(reading(body, prior.curve, s, 19.0, (i + 1) / 12), 1) for i, s in enumerate(states)]
    return Seen(air, rooms, 5), prior.curve.temperature(states[-1][1])


@pytest.mark.parametrize("which", [(1.0, -0.6, 0.7), (-0.8, 0.5, -0.9), (0.2, 0.2, 0.1)])
def test_known_freezer_is_found_again(which: tuple[float, float, float]) -> None:
    """From 8 h of a freezer that the model can be, its warmest layer is known to a kelvin, within two spreads."""
    start = Start(-18.0, -18.5, 19.0, metered=True)
    seen, top = played([*which, *[0.0] * (COUNT - 3)], 8, start)
    found = fit(Prior(FACTS, start), seen, Random(4), 96)
    tops = [Prior(FACTS, start).curve.temperature(p.state[1]) for p in found.particles]
    assert fmean(tops) == pytest.approx(top, abs=1.3)
    assert abs(fmean(p.reads for p in found.particles) - seen.air[-1]) < 0.4


def test_nothing_seen_gives_the_belief_back() -> None:
    """Without readings the particles are those of the belief: their mean and spread."""
    found = fit(Prior(FACTS, Start(-18.0, -18.0, 19.0)), Seen((), (), 5), Random(1), 96)
    assert found.mean == [0.0] * COUNT
    assert found.covariance == Belief().lower()
    rooms = [p.body.room for p in found.particles]
    assert fmean(rooms) == pytest.approx(0.0, abs=1e-9)


def test_gaps_are_no_readings() -> None:
    """Means that are missing are compared with nothing."""
    seen = Seen([-18.0, nan, nan, -17.0, *[nan] * 30, -15.0], [19.0] * 35, 5)
    assert [i for i, _, _ in points(seen)] == [0, 3, 34]
    found = fit(Prior(FACTS, Start(-18.0, -18.0, 19.0)), seen, Random(1), 96)
    assert len(found.particles) == 96


def test_readings_are_compared_seldom_and_the_newest_most() -> None:
    """One point in a quarter of an hour at first and one in half an hour later, with a memory that fades."""
    found = points(Seen([-18.0] * 144, [19.0] * 144, 5))
    spaces = {b - a for (a, _, _), (b, _, _) in pairwise(found)}
    assert spaces == {3, 6}
    assert found[-1][2] < found[len(found) // 2][2]


def test_slopes_need_their_time() -> None:
    """Ninety minutes of data have no slope over four hours."""
    assert slopes(Seen([-18.0] * 10, [19.0] * 10, 5)) == []
    assert [round((last - first) * 5) for first, last, _, _ in slopes(Seen([-18.0] * 60, [19.0] * 60, 5))] == [90, 240]


def test_strata_have_the_spread_of_a_normal() -> None:
    """A hundred strata have mean 0 and variance 1 to some hundredths."""
    found = strata(Random(3), 96)
    assert sum(found) == pytest.approx(0.0, abs=1e-9)
    assert fmean(v * v for v in found) == pytest.approx(1.0, abs=0.03)


def test_lesson_narrows_and_forgets_what_passed() -> None:
    """What an outage taught is kept with at least 15 % of a spread, and its room and liner are not."""
    covariance = [[0.1 if i == j else 0.05 for j in range(COUNT)] for i in range(COUNT)]
    taught = Belief().taught([0.5] * COUNT, covariance)
    root = taught.lower()
    kept = [[sum(root[i][k] * root[j][k] for k in range(COUNT)) for j in range(COUNT)] for i in range(COUNT)]
    assert taught.lessons == 1
    assert taught.mean[0] == 0.5
    assert kept[0][0] == pytest.approx(0.15 + 0.085, abs=1e-3)
    assert kept[1][0] == pytest.approx(0.85 * 0.05, abs=1e-3)  # what two numbers are together is learnt too
    assert taught.mean[-1] == 0.0
    assert kept[-1] == pytest.approx([0.0] * (COUNT - 1) + [1.0], abs=1e-3)
