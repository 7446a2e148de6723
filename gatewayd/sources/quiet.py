"""Say how long nothing may be heard before the scanner counts as dead: the pure rule.

The span is `least` (90 s), or three times the shortest interval that the keeper told if every sensor of the radio has
one and that is longer. Two things stretch it, up to `longest`:

- A quiet spell that ended by hearing somebody shows air in which little is said: the span doubles. It falls back as
  soon as the air is lively again.
- After three scanners in a row that heard nobody (the third also brings the power cycle), each one gets twice as long
  as the one before. Nothing is gained by shaking a sound radio in a house where every sensor is dead.
"""

from collections.abc import Sequence

INTERVALS = 3  # of the most talkative sensor; packets get lost, two in a row seldom
LIVELY = 20  # heard within one span: no longer air in which little is said
SHAKEN = 3  # scanners in a row that heard nobody: no longer likely to be the fault of the scanner


class Quiet:
    """Hold what one radio learnt about its air."""

    def __init__(self, intervals: Sequence[int | None], least: int, longest: int) -> None:
        """Take the intervals (ms) of the radio's sensors, None where the keeper told none."""
        told = [interval for interval in intervals if interval]
        rare = INTERVALS * min(told) if told and len(told) == len(intervals) else 0
        self._least = max(least, min(rare, longest))
        self._longest = max(longest, self._least)
        self._span = self._least
        self.missed = 0

    @property
    def span(self) -> int:
        """Return how long (ms) nothing may be heard."""
        return min(self._longest, self._span << min(16, max(0, self.missed + 1 - SHAKEN)))

    def miss(self) -> None:
        """Take that a whole span brought nothing."""
        self.missed += 1

    def hear(self) -> None:
        """Take that somebody was heard after spans that brought nothing."""
        if self.missed:
            self.missed = 0
            self._span = min(self._longest, self._span * 2)

    def look(self, heard: int) -> None:
        """Take how often somebody was heard since the last look."""
        if heard >= LIVELY:
            self._span = self._least
