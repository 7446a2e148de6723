"""Limits of a freezer and their delays, each with the reason for its default."""

import math
from dataclasses import dataclass

from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.units import Celsius, Kelvin

CELSIUS_MINUS_12 = Celsius(-12.0)
KELVIN_1 = Kelvin(1.0)
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
    """

    high: Celsius = CELSIUS_MINUS_12
    high_on_delay: int = 45 * MINUTE
    highhigh: Celsius = FAHRENHEIT_20
    highhigh_on_delay: int = 30 * MINUTE
    deadband: Kelvin = KELVIN_1
    off_delay: int = 10 * MINUTE
    unwatched: int = HOUR
    unwatched_high: int = 4 * HOUR

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
