"""Weights and counts as people write them."""

import pytest

from gatewayd.food.amount import count, number, weight

LB = 0.45359237  # kg; exact: the international yard and pound agreement of 1959


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("1 lb", LB), ("1lb", LB), ("2 pounds", 2 * LB), ("12 oz", 0.75 * LB), ("500 g", 0.5), ("500g", 0.5),
        ("1.5 kg", 1.5), ("2 lb 4 oz", 2.25 * LB), ("2 lbs and 8 oz.", 2.5 * LB), ("1 kg 250 g", 1.25),
        ("1/2 lb", LB / 2), ("1 1/2 lb", 1.5 * LB), ("½ kg", 0.5), ("1½ lb", 1.5 * LB), ("2 kilos", 2.0),
        ("300 gr", 0.3),
    ],
)  # fmt: skip
def test_weight(text: str, kg: float) -> None:
    """A weight is read in kg, g, lb and oz, with fractions and two units."""
    assert weight(text) == pytest.approx(kg, rel=1e-12)


@pytest.mark.parametrize("text", ["", "1", "lb", "0 kg", "-1 kg", "501 kg", "1,5 kg", "1 stone", "1 lb of", "1/0 lb"])
def test_no_weight(text: str) -> None:
    """What is no weight of a package is refused with a sentence."""
    with pytest.raises(ValueError, match=r"\w"):
        weight(text)


@pytest.mark.parametrize(
    ("text", "many"), [("12", 12), ("1.5", 1.5), ("a", 1), ("two", 2), ("Twelve", 12), ("a dozen", 12), ("½", 0.5)]
)
def test_count(text: str, many: float) -> None:
    """A count is read in figures and in words."""
    assert count(text) == many


@pytest.mark.parametrize("text", ["", "0", "-3", "many", "10001", "=1+1", "1e9"])
def test_no_count(text: str) -> None:
    """What is no count is refused with a sentence."""
    with pytest.raises(ValueError, match=r"\w"):
        count(text)


def test_volume() -> None:
    """A cell with litres in it is refused with what to write."""
    with pytest.raises(ValueError, match="'1 l' is a volume; write the weight"):
        weight("1 l")


def test_number() -> None:
    """A number may have a fraction behind it."""
    assert number(" 1 1/2 ") == 1.5
    assert number("3") == 3
