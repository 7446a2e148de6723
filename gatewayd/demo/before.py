"""Tell what the people of Heron Lane did in the months before the story: boxes, packages, frost, chores.

Each deed is what they ordered at the door then. The same deeds on every run.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from gatewayd.demo.probe import nested
from gatewayd.demo.story import CELLAR_PROBE, CELLAR_UPRIGHT, PORCH_CHEST, SHED_CHEST
from gatewayd.model.moment import DAY, MINUTE, SECOND

Plain = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Deed:
    """Hold one order: `before` ms before the story began, `who` a person's id, and the request."""

    before: int
    who: str
    request: Plain


@dataclass(frozen=True, slots=True)
class IceBath:
    """Hold a check of a probe in ice: for `lasts` ms before the story it says `payload` every `every` ms."""

    sensor: str
    payload: bytes
    every: int
    lasts: int
    who: str


# It reads 0.2 °C in crushed ice; a check takes ten minutes of readings that stand still.
ICE = IceBath(CELLAR_PROBE, nested(0.2, 0, 74.0), 30 * SECOND, 12 * MINUTE, "ann")

BOXES = (
    ("Trout basket", SHED_CHEST, "top", "left"),
    ("Venison crate", SHED_CHEST, "bottom", ""),
    ("Bread drawer", CELLAR_UPRIGHT, "top", ""),
    ("Milk drawer", CELLAR_UPRIGHT, "middle", ""),
    ("Plum crate", PORCH_CHEST, "middle", ""),
    ("Bean basket", PORCH_CHEST, "top", "right"),
)
# Days before, who, and the words: some old enough to be used first, a few without a day, as in a real freezer.
PACKAGES = (
    (50, "ann", "6 trout, 0.4 kg each, frozen June 2026, Trout basket"),
    (50, "ann", "3 trout, 0.35 kg each, frozen November 2025, Trout basket"),
    (50, "ben", "8 bags of venison, 0.8 kg each, frozen October 2025, Venison crate"),
    (50, "ben", "2 bags of venison mince, 0.5 kg each, frozen May 2026, Venison crate"),
    (49, "ann", "4 loaves of bread, 0.5 kg each, frozen September 2026, Bread drawer"),
    (49, "ann", "2 bags of rolls, 0.4 kg each, Bread drawer"),
    (49, "ann", "5 bottles of milk, 1 kg each, frozen September 2026, Milk drawer"),
    (49, "ben", "9 bags of plums, 1 kg each, frozen August 2026, Plum crate"),
    (49, "ben", "4 bags of plums, 1 kg each, frozen September 2025, Plum crate"),
    (49, "ann", "12 bags of runner beans, 0.5 kg each, frozen July 2026, Bean basket"),
    (49, "ann", "a bag of broad beans, Bean basket"),
    (20, "ben", "1 tub of ice cream, 0.5 kg, frozen October 2026, Milk drawer"),
)
# Days before, freezer, mm: a chest that is opened little, and one that is not
FROST = (
    (140, SHED_CHEST, 1.0),
    (75, SHED_CHEST, 3.0),
    (10, SHED_CHEST, 5.0),
    (120, PORCH_CHEST, 2.0),
    (60, PORCH_CHEST, 4.0),
    (8, PORCH_CHEST, 6.0),
)
# Days before, who, what or whom it was done to, the kind of work, a note
CHORES = (
    (200, "ann", SHED_CHEST, "defrosted", ""),
    (190, "ben", PORCH_CHEST, "defrosted", "the drain was blocked with a bean"),
    (75, "ben", SHED_CHEST, "gasket", "a crack near the hinge, still shuts"),
    (40, "ann", CELLAR_UPRIGHT, "condenser", "brushed"),
    (30, "ann", CELLAR_PROBE, "battery", ""),
)


def deeds() -> Iterator[Deed]:
    """Yield what was done, the longest ago first."""
    done = [
        *(_box(*each) for each in BOXES),
        *(_deed(days, who, {"ask": "stock", "do": "add", "lines": [line]}) for days, who, line in PACKAGES),
        *(_deed(days, "ann", {"ask": "frost", "do": "add", "freezer": where, "mm": mm}) for days, where, mm in FROST),
        *(
            _deed(days, who, {"ask": "chore", "do": "add", "subject": subject, "kind": kind, "note": note})
            for days, who, subject, kind, note in CHORES
        ),
    ]
    for number, deed in enumerate(sorted(done, key=lambda each: -each.before)):
        yield Deed(deed.before, deed.who, {**deed.request, "key": f"before-{number}"})


def _deed(days: int, who: str, request: Plain) -> Deed:
    return Deed(days * DAY, who, request)


def _box(name: str, freezer: str, layer: str, place: str) -> Deed:
    news = {"freezer": freezer, "layer": layer, **({"place": place} if place else {})}
    return _deed(51, "ann", {"ask": "stock", "do": "box", "what": name, **news})
