"""When it counts that a freezer truly cools again."""

import math
import random
from collections.abc import Callable

import pytest

from gatewayd.alarm.cooling import Cooling
from gatewayd.model.moment import HOUR, MINUTE

HIGH, USUAL = -12.0, -17.0
Curve = Callable[[float], float]  # °C, of hours


def seen(curve: Curve, hours: float, *, noise: float = 0.0, step: float = 0.01, doubted: bool = True) -> float | None:
    """Follow a curve by points two minutes apart; return after how many hours it is seen to cool, if it is."""
    cooling, rng = Cooling(), random.Random(7)
    cooling.doubted = 0 if doubted else None
    for n in range(round(hours * 30)):
        value = round((curve(n / 30) + rng.gauss(0.0, noise)) / step) * step
        cooling.follow(value, HOUR + n * 2 * MINUTE, USUAL)
        if cooling.seen(HOUR + n * 2 * MINUTE, HIGH):
            return n / 30
    return None


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.05])
@pytest.mark.parametrize("step", [0.0625, 0.1])
@pytest.mark.parametrize("pace", [0.1, 0.3, 2.0])
def test_slow_thaw_never_cools(pace: float, step: float, noise: float) -> None:
    """Two days of a thaw of 0.1 K an hour and more, with the steps and the noise of a probe, are no cooling."""
    assert seen(lambda t: -14.0 + pace * t, 48, noise=noise, step=step) is None


@pytest.mark.parametrize("looks", [0.1, 0.5, 1.5])
def test_look_under_the_lid_never_cools(looks: float) -> None:
    """In a still freezer the air falls back by many degrees after each look, and never below where it was."""

    def curve(t: float) -> float:
        since = t % 5.0 - 1.0 - looks  # hours since the lid was shut
        left = 0.0 if since < -looks else min(1.0, math.exp(-since / 0.4))
        return -10.0 + 0.2 * t + 8.0 * left

    assert seen(curve, 40, noise=0.05) is None


def test_night_in_the_room_never_cools() -> None:
    """A still freezer follows the room by 1.5 K a day, and that is no cooling."""
    assert seen(lambda t: -2.0 + 0.75 * math.sin(t * math.tau / 24), 72, noise=0.05) is None


@pytest.mark.parametrize("level", [-9.0, -2.0, 4.0])
def test_compressor_is_seen_soon(level: float) -> None:
    """After a slow thaw a fall of 12 K an hour, as a compressor makes it, is seen within half an hour, if it lasts."""
    after = seen(lambda t: level + 0.2 * t if t < 10 else level + 2.0 - 12.0 * (t - 10), 11, noise=0.05)
    assert after is not None
    assert 10.0 + 10 / 60 <= after <= 10.5


def test_fall_that_stops_is_no_cooling() -> None:
    """A probe that is touched, or a compressor that starts and trips, falls for some minutes only."""
    assert seen(lambda t: -9.0 if not 10 < t < 10.12 else -13.0, 12) is None


def test_where_it_ordinarily_is_it_cools() -> None:
    """Ten minutes below its usual tops are enough, though it was no warmer an hour before."""
    after = seen(lambda t: -16.9 + 2.9 * t if t < 1 else max(-17.5, -14.0 - 8.0 * (t - 1)), 2)
    assert after is not None
    assert 1.5 <= after <= 1.7


def test_set_warmer_while_nobody_looked_is_calm_after_hours() -> None:
    """Cycles above the usual tops but below High, that have not become warmer for six hours, cool."""
    after = seen(lambda t: -15.0 - math.cos(t * math.tau), 12, noise=0.05)
    assert after is not None
    assert 5.5 <= after <= 8.0


def test_beginning_of_an_outage_is_not_calm() -> None:
    """What became doubtful just now is not called calm for the hours before it."""
    cooling = Cooling()
    for n in range(8 * 30):
        cooling.follow(-15.0, n * 2 * MINUTE, USUAL)
    assert cooling.seen(8 * HOUR, HIGH)
    cooling.doubted = 8 * HOUR

    assert not cooling.seen(8 * HOUR, HIGH)


def test_begin_of_the_fall_is_known() -> None:
    """It cools since its last minutes near its peak, to ten minutes."""
    cooling = Cooling()
    for n in range(6 * 30):
        cooling.follow(-9.0 if n < 5 * 30 else -9.0 - 0.4 * (n - 5 * 30), n * 2 * MINUTE, USUAL)

    assert abs(cooling.since(6 * HOUR) - 5 * HOUR) <= 10 * MINUTE


def test_nothing_is_known_after_a_gap() -> None:
    """What was seen before nobody looked counts for nothing."""
    cooling = Cooling()
    for n in range(60):
        cooling.follow(-20.0, n * 2 * MINUTE, USUAL)
    cooling.forget()

    assert cooling == Cooling()
    assert not cooling.seen(2 * HOUR, HIGH)
