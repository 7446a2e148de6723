"""A warm spell of one freezer, and what became of its food."""

from dataclasses import dataclass
from enum import Enum


class Answer(Enum):
    """Name what somebody found on looking at a box or package (the published chart's two columns, and a question)."""

    COLD = "cold"  # ice crystals, or as cold as a refrigerator: 40 °F (4.4 °C) or below
    WARM = "warm"  # above 40 °F for more than 2 h, or nobody can rule it out
    UNKNOWN = "unknown"  # not asked, or not known


class Ruling(Enum):
    """Name what the chart says of a package."""

    REFREEZE = "keep"  # may be refrozen or cooked
    IF_SOUND = "keep if sound"  # discard with mould, yeasty smell or slime
    DISCARD = "throw out"
    NOT_JUDGED = "not judged"  # when in doubt, throw it out


class Decision(Enum):
    """Name what the household decided."""

    KEPT = "kept"
    REFROZEN = "refrozen, use first"
    THROWN = "thrown out"


@dataclass(frozen=True, slots=True)
class Excursion:
    """Hold a warm spell: `number` is the event that opened it, `events` all that belong to it.

    `began` and `ended` are wall ms (None: it goes on). `why` are the kinds of alarm that made it. `dark` says that
    nobody watched in a part of it. `closed` says that its food was decided on.
    """

    number: int
    freezer: str
    began: int
    ended: int | None = None
    why: tuple[str, ...] = ()
    dark: bool = False
    events: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Curve:
    """Hold what the warmest probe showed in a spell: hours above each of `model.outlook.LEVELS`, peak (°C) and when.

    `core` is the peak of the warmest food as followed from the air (an estimate), `gaps` the hours in which nothing was
    heard, which count as above every level in `at_most` and in none in `above`.
    """

    above: dict[str, float]  # "-12" -> hours surely above
    at_most: dict[str, float]  # the same if every gap was warm
    peak: float | None = None
    peak_at: int | None = None
    core: float | None = None
    gaps: float = 0.0
    points: tuple[tuple[int, float], ...] = ()  # (wall ms, °C), thinned for drawing
    openings: tuple[tuple[int, int], ...] = ()  # lid openings, wall ms
