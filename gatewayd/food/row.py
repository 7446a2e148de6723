"""What is known of a food that a household freezes, and how the rows of the food table are written."""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.contents import Group


class Category(Enum):
    """Name a row of the outage chart by which a food is judged after a warm spell.

    The values are the rows' own names (USDA FSIS "Keeping Food Safe During an Emergency", FoodSafety.gov frozen-food
    chart). Those that begin with MAPPED are not in the chart: each was derived from its nearest row.
    """

    MEAT = "meat: beef veal lamb pork and ground"
    POULTRY = "poultry and ground poultry"
    OFFAL = "variety meats"
    STEW = "casseroles stews soups"
    FISH = "fish shellfish breaded seafood"
    MILK = "milk"
    EGG = "eggs out of shell and egg products"
    ICE_CREAM = "ice cream and frozen yogurt"
    SOFT_CHEESE = "cheese soft and semi-soft"
    HARD_CHEESE = "cheese hard"
    GRATED_CHEESE = "cheese shredded"
    CREAMY = "casseroles with milk cream eggs soft cheese"
    CHEESECAKE = "cheesecake"
    FRUIT_JUICE = "fruit juices"
    FRUIT = "fruits home or commercially packed"
    VEGETABLE_JUICE = "vegetable juices"
    VEGETABLE = "vegetables home or commercially packed or blanched"
    BREAD = "breads rolls muffins cakes without custard"
    CUSTARD = "cakes pies pastries with custard or cheese filling"
    DOUGH = "pie crusts and bread dough"
    PASTA = "casseroles pasta or rice based"
    FLOUR = "flour cornmeal nuts"
    BREAKFAST = "breakfast items"
    READY = "frozen meals entrees specialty"
    STOCK = "MAPPED stock broth gravy"
    HERB = "MAPPED herbs"
    PESTO = "MAPPED pesto herb in oil"
    TOMATO = "MAPPED tomato puree or sauce without meat"
    BUTTER = "MAPPED butter and margarine"
    CURED = "MAPPED cured and smoked meats"
    PUREE = "MAPPED fruit purees and fruit pie filling"
    UNKNOWN = "MAPPED unknown item"


# The charts of storage months, by the key that the rows use
CHARTS = {
    "USDA-FSIS-2018": "USDA FSIS food storage data set, version 128 (2018), product number behind the #",
    "FSIS-freezing": 'USDA FSIS "Freezing and Food Safety", freezer storage chart',
    "FDA-chart": "US FDA refrigerator and freezer storage chart",
    "MU-ext": 'University of Missouri Extension, "Freezing foods requires the right touch"',
    "NCHFP": "US National Center for Home Food Preservation (from memory)",
}


@dataclass(frozen=True, slots=True)
class Food:
    """Hold what is known of one food.

    `name` is the household's word, `also` are others for it or close kin. `group` is how it warms, always our choice.
    `months` (least, most) is how long it keeps its quality at -18 °C (0 °F); safe it stays for longer. It is None where
    `source` says that freezing is not recommended. `source` is the chart (a key of CHARTS) and its row, as "chart#n" or
    "chart: row". `life` is the group of practical storage lives that it ages like, `life_row` the row where one fits
    (IIR "Recommendations for the Processing and Handling of Frozen Foods" and others); None where it hardly ages.
    `composition` is the row of ASHRAE Handbook-Refrigeration 2006 ch. 9 table 3 that is nearest, None where none is.
    `ours` names the fields of months, life, verdict and composition whose row is not of this very food but was chosen
    by us as its nearest.
    """

    name: str
    also: tuple[str, ...]
    group: Group
    months: tuple[float, float] | None
    source: str
    life: str | None
    life_row: str | None
    verdict: Category
    composition: str | None
    ours: frozenset[str]


_FIELDS = {"m": "months", "l": "life", "v": "verdict", "c": "composition"}
_GROUPS = {
    "meat": Group.MEAT,
    "produce": Group.PRODUCE,
    "bread": Group.BREAD,
    "meals": Group.MEALS,
}
_DATA_SET = "USDA-FSIS-2018"  # the chart that a bare #n is of


def read(text: str) -> tuple[Food, ...]:
    """Read foods from lines of nine cells apart by "|", empty lines left out.

    The cells: name; other names apart by ","; group (meat, produce, bread, meals); months as "4-12", "9" or "no";
    source as "#n" of the data set or "chart: row"; life as "group" or "group/row" or "no"; verdict (a name of
    `Category`, any case); composition or "no"; letters of the fields that are our choice (m l v c), with v added
    wherever the chart's row is derived. Raises ValueError with the line where one is not so.
    """
    return tuple(_food(line) for line in text.splitlines() if line.strip())


def _food(line: str) -> Food:
    cells = [cell.strip() for cell in line.split("|")]
    if len(cells) != 9:
        raise ValueError(f"a food of {len(cells)} cells, 9 are wanted: {line.strip()}")
    name, also, group, months, source, life, verdict, composition, ours = cells
    if verdict.upper() not in Category.__members__ or group not in _GROUPS or set(ours) - set(_FIELDS):
        raise ValueError(f"a food of unknown group, verdict or letter: {line.strip()}")
    category = Category[verdict.upper()]
    least, _, most = months.partition("-")
    life_group, _, life_row = life.partition("/")
    chosen = {_FIELDS[letter] for letter in ours} | ({"verdict"} if category.value.startswith("MAPPED") else set())
    return Food(
        name,
        tuple(word.strip() for word in also.split(",") if word.strip()),
        _GROUPS[group],
        None if months == "no" else (float(least), float(most or least)),
        _DATA_SET + source if source.startswith("#") else source,
        None if life == "no" else life_group,
        life_row or None,
        category,
        None if composition == "no" else composition,
        frozenset(chosen),
    )
