"""A line of the food table is read into a food, and a wrong one is refused with the line."""

import pytest

from gatewayd.food.row import Category, read
from gatewayd.model.contents import Group

LINE = "stewed eel|eel pot, eel stew|meals|2-3|#193|fish/fish lean|stew|no|ml"


def test_read():
    """Each cell lands in its field, a bare number in the data set of that name."""
    (food,) = read(f"\n{LINE}\n\n")
    assert food.name == "stewed eel"
    assert food.also == ("eel pot", "eel stew")
    assert food.group is Group.MEALS
    assert food.months == (2, 3)
    assert food.source == "USDA-FSIS-2018#193"
    assert (food.life, food.life_row) == ("fish", "fish lean")
    assert food.verdict is Category.STEW
    assert food.composition is None
    assert food.ours == {"months", "life"}


def test_nothing():
    """No freezing, no ageing and no other names are said as None and nothing."""
    (food,) = read("salad leaf||produce|no|#290|no|herb|Kale|")
    assert food.months is food.life is food.life_row is None
    assert food.also == ()
    assert food.composition == "Kale"


def test_mapped():
    """A verdict that the chart does not print is marked as our choice without a letter."""
    (food,) = read("dill||produce|1-2|#288|vegetable|herb|no|")
    assert food.ours == {"verdict"}


def test_one_figure():
    """One figure of months is both least and most."""
    (food,) = read("dill||produce|12|#288|vegetable|herb|no|")
    assert food.months == (12, 12)


@pytest.mark.parametrize(
    "line",
    [
        LINE.replace("|meals|", "|dish|"),
        LINE.replace("|stew|", "|stewed|"),
        LINE.replace("|ml", "|mx"),
    ],
)
def test_unknown(line):
    """An unknown group, verdict or letter is refused with the line."""
    with pytest.raises(ValueError, match="unknown group, verdict or letter: stewed eel"):
        read(line)


def test_cells():
    """A line with a cell too few is refused with how many are wanted."""
    with pytest.raises(ValueError, match="a food of 8 cells, 9 are wanted: stewed eel"):
        read(LINE.rpartition("|")[0])
