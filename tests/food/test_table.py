"""The food table against the charts it was drawn from, and how a household's words find their food."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.row import CHARTS, Category
from gatewayd.food.table import FOODS, find, suggest
from gatewayd.model.contents import Group

DATA = Path(__file__).parent.parent / "data"


def read(name):
    """Return the rows of a file in tests/data."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


CHART = {row["category"]: row for row in read("outage_chart.csv")}
MONTHS = read("freezer_months.csv")
LIVES = {(row["group"], row["food"]) for row in read("storage_lives.csv")}
COMPOSITIONS = {row["food"] for row in read("handbook_compositions.csv")}
each = pytest.mark.parametrize("food", FOODS, ids=lambda food: food.name)
# What the chart says of whole food, and what belongs to none: the touch of raw juice is a mishap, not a food
NO_FOOD = {"ANY item touched by raw meat juice"}


def rows_of(food):
    """Return the rows of the months' charts that a food names."""
    if "#" in food.source:
        return [row for row in MONTHS if row["source"] == food.source]
    chart, _, name = food.source.partition(": ")
    return [row for row in MONTHS if row["source"] == chart and row["food"] == name]


@each
def test_months(food):
    """A food's months are those of the one row it names, none where that row gives none."""
    (row,) = rows_of(food)
    printed = [row["months_min"], row["months_max"]]
    assert food.months == (None if printed == ["", ""] else tuple(float(value) for value in printed))
    assert food.source.partition("#")[0].partition(":")[0] in CHARTS


@each
def test_category(food):
    """A food's verdict is a row of the outage chart, marked as ours where the row was derived."""
    row = CHART[food.verdict.value]
    if row["status"] == "derived":
        assert "verdict" in food.ours


def test_categories():
    """The categories are the rows of the outage chart, all but the one that is no food."""
    assert {category.value for category in Category} == set(CHART) - NO_FOOD


@each
def test_life(food):
    """A food's life is a group of the storage lives, and its row one of that group."""
    if food.life is None:
        assert food.life_row is None
    elif food.life_row is None:
        assert food.life in {group for group, _ in LIVES}
    else:
        assert (food.life, food.life_row) in LIVES


@each
def test_composition(food):
    """A food's composition is a row of the handbook."""
    assert food.composition is None or food.composition in COMPOSITIONS


@each
def test_found(food):
    """Every food is found by each of its names, in capitals and in the other order too."""
    for name in (food.name, *food.also):
        assert find(name) is food
        assert find(name.upper()) is food
        assert find(" ".join(reversed(name.split()))) is food


def test_names():
    """No name stands twice in the table."""
    names = [name for food in FOODS for name in (food.name, *food.also)]
    assert len(names) == len(set(names))
    assert len(FOODS) >= 150


def test_ice_cream_alone():
    """Only ice cream and its like are thrown out while still cold."""
    cold = {food.name for food in FOODS if CHART[food.verdict.value]["verdict_cold"] == "discard"}
    assert cold == {"ice cream", "sorbet"}


@pytest.mark.parametrize("group", [Group.MEAT, Group.MEALS])
def test_no_flesh_kept_warm(group):
    """Nothing of meat, fish or cooked food is kept after hours in the warm, butter and hard cheese aside."""
    kept = {
        food.name
        for food in FOODS
        if food.group is group and CHART[food.verdict.value]["verdict_warm"] not in {"discard", "discard_after_6h"}
    }
    assert kept <= {"butter", "margarine", "hard cheese"}


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("deer", "venison steaks"),
        ("Venison steak", "venison steaks"),
        ("mince, venison", "venison mince"),
        ("rainbow trout", "trout"),
        ("bag of frozen plums", "plums"),
        ("my own sliced runner beans", "green beans"),
        ("two", None),
        ("loaf", "bread"),
        ("loaves", "bread"),
        ("Milk", "milk"),
        ("cookie", "biscuits"),
        ("Crème fraîche", "sour cream"),
        ("shepherd’s pie", "shepherd's pie"),
        ("box of raw diced venison", "venison stew meat"),
        ("potato", "potatoes"),
        ("peach", "peaches"),
        ("berry", "mixed berries"),
    ],
)
def test_find(text, name):
    """A household's word finds its food, whatever its case, number, order and packing."""
    food = find(text)
    assert (food.name if food else None) == name


@pytest.mark.parametrize(
    "text",
    [
        "bread pudding",
        "plum cake with custard",
        "cheese",
        "cake",
        "smoked venison",
        "ham and pea soup",
        "chicken curry",
        "venisen",
        "",
        "?!",
        "frozen",
        "big small raw red fresh frozen whole plums",
    ],
)
def test_find_nothing(text):
    """A word that may change the verdict is never dropped, and an open word or a slip of the pen is not guessed at."""
    assert find(text) is None


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("venisen steaks", "venison steaks"),
        ("rasberries", "raspberries"),
        ("salmom", "salmon"),
        ("gravvy", "gravy"),
        ("haddok", "haddock"),
        ("chicken curry", "chilli"),
        ("cheddar cheese", "hard cheese"),
        ("pease", "peas"),
    ],
)
def test_suggest(text, name):
    """A slip of the pen or an unknown compound suggests the food meant, among three."""
    foods = suggest(text)
    assert name in [food.name for food in foods]
    assert len(foods) <= 3


def test_suggest_first():
    """The likest food comes first, each once, and as many as asked for."""
    assert suggest("venison stakes", 1)[0].name == "venison steaks"
    many = suggest("venison", 5)
    assert len(many) == len(set(many)) == 5
    assert all("venison" in " ".join((food.name, *food.also)) for food in many)


@pytest.mark.parametrize("text", ["", "of the", "xyzzyx"])
def test_suggest_nothing(text):
    """What reads like no food suggests none."""
    assert suggest(text) == ()


@given(st.text(max_size=40))
def test_any_text(text):
    """Any text is found or not, and what is suggested for it is in the table."""
    assert find(text) is None or find(text) in FOODS
    assert all(food in FOODS for food in suggest(text))
