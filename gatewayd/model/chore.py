"""What was done for the freezers and their sensors, beside the food: defrosted, a battery changed, a gasket looked at.

Nothing of it is ever changed or taken back: a line that was wrong is followed by another one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from gatewayd.model.event import Fact


class Kind(Enum):
    """Name what was done; the text is what people write and what the file holds."""

    DEFROSTED = "defrosted"
    BATTERY = "battery"  # a sensor's battery was changed
    GASKET = "gasket"  # the seal of a lid was looked at or cleaned
    CONDENSER = "condenser"  # the coils that give off the heat were looked at or cleaned
    ICE_POINT = "ice point"  # a probe was checked in crushed ice
    SPARE = "spare"  # a sensor for a bad day lies ready, or was put to use
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Chore:
    """Hold one thing done: `subject` the id of a freezer, a sensor or the house, `at` when (wall ms), `who` by whom.

    `facts` are plain values; `note` among them is what somebody wrote beside it.
    """

    id: int
    subject: str
    kind: Kind
    at: int
    who: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)

    @property
    def note(self) -> str:
        """Return what somebody wrote beside it, empty where nobody did."""
        return str(self.facts.get("note") or "")


@dataclass(frozen=True, slots=True)
class Due:
    """Hold one thing that is to be done: `what` to do in the owner's words, `by` when (wall ms, None: no day), and why.

    `subject` is the id of the freezer, the sensor or the house. `overdue` says that its day has passed, or that it
    should not wait; `once` that it is an offer, which the note of the week makes once.
    """

    subject: str
    what: str
    by: int | None
    reason: str
    overdue: bool = False
    once: bool = False
