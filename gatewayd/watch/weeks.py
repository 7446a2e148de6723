"""Keep what the note of the week needs: the lowest and highest of each freezer, and when notes and tests were last."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Span:
    """Hold the lowest and highest good reading (°C) of one freezer since the last note."""

    lowest: float
    highest: float


@dataclass(slots=True)
class Weeks:
    """Hold the spans by freezer id, and what is sent by the calendar.

    `noted` and `tested` are wall stamps (ms) of the last note and test alarm, or of the first start. `missed` says
    that nobody answered the last test, which is told once and not again before somebody has answered one.
    """

    noted: int
    tested: int = 0
    missed: bool = False
    spans: dict[str, Span] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Count the first test from the first start."""
        self.tested = self.tested or self.noted

    def take(self, freezer: str, value: float) -> None:
        """Take one good reading (°C)."""
        span = self.spans.get(freezer)
        if span is None:
            self.spans[freezer] = Span(value, value)
        elif value < span.lowest:
            span.lowest = value
        elif value > span.highest:
            span.highest = value
