"""The handbook's rows as the tests of the food equations read them."""

import csv
from pathlib import Path

from hypothesis import strategies as st

from gatewayd.thermal.enthalpy import Composition
from gatewayd.thermal.freezing import start_pham

DATA = Path(__file__).parent.parent / "data"
PARTS = ("water", "protein", "fat", "carbohydrate", "fibre", "ash")
COLUMNS = ("water_pct", "protein_pct", "fat_pct", "carb_total_pct", "fibre_pct", "ash_pct")


def read(name: str) -> list[dict[str, str]]:
    """Return the rows of a file in tests/data."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


CHECKS = {row["name"]: row for row in read("handbook_foods.csv")}
FOODS = {row["food"]: row for row in read("handbook_compositions.csv")}


def asking(*asks: str) -> list[str]:
    """Return the names of the check rows that ask for one of `asks`."""
    return [name for name, row in CHECKS.items() if row["asks"] in asks]


def said(row: dict[str, str]) -> str:
    """Return where a row comes from and how sure it is, for a failure's text."""
    return f"{row['source']}; {row['status']}"


def of_check(row: dict[str, str]) -> Composition:
    """Return the composition a check row gives."""
    return Composition(*(float(row[part]) for part in PARTS), float(row["freezing"]))


def of_food(row: dict[str, str]) -> Composition:
    """Return the composition of a handbook row; where it prints no freezing point, Pham's."""
    water, protein, fat, carbohydrate, fibre, ash = (float(row[column]) / 100 for column in COLUMNS)
    freezing = float(row["t_freeze_C"]) if row["t_freeze_C"] else start_pham(water, protein, carbohydrate, ash)
    return Composition(water, protein, fat, carbohydrate, fibre, ash, freezing)


def with_value(column: str) -> list[str]:
    """Return the foods whose row prints a value in `column`."""
    return [name for name, row in FOODS.items() if row[column]]


@st.composite
def compositions(draw: st.DrawFn) -> Composition:
    """Draw a food: wet to nearly dry, whatever else it is of, freezing anywhere a food does."""
    weights = [draw(st.floats(low, high)) for low, high in ((0.1, 1), (0, 1), (0, 1), (0, 1), (0, 0.1))]
    water, protein, fat, carbohydrate, ash = (weight / sum(weights) for weight in weights)
    fibre = carbohydrate * draw(st.floats(0, 1))
    return Composition(water, protein, fat, carbohydrate, fibre, ash, draw(st.floats(-12, -0.1)))
