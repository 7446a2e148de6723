"""How much an alarm matters: three levels, as ISA-18.2 and IEC 62682 have them."""

from enum import IntEnum


class Priority(IntEnum):
    """Order alarms by what a late answer costs."""

    LOW = 1  # on the page, in the weekly note
    MEDIUM = 2  # a message; may wait for morning
    HIGH = 3  # a message now

    @property
    def word(self) -> str:
        """Return the word people see."""
        return self.name.lower()


def parse_priority(text: str) -> Priority:
    """Read `low`, `medium` or `high`; raise ValueError for anything else."""
    try:
        return Priority[text.strip().upper()]
    except KeyError:
        raise ValueError(f"{text!r} is not a priority; allowed are low, medium and high") from None
