"""Plausibility: fault codes of sensors, the range, and jumps."""

import pytest

from gatewayd.decode.plausible import Trail, judge
from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Quality, Quantity

TEMPERATURE = Quantity.TEMPERATURE


@pytest.mark.parametrize(
    ("value", "quality"),
    [
        (85.0, Quality.POWER_ON),  # Linux Documentation/w1/slaves/w1_therm.rst: power-on register
        (127.94, Quality.POWER_ON),  # same: conversion with insufficient power, raw 0x07FF
        (-127.0, Quality.DISCONNECTED),  # from memory: "disconnected" of common 1-wire libraries
        (-327.68, Quality.UNKNOWN),  # Bluetooth SIG GATT Specification Supplement: 0x8000 in 0.01 °C
        (-128.0, Quality.UNKNOWN),  # Eddystone-TLM, tlm-plain.md: 0x8000 in 8.8 fixed point
        (float("nan"), Quality.OUT_OF_RANGE),
        (float("inf"), Quality.OUT_OF_RANGE),
        (-50.01, Quality.OUT_OF_RANGE),
        (60.01, Quality.OUT_OF_RANGE),
        (-50.0, Quality.GOOD),
        (60.0, Quality.GOOD),
        (-18.0, Quality.GOOD),
    ],
)
def test_codes_and_range(value: float, quality: Quality) -> None:
    """Known fault codes and values out of range are marked; the ends of the range are good."""
    assert judge(TEMPERATURE, value, Trail(), 0) is quality


def test_single_jump_is_bad() -> None:
    """A sample 20 K away, gone at the next, is marked and the next is good."""
    trail = Trail()
    marks = [judge(TEMPERATURE, v, trail, t * MINUTE) for t, v in enumerate([-18.0, 2.0, -18.1])]

    assert marks == [Quality.GOOD, Quality.JUMP, Quality.GOOD]


def test_confirmed_jump_is_good() -> None:
    """A jump that the next sample confirms is believed: the lid is open."""
    trail = Trail()
    marks = [judge(TEMPERATURE, v, trail, t * MINUTE) for t, v in enumerate([-18.0, -5.0, -4.0])]

    assert marks == [Quality.GOOD, Quality.JUMP, Quality.GOOD]


def test_old_value_does_not_judge() -> None:
    """After more than 5 minutes any plausible value may follow."""
    trail = Trail()
    judge(TEMPERATURE, -18.0, trail, 0)

    assert judge(TEMPERATURE, -2.0, trail, 5 * MINUTE + 1) is Quality.GOOD


@pytest.mark.parametrize(
    ("quantity", "bad"),
    [
        (Quantity.HUMIDITY, 100.1),
        (Quantity.BATTERY, -1.0),
        (Quantity.LID, 2.0),
        (Quantity.LID, 0.5),
        (Quantity.MAINS, 0.5),
        (Quantity.MAINS, float("nan")),
        (Quantity.POWER, -1.0),
        (Quantity.POWER, 5000.1),
    ],
)
def test_other_quantities_have_ranges(quantity: Quantity, bad: float) -> None:
    """A humidity over 100 %, a battery below 0 %, half a lid and 5 kW at a plug are no values."""
    assert judge(quantity, bad, Trail(), 0) is Quality.OUT_OF_RANGE
    assert judge(quantity, 1.0, Trail(), 0) is Quality.GOOD
