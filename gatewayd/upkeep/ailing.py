"""What upkeep finds about a sensor: that something ails it, ails it worse, or no longer does."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from gatewayd.model.event import Fact


class Severity(Enum):
    """Say how much something ails."""

    LOW = "low"  # for the weekly note
    URGENT = "urgent"  # within days it fails


class Turn(Enum):
    """Name what changed."""

    BEGINS = "begins"
    WORSE = "worse"
    ENDS = "ends"


@dataclass(frozen=True, slots=True)
class Finding:
    """Hold one change with what the wording needs; the watch makes it an alarm."""

    turn: Turn
    facts: Mapping[str, Fact]
    urgent: bool = False
