"""Learn how often a sensor reports, and say when its silence is longer than that."""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.alarm.kinds import GAP_INTERVALS, GAP_LEAST, SILENT_INTERVALS, SILENT_LEAST, UNKNOWN_INTERVAL
from gatewayd.model.moment import DAY

LEARN_FROM = 31  # intervals; an odd count has a true median, and 31 reports outlast a restart of the sensor
LEARN_LEAST = 5  # fewer say nothing yet
IRREGULAR = 365 * DAY  # such a device is looked after by its battery and by its freezer, not by its silence
LEARN_EVERY = 8  # signs of life; the median of 31 hardly moves in 8, and sorting with every sign is for nothing


@dataclass(slots=True)
class Life:
    """Hold when a sensor last lived and the distances (ms) of its last reports.

    `told` is the interval the keeper gave, which wins over the learnt one.
    """

    last: int  # steady ms of the last sign of life, or of the start of waiting
    told: int | None = None
    learnt: int | None = None
    heard: bool = False  # whether this boot heard it at all
    signs: int = 0
    irregular: bool = False  # sends when something happens, not by the clock
    gaps: deque[int] = field(default_factory=lambda: deque(maxlen=LEARN_FROM))

    def sign(self, steady: int) -> None:
        """Take one sign of life."""
        if self.heard:
            self.gaps.append(steady - self.last)
        self.last, self.heard = steady, True
        self.signs += 1
        if len(self.gaps) >= LEARN_LEAST and (self.learnt is None or self.signs % LEARN_EVERY == 0):
            self.learnt = sorted(self.gaps)[len(self.gaps) // 2]

    def interval(self) -> int:
        """Return the interval (ms) to judge by: told, learnt, or the usual one of recorders."""
        return self.told or self.learnt or UNKNOWN_INTERVAL

    def silent_at(self) -> int:
        """Return the steady time (ms) at which the silence is too long.

        A device that sends only when something happens has no interval to judge by; only one the keeper told counts.
        """
        if self.irregular and self.told is None:
            return self.last + IRREGULAR
        return self.last + max(SILENT_LEAST, SILENT_INTERVALS * self.interval())

    def longest_gap(self) -> int:
        """Return the longest distance (ms) of two readings that still counts as seeing what lay between."""
        return max(GAP_LEAST, GAP_INTERVALS * (self.told or self.learnt or 0))
