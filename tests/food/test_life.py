"""How foods keep and age: the rows of the storage lives, and nothing taken on the bright side."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.life import (
    HOT_MOST,
    THAWED,
    THAWED_DRY,
    UNKNOWN_GROWTH,
    UNKNOWN_MONTHS,
    growth,
    keeping,
    pace_of,
    thaws,
)
from gatewayd.food.lives import LIVES
from gatewayd.food.table import FOODS, find

DATA = Path(__file__).parent.parent / "data"


def read(name):
    """Return the rows of a file in tests/data."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


# IIR, "Recommendations for the Processing and Handling of Frozen Foods", from memory; and its fellows
PRINTED = read("storage_lives.csv")
TABLE = {(row["group"], row["food"]): row for row in PRINTED if row["measure"] == "PSL" and row["t1_C"] == "-12"}
FEW = {row["food"]: row for row in PRINTED if row["measure"] == "HQL"}
# Rows of fruit in sugar, concentrates of butter and the like that no food of ours is
LEFT_OUT = {
    "raspberries, strawberries, in sugar",
    "peaches, apricots, cherries, in sugar",
    "butter sweet cream salted",
}
OTHER = {"pork sausage", "herring gutted", "flatfish"}
OWN = {(food.life, food.life_row): food for food in FOODS}
foods = st.sampled_from((None, *FOODS))


def number(cell):
    """Return the figure of a cell, the bound where it says "over", None where it is empty."""
    return float(cell.removeprefix(">")) if cell else None


@pytest.mark.parametrize("life", [life for life in LIVES if life.name not in OTHER], ids=lambda life: life.name)
def test_row(life):
    """A row's three lives, and its growth between -18 and -12 °C, are the table's."""
    row = TABLE[life.group, life.name]
    assert (life.at12, life.at18, life.at24) == (number(row["v1"]), number(row["v2"]), number(row["v3"]))
    if row["q10_t1_t2"]:
        assert life.warm == pytest.approx(float(row["q10_t1_t2"]), abs=0.006)
    else:
        assert life.warm is None


def test_all_rows():
    """No row of the table is missing but those that no food of ours is."""
    assert {name for _, name in TABLE} - {life.name for life in LIVES} == LEFT_OUT


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("raspberries, strawberries, raw", "raspberries bulk no sugar"),
        ("beans green", "green beans"),
        ("cauliflower", "cauliflower"),
        ("peas green", "peas"),
        ("spinach chopped", "spinach"),
        ("chicken whole or parts", "raw chicken tight pack"),
        ("beef steaks and cuts", "beef raw"),
        ("pork carcass or cuts", "pork roast"),
        ("pork sausage", "pork sausage"),
    ],
)
def test_hot(ours, theirs):
    """Growth between -12 and -7 °C is that of the times of high quality, which are from memory too."""
    (life,) = (life for life in LIVES if life.name == ours)
    assert life.hot == float(FEW[theirs]["q10_t1_t2"])
    if ours == "pork sausage":
        assert (life.at12, life.at18) == (float(FEW[theirs]["v2"]), float(FEW[theirs]["v3"]))


@pytest.mark.parametrize("life", [life for life in LIVES if (life.group, life.name) in OWN], ids=lambda life: life.name)
def test_held(life):
    """Food held at -12 or -24 °C is used up just at the row's own life there."""
    pace = pace_of(OWN[life.group, life.name])
    if life.at12 is not None:
        assert pace.rate(-12) * life.at12 / life.at18 == pytest.approx(1)
    if life.at24 is not None:
        assert pace.rate(-24) * life.at24 / life.at18 == pytest.approx(1)
    assert pace.rate(-18) == 1


@given(foods, st.floats(-80, 60), st.floats(-80, 60))
def test_never_better_warm(food, one, other):
    """Warmer food never ages slower, and none slower than at -24 °C or backwards."""
    low, high = sorted((one, other))
    pace = pace_of(food)
    assert 0 < pace.rate(-24) <= pace.rate(low) <= pace.rate(high)
    assert thaws(low) <= thaws(high)
    assert max(pace.warm, pace.hot) <= HOT_MOST


@given(foods)
def test_clipped(food):
    """Beyond the tables nothing is reckoned on: colder counts as -24 °C, and above -5 °C food counts as thawed."""
    pace = pace_of(food)
    assert pace.rate(-40) == pace.rate(-24)
    assert pace.rate(20) == pace.rate(-5)
    assert (thaws(-5), thaws(-4.9)) == (0, 1)


@pytest.mark.parametrize("text", ["plums", "smoked trout", "bread", "cheesecake", "stock"])
def test_no_row(text):
    """A food without a row of its own ages like the steepest of its group, and gains nothing from deeper cold."""
    food = find(text)
    pace = pace_of(food)
    warms = [life.warm for life in LIVES if life.group == food.life and life.warm is not None]
    assert pace.warm == max(warms, default=UNKNOWN_GROWTH)
    assert pace.hot >= pace.warm
    assert pace_of(find("smoked trout")).rate(-30) == 1


def test_fish():
    """Fish of no known kind ages by the steepest of the indices measured on three fishes."""
    # Tsironi, Stoforos & Taoukis, Foods 2020, 9(12), 1893: 84 kJ/mol, which is a growth of 4.45
    assert pace_of(find("fish cakes")).warm == pytest.approx(4.45, abs=0.01)


@pytest.mark.parametrize(("text", "months"), [("trout", (2, 3)), ("venison", (4, 12)), ("plums", (10, 10))])
def test_months(text, months):
    """The months are the food table's, and the fewer count."""
    keeps = keeping(find(text))
    assert (keeps.least, keeps.most) == months
    assert keeps.days == pytest.approx(months[0] * 30.4375)
    assert keeps.known


@pytest.mark.parametrize("food", [None, find("lettuce")])
def test_not_known(food):
    """A food that nobody can name, or that no chart would freeze, gets few months, marked as not known."""
    keeps = keeping(food)
    assert keeps.least == UNKNOWN_MONTHS
    assert not keeps.known


def test_thawed():
    """Once thawed, food keeps a day, bread and the like three, and flour does not mind."""
    assert keeping(find("trout")).thawed == keeping(find("beans")).thawed == keeping(None).thawed == THAWED
    assert keeping(find("bread")).thawed == keeping(find("butter")).thawed == THAWED_DRY
    assert keeping(find("walnuts")).thawed is None


@pytest.mark.parametrize("name", ["q10_from_Ea_61", "q10_from_Ea_132", "q10_from_Ea_112", "q10_from_Ea_83.144"])
def test_growth(name):
    """Growth by Arrhenius' law comes out as reckoned by hand from the activation energy."""
    # derived from Dermesonluoglu et al. 2015, Giannakourou & Taoukis 2003, and the convention of USP <1079.2>
    (row,) = (row for row in read("food_checks.csv") if row["name"] == name)
    assert growth(float(name.rpartition("_")[2])) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
