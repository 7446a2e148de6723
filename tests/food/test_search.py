"""Packages are found by a few words."""

from zoneinfo import ZoneInfo

import pytest

from gatewayd.food.search import Finder
from gatewayd.model.house import Freezer
from gatewayd.model.stock import Box, Package

JUNE = 1748775600000  # 1 Jun 2025, noon in London
BOXES = (Box("top-basket", "Top basket", "porch-chest", layer="top"), Box("crate", "Blue crate", "shed-chest"))
FREEZERS = {f.id: f for f in (Freezer("porch-chest", "Porch chest"), Freezer("shed-chest", "Shed chest", place="shed"))}
PACKAGES = (
    Package(1, "top-basket", "plums", frozen=JUNE),
    Package(2, "crate", "plums", frozen=JUNE, who="Ann"),
    Package(3, "top-basket", "runner beans", packed="bag", note="salted, crème"),
    Package(12, "crate", "dragon stew"),
    Package(20, "top-basket", "cherries", frozen=JUNE + 400 * 86_400_000),
)


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("plums porch 2025", [1]), ("2025 PORCH plum", [1]), ("plums", [1, 2]), ("plum june", [1, 2]), ("ann", [2]),
        ("beans", [3]), ("bean bag", [3]), ("creme", [3]), ("stew crate", [12]), ("#12", [12]), ("#1", [1]),
        ("cherry", [20]), ("2025-06", [1, 2]), ("2025-06-01 shed", [2]), ("the plums in the porch", [1]),
        ("", [1, 2, 3, 12, 20]), ("plums beans", []), ("xyz", []), ("2026", [20]),
    ],
)  # fmt: skip
def test_search(query: str, numbers: list[int]) -> None:
    """Words in any order find by food, box, freezer, day, packing, who, note and number."""
    finder = Finder(BOXES, FREEZERS, ZoneInfo("Europe/London"))

    assert [one.id for one in finder.search(query, PACKAGES)] == numbers
