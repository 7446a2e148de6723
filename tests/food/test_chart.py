"""Our rows against the published chart, with the stricter reading where its copies differ."""

import csv
from pathlib import Path

import pytest

from gatewayd.food.chart import ROWS, SOURCE
from gatewayd.food.row import Category
from gatewayd.model.excursion import Ruling

with (Path(__file__).parent.parent / "data" / "outage_chart.csv").open(encoding="utf-8", newline="") as lines:
    # USDA FSIS, "Keeping Food Safe During an Emergency", with the rows that were derived from it
    PRINTED = [row for row in csv.DictReader(lines) if not row["category"].startswith("ANY")]
RULINGS = {
    "refreeze": Ruling.REFREEZE,
    "refreeze_if_sound": Ruling.IF_SOUND,
    "discard": Ruling.DISCARD,
    "discard_after_6h": Ruling.DISCARD,
}
# Where copies differ (University of Connecticut, National Ag Safety Database), and what is derived from such a row
DIFFER = {Category.VEGETABLE, Category.HERB, Category.TOMATO, Category.DOUGH, Category.BREAKFAST}
each = pytest.mark.parametrize("printed", PRINTED, ids=lambda row: row["category"])


def test_all():
    """Every row of the chart is there, and none besides."""
    assert set(ROWS) == set(Category)
    assert {row["category"] for row in PRINTED} == {category.value for category in Category}


@each
def test_columns(printed):
    """Both columns and the hours are the chart's own, but where copies differ: there the stricter one is taken."""
    row = ROWS[Category(printed["category"])]
    assert row.cold is RULINGS[printed["verdict_cold"]]
    if row.category in DIFFER:
        assert row.warm is Ruling.DISCARD
        assert row.until is None
        assert row.printed is RULINGS[printed["verdict_warm"]]
        assert row.printed_until == (6 if printed["warm_limit_h"] == "6" else None)
        assert "stricter" in row.strict
    else:
        assert row.warm is RULINGS[printed["verdict_warm"]]
        assert row.until == (6 if printed["warm_limit_h"] == "6" else None)
        assert row.strict == ""
        assert row.printed is None


@each
def test_source(printed):
    """A derived row says that it is ours and why, the others name the chart."""
    row = ROWS[Category(printed["category"])]
    if printed["status"] == "derived":
        assert row.source.startswith("our choice, not a row of the chart: judged")
        assert SOURCE in row.source
    else:
        assert row.source == SOURCE
    assert bool(row.derived) == (printed["status"] == "derived")


@each
def test_conflicts(printed):
    """Every conflict that is known between copies of the chart is said."""
    if "CONFLICT" in printed["note"]:
        assert ROWS[Category(printed["category"])].strict
