"""Turning points of a made-up saw-tooth."""

from array import array
from itertools import pairwise
from math import isnan, nan

from gatewayd.thermal.turning import Turn, bridged, quantile, turns

TOOTH = [-18.0, -19.0, -20.0, -21.0, -20.5, -20.0, -19.5, -19.0, -18.5, -18.0]


def test_a_saw_tooth_turns_at_its_tips() -> None:
    """Every tip of a saw-tooth is found, lows and highs by turns."""
    found = turns(TOOTH * 5, 5)
    assert [t.index for t in found if t.low] == [3, 13, 23, 33, 43]
    assert all(a.low != b.low for a, b in pairwise(found))
    assert {t.value for t in found if t.low} == {-21.0}


def test_noise_below_the_swing_is_no_turn() -> None:
    """A tenth of a kelvin up and down is the sensor, not the compressor."""
    assert turns([-18.0, -18.1] * 100, 5) == []


def test_a_gap_is_tolerated() -> None:
    """A few missing values change no turning point that is not among them."""
    values = TOOTH * 3
    values[6] = values[7] = values[15] = nan
    assert [t.index for t in turns(values, 5) if t.low] == [3, 13, 23]


def test_a_long_gap_parts_the_course() -> None:
    """Over two hours of silence nothing is joined, and the first value after it is no turning point."""
    values = [*TOOTH[:4], *([nan] * 24), -10.0, -12.0, -14.0, -10.0]
    assert turns(values, 5) == [Turn(30, -14.0, low=True)]


def test_an_outage_hides_no_ripple_before_it() -> None:
    """The last low before a long outage is found though the outage is many times the ripple."""
    values = TOOTH * 10 + [-18.0 + 0.25 * i for i in range(150)]
    assert [t.index for t in turns(values, 5) if t.low][-1] == 93


def test_of_equal_lows_the_last_counts() -> None:
    """A flat bottom ends where the warming begins."""
    assert turns([-18.0, -19.0, -19.0, -19.0, -18.0, -19.0], 5)[0] == Turn(3, -19.0, low=True)


def test_nothing_heard_turns_nowhere() -> None:
    """No value, one value and only gaps give nothing."""
    assert turns([], 5) == turns([-18.0], 5) == turns([nan] * 30, 5) == []


def test_short_gaps_are_bridged_and_long_ones_stay() -> None:
    """A reading every half hour gives a course; an hour of silence stays silent."""
    values = array("d", [-20.0, *[nan] * 29, -17.0, *[nan] * 59, -10.0])
    out = bridged(values, -2, 93)
    assert out[2 + 10] == -19.0
    assert isnan(out[0])
    assert isnan(out[2 + 50])
    assert len(out) == 95


def test_quantiles_lie_between_neighbours() -> None:
    """The median of two values is their mean, and of nothing nothing."""
    assert quantile([1.0, 2.0], 0.5) == 1.5
    assert isnan(quantile([], 0.5))
