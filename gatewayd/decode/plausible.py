"""Judge whether a value can be true: known fault codes, range, impossible jumps."""

from dataclasses import dataclass

from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Quality, Quantity

# Range that a freezer probe can see, room included: loggers of WHO PQS E06/TR05.1 work from -30 to +60 °C,
# EN 12830 asks for -25..+15; household freezers reach about -35. Wider than all of them, narrower than fault codes.
COLDEST, WARMEST = -50.0, 60.0
JUMP = 5.0  # K within JUMP_WITHIN; one such sample, gone at the next, is a garbled message (common practice)
JUMP_WITHIN = 5 * MINUTE
_CLOSE = 0.005  # half of the finest step (0.01 °C) in which the fault codes are sent

# Fault codes: 85.00 is the power-on register of 1-wire thermometers and 127.94 a conversion without enough power
# (Linux Documentation/w1/slaves/w1_therm.rst); -127 is what common 1-wire libraries say for "disconnected" (from
# memory); -327.68 is 0x8000 in 0.01 °C, "not known" (Bluetooth SIG GATT Specification Supplement); -128 is 0x8000
# in 8.8 fixed point, "not supported" (Eddystone-TLM).
_CODES = (
    (85.0, Quality.POWER_ON),
    (127.94, Quality.POWER_ON),
    (127.9375, Quality.POWER_ON),
    (-127.0, Quality.DISCONNECTED),
    (-327.68, Quality.UNKNOWN),
    (-128.0, Quality.UNKNOWN),
)
_RANGES = {
    Quantity.TEMPERATURE: (COLDEST, WARMEST),
    Quantity.HUMIDITY: (0.0, 100.0),
    Quantity.BATTERY: (0.0, 100.0),
    Quantity.VOLTAGE: (0.0, 1022.0),  # the SIG's Voltage characteristic ends there
    Quantity.LID: (0.0, 1.0),
    Quantity.MAINS: (0.0, 1.0),
    Quantity.POWER: (0.0, 5000.0),  # W; the largest fuse of a household's socket gives less: 20 A at 240 V
}
_EITHER = (Quantity.LID, Quantity.MAINS)  # 0 or 1 and nothing between


@dataclass(slots=True)
class Trail:
    """Remember the last raw value and the last good one of a sensor's temperature, with steady times (ms)."""

    raw: float | None = None
    good: float | None = None
    good_at: int = 0


def judge(quantity: Quantity, value: float, trail: Trail, steady: int) -> Quality:
    """Return whether `value`, heard at `steady` (ms), can be true; update the temperature's trail.

    A jump of more than 5 K within 5 minutes is taken as garbled until the next sample confirms it.
    """
    low, high = _RANGES[quantity]
    if quantity is not Quantity.TEMPERATURE:
        good = value in (low, high) if quantity in _EITHER else low <= value <= high
        return Quality.GOOD if good else Quality.OUT_OF_RANGE
    if not low <= value <= high:
        for code, quality in _CODES:
            if abs(value - code) < _CLOSE:
                return quality
        return Quality.OUT_OF_RANGE
    before, trail.raw = trail.raw, value
    if (
        trail.good is not None
        and steady - trail.good_at <= JUMP_WITHIN
        and abs(value - trail.good) > JUMP
        and (before is None or abs(value - before) > JUMP)
    ):
        return Quality.JUMP
    trail.good, trail.good_at = value, steady
    return Quality.GOOD
