"""Units: conversions against published figures, and what a keeper may write.

Sources: NIST SP 811 (2008), appendix B.8, for the factors; the SI brochure (9th edition) for the kelvin; the
regulations named beside a row, which print both scales.
"""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.units import (
    KG_PER_POUND,
    LITRES_PER_CUBIC_FOOT,
    LITRES_PER_US_GALLON,
    TemperatureUnit,
    parse_difference,
    parse_span,
    parse_temperature,
    parse_volume,
    parse_weight,
    show_span,
)

C, F = TemperatureUnit.C, TemperatureUnit.F


@pytest.mark.parametrize(
    ("text", "celsius", "places"),
    [
        ("0 °F", -17.78, 2),  # (0 - 32) / 1.8, NIST SP 811 B.8
        ("0 °F", -17.8, 1),  # Maine 01-001 ch. 344, section 4 C: air of a frozen warehouse
        ("10 °F", -12.2, 1),  # the same section: the product after a disturbance
        ("5 °F", -15.0, 1),  # California Health & Safety Code 112550 b: locker plants
        ("-10 °F", -23.3, 1),  # Arkansas 25-0115: recommended
        ("20 °F", -6.67, 2),
        ("32 °F", 0.0, 9),  # the ice point
        ("-40 °F", -40.0, 9),  # where the two scales meet
        ("-459.67 °F", -273.15, 9),  # absolute zero
        ("255 K", -18.15, 9),  # t/°C = T/K - 273.15, exact
        ("0 K", -273.15, 9),
        ("-12 °C", -12.0, 9),
    ],
)
def test_temperature_agrees_with_source(text: str, celsius: float, places: int) -> None:
    """Each temperature is the one that its source prints, to as many places as it prints."""
    assert round(parse_temperature(text), places) == celsius


@pytest.mark.parametrize("text", ["-12 °C", "-12°C", "-12 C", "\u221212 °C", " -12.0  ° c ", "-12 c"])
def test_temperature_may_be_written_so(text: str) -> None:
    """The degree sign, spaces, case and the printed minus sign do not matter."""
    assert parse_temperature(text) == -12.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("-12", "has no unit"),
        ("-12 X", "unknown unit 'X'"),
        ("", "is not a temperature"),
        ("cold", "is not a temperature"),
        ("-12,5 °C", "a decimal point is expected"),
        ("nan °C", "is not a temperature"),
        ("1e3 °C", "unknown unit"),
        ("9" * 5000 + " °C", "is not a temperature|unknown unit"),
        ("-273.16 °C", "colder than absolute zero"),
        ("-460 °F", "colder than absolute zero"),
        ("-1 K", "colder than absolute zero"),
    ],
)
def test_temperature_is_refused(text: str, said: str) -> None:
    """A temperature without a unit, or that cannot be, is refused with the reason."""
    with pytest.raises(ValueError, match=said):
        parse_temperature(text)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("2 °F", 1.11), ("1 °F", 0.56), ("1 °C", 1.0), ("1 K", 1.0), ("0 K", 0.0)],  # 5.555 556 E-01 K per °F: SP 811 B.8
)
def test_difference_is_no_temperature(text: str, kelvin: float) -> None:
    """A difference has no zero point: 2 °F is 1.11 K."""
    assert round(parse_difference(text), 2) == kelvin


@pytest.mark.parametrize(
    ("parse", "text"),
    [
        (parse_temperature, "10,5 °F"),
        (parse_difference, "1,5 °C"),
        (parse_span, "1,5 h"),
        (parse_volume, "1,000 L"),
        (parse_weight, "1,5 kg"),
    ],
)
def test_comma_in_a_number_is_not_guessed_at(parse: Callable[[str], object], text: str) -> None:
    """A comma may mean a decimal or thousands, so it is refused with what is expected instead."""
    with pytest.raises(ValueError, match=r"a decimal point is expected, as in 12\.5"):
        parse(text)


@pytest.mark.parametrize(("text", "said"), [("2", "has no unit"), ("-1 K", "below zero"), ("1 L", "unknown unit")])
def test_difference_is_refused(text: str, said: str) -> None:
    """A difference without a unit or below zero is refused with the reason."""
    with pytest.raises(ValueError, match=said):
        parse_difference(text)


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("0", 0),
        ("250 ms", 250),
        ("30 s", 30 * SECOND),
        ("45 min", 45 * MINUTE),
        ("45min", 45 * MINUTE),
        ("1.5 h", 90 * MINUTE),
        ("1 h 30 min", 90 * MINUTE),
        ("1h30min", 90 * MINUTE),
        ("400 days", 400 * DAY),
        ("1 Day", DAY),
        ("2 hours", 2 * HOUR),
    ],
)
def test_span_is_read(text: str, ms: int) -> None:
    """A span is read as whole milliseconds (1 min = 60 s, 1 h = 3600 s, 1 d = 86 400 s: SI brochure, table 8)."""
    assert parse_span(text) == ms


@pytest.mark.parametrize("text", ["", "45", "22:30", "-5 min", "5 parsecs", "1.2.3 h", "min", "5 min or so", "1e9 s"])
def test_span_is_refused(text: str) -> None:
    """What is no span of time, or one without a unit, is refused."""
    with pytest.raises(ValueError, match=r"span of time|no known unit|below zero"):
        parse_span(text)


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("400 L", 400.0),
        ("14 cu ft", 396.44),
        ("14 cu. ft.", 396.44),
        ("14 ft3", 396.44),
        ("0.4 m3", 400.0),
        ("100 gal", 378.54),
        ("1 litre", 1.0),
    ],
)
def test_volume_is_read(text: str, litres: float) -> None:
    """A volume is read as litres; 14 cubic feet are 396 L."""
    assert round(parse_volume(text), 2) == litres


@pytest.mark.parametrize(("text", "said"), [("14", "no unit"), ("0 L", "above zero"), ("5 kg", "unknown unit")])
def test_volume_is_refused(text: str, said: str) -> None:
    """A volume without a unit or of nothing is refused with the reason."""
    with pytest.raises(ValueError, match=said):
        parse_volume(text)


@pytest.mark.parametrize(
    ("text", "weight"),
    [
        ("40 kg", 40.0),
        ("500 g", 0.5),
        ("20 lb", 9.072),  # 1 lb = 4.535 924 E-01 kg: NIST SP 811, B.8
        ("20 lbs.", 9.072),
        ("12 oz", 0.340),  # 1 oz = 2.834 952 E-02 kg: NIST SP 811, B.8
        ("0 kg", 0.0),
    ],
)
def test_weight_is_read(text: str, weight: float) -> None:
    """A weight is read as kg; 20 pounds are 9.07 kg."""
    assert round(parse_weight(text), 3) == weight


@pytest.mark.parametrize(("text", "said"), [("40", "no unit"), ("-1 kg", "below zero"), ("5 L", "unknown unit")])
def test_weight_is_refused(text: str, said: str) -> None:
    """A weight without a unit or below zero is refused with the reason."""
    with pytest.raises(ValueError, match=said):
        parse_weight(text)


def test_volume_factors_are_exact() -> None:
    """The factors follow from the inch of 2.54 cm, and round, as the pound does, to those of NIST SP 811, B.8."""
    assert pytest.approx((12 * 2.54) ** 3 / 1000, rel=1e-15) == LITRES_PER_CUBIC_FOOT
    assert pytest.approx(231 * 2.54**3 / 1000, rel=1e-15) == LITRES_PER_US_GALLON
    assert round(KG_PER_POUND, 7) == 0.4535924
    assert (round(LITRES_PER_CUBIC_FOOT, 5), round(LITRES_PER_US_GALLON, 6)) == (28.31685, 3.785412)


@given(st.integers(-27315, 20000).map(lambda hundredths: hundredths / 100))
def test_shown_temperature_reads_back(celsius: float) -> None:
    """A temperature written for people reads back as itself, in both scales."""
    for scale in TemperatureUnit:
        shown = scale.show(celsius, places=4)
        assert parse_temperature(shown) == pytest.approx(celsius, abs=1e-4)


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (C.show(-18.44), "\u221218.4 °C"),
        (F.show(-18.0), "\u22120.4 °F"),
        (C.show(-0.04), "0.0 °C"),  # no minus before a zero
        (C.show_difference(1.0), "1.0 °C"),
        (F.show_difference(1.0), "1.8 °F"),
    ],
)
def test_temperature_is_shown(shown: str, text: str) -> None:
    """People see a true minus sign, one decimal and the unit; a difference has no offset."""
    assert shown == text


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (0, "0 s"),
        (29 * SECOND, "29 s"),
        (45 * MINUTE, "45 min"),
        (9 * HOUR + 10 * MINUTE, "9 h 10 min"),
        (4 * HOUR, "4 h"),
        (DAY, "1 day"),
        (3 * DAY + 4 * HOUR, "3 days 4 h"),
    ],
)
def test_span_is_shown(ms: int, text: str) -> None:
    """A span is written in its two largest units."""
    assert show_span(ms) == text
