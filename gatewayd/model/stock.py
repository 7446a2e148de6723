"""What is in the freezers: boxes, and packages in them, as far as somebody wrote it down.

An imperfect list is better than none: every field but the name may be missing.
"""

from dataclasses import dataclass
from enum import Enum


class Sure(Enum):
    """Say how sure a box's list is."""

    COUNTED = "counted"  # somebody looked and counted
    KEPT = "kept"  # put in and taken out in writing since
    GUESSED = "guessed"  # from memory, or so long ago that nobody would bet on it


@dataclass(frozen=True, slots=True)
class Box:
    """Hold one box, basket, drawer or shelf.

    `id` is a slug that is never used again; `freezer` an id, empty for a box that stands nowhere now. `layer` and
    `place` are the household's words ("top", "left at the back"). `full` is how full, 0 to 1. `looked` is when somebody
    last looked into it (wall ms).
    """

    id: str
    name: str
    freezer: str = ""
    layer: str = ""
    place: str = ""
    full: float | None = None
    looked: int | None = None
    sure: Sure = Sure.GUESSED


@dataclass(frozen=True, slots=True)
class Package:
    """Hold one row of a box's list: `count` equal packages of one food, frozen together.

    `food` is what the household calls it, matched to the food table when it is read. `each` is the weight of one (kg).
    `frozen` is the day it was frozen (wall ms, local noon), `about` says that the day is a guess; None: not known.
    `since` is when it came into its freezer (wall ms), `fresh` that it was not frozen then. `packed` is how ("bag",
    "vacuum", "box"). `gone` is when the last of it was used up or thrown out (wall ms), None while there is some.
    """

    id: int
    box: str
    food: str
    count: float | None = None
    each: float | None = None
    frozen: int | None = None
    about: bool = False
    packed: str = ""
    who: str = ""
    note: str = ""
    since: int | None = None
    fresh: bool = False
    gone: int | None = None

    @property
    def weight(self) -> float | None:
        """Return the weight of all of it (kg), None where it was not said."""
        return None if self.each is None else self.each * (1.0 if self.count is None else self.count)


class Turn(Enum):
    """Name what was done to the stock."""

    ADDED = "added"
    TAKEN = "taken out"
    USED = "used up"
    MOVED = "moved"
    COUNTED = "counted"
    CHANGED = "changed"
    THROWN = "thrown out"
    KEPT = "kept"  # judged after a warm spell
    UNDONE = "undone"


@dataclass(frozen=True, slots=True)
class Move:
    """Hold one line of the stock's history: what was done by whom, and the row before and after (None: not there).

    `set` joins the moves of one order, which are undone together. `undone` is when, None if it stands.
    """

    id: int
    at: int
    who: str
    turn: Turn
    set: int
    box_before: Box | None = None
    box_after: Box | None = None
    before: Package | None = None
    after: Package | None = None
    why: str = ""
    undone: int | None = None
