"""Limits of a freezer and their delays, each with the reason for its default."""

import math
from dataclasses import dataclass

from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.units import Celsius, Kelvin

CELSIUS_MINUS_12 = Celsius(-12.0)
KELVIN_1 = Kelvin(1.0)
CELSIUS_MINUS_15 = Celsius(-15.0)
KELVIN_8 = Kelvin(8.0)
FAHRENHEIT_20 = Celsius((20 - 32) * 5 / 9)  # -6.67 °C; 20 °F for a freezer kept near 0 °F: common practice


@dataclass(frozen=True, slots=True)
class Limits:
    """Hold when one freezer's alarms begin and end.

    `high` -12 °C is the last tolerance that European rules give quick-frozen food in a shop cabinet
    (Directive 89/108/EEC, article 5: -18 °C plus 6 K). It speaks of food and an air sensor crosses it sooner,
    so it must last 45 min: longer than sorting food with the lid open or an automatic defrost.
    `highhigh` 20 °F is common practice for a freezer kept near 0 °F; 30 min, 60 with automatic defrost.
    `deadband` 1 K: 1 % of a range of 65 K (starting value of EEMUA 191 for temperatures), rounded up; it acts on
    leaving only (OPC 10000-9, B.1.5).
    `off_delay` 10 min: a lid shut for a moment does not end an alarm. `unwatched` 60 min: a shut freezer is in
    no hurry within the hour; `unwatched_high` 4 h.
    `rising_within` 6 h: a freezer that no longer cools is told of when it would reach `high` within so long; 0 never.
    `too_cold` 8 K under its own habit for 2 h: more than any pull-down after loading overshoots.
    `lid_open` 5 min: putting away a week's shopping is quicker.
    `warm` -15 °C is the first tolerance of the same directive (-18 °C plus 3 K, for short times); `warm_single` in one
    spell or `warm_total` in a day above it shortens the food's keeping. 10 h in all is the figure of recorders that
    count time out of range (WHO/IVB/05.23); 0 switches either off.
    """

    high: Celsius = CELSIUS_MINUS_12
    high_on_delay: int = 45 * MINUTE
    highhigh: Celsius = FAHRENHEIT_20
    highhigh_on_delay: int = 30 * MINUTE
    deadband: Kelvin = KELVIN_1
    off_delay: int = 10 * MINUTE
    unwatched: int = HOUR
    unwatched_high: int = 4 * HOUR
    rising_within: int = 6 * HOUR
    too_cold: Kelvin = KELVIN_8
    too_cold_on_delay: int = 2 * HOUR
    lid_open: int = 5 * MINUTE
    warm: Celsius = CELSIUS_MINUS_15
    warm_single: int = 6 * HOUR
    warm_total: int = 10 * HOUR

    def __post_init__(self) -> None:
        """Refuse limits that contradict each other."""
        if not self.high < self.highhigh:
            raise ValueError(f"high ({self.high:.1f} °C) must be colder than highhigh ({self.highhigh:.1f} °C)")
        if not 0 <= self.deadband < math.inf:  # which is not true of NaN either
            raise ValueError("deadband must be a number and not below zero")
        if min(self.high_on_delay, self.highhigh_on_delay, self.off_delay) < 0:
            raise ValueError("a delay must not be below zero")
        if not 0 < self.unwatched <= self.unwatched_high:
            raise ValueError("unwatched must be above zero and not longer than unwatched_high")
