"""See that a freezer that had stopped cooling truly cools again.

A look under the lid warms the air and lets it fall back to where it was, noise makes it fall by a step, and a slow thaw
hardly moves. Only a compressor brings it below all it was in the hours before it turned, or to where it ordinarily is.
"""

from collections import deque
from dataclasses import dataclass, field
from math import inf

from gatewayd.model.moment import HOUR, MINUTE

BLOCK = 10 * MINUTE  # the extremes of ten minutes are enough, where the fall of a compressor takes half an hour
BLOCKS = 36  # six hours, in which even 0.05 K an hour shows above the noise of a probe. Our choice
# It must lie so far below all it was in the two hours before its peak, and for so long. A look under the lid comes back
# to its old level only; the room moves the air of a still freezer by less than 0.2 K an hour (simulated freezers), so a
# cool night by less than this within the time in which the peak is looked for.
FALLEN = 1.0  # K
PEAK_WITHIN, BEFORE_PEAK = 3 * HOUR, 2 * HOUR
NEAR = 0.3  # K: the noise of a probe may make any block of a slow thaw its warmest
LASTS = 10 * MINUTE  # a probe that was touched, or a compressor that starts and trips, looks so for a moment


@dataclass(slots=True)
class Cooling:
    """Follow one freezer's air, by points about two minutes apart.

    `blocks` are (begin in steady ms, least °C, most °C) of ten minutes each. `below` and `cold` are since when (steady
    ms) the air lies below all it was before its peak, and where it ordinarily is; `doubted` is when it last was doubted
    that it cools.
    """

    blocks: deque[tuple[int, float, float]] = field(default_factory=lambda: deque(maxlen=BLOCKS))
    below: int | None = None
    cold: int | None = None
    fallen: bool = False
    doubted: int | None = None

    def follow(self, value: float, steady: int, usual: float | None) -> None:
        """Take one point (°C) at a `steady` time (ms); `usual` (°C) is what it is seldom warmer than, if known."""
        begin = steady // BLOCK * BLOCK
        before = self._before_peak(begin, value)
        if self.blocks and self.blocks[-1][0] == begin:
            _, least, most = self.blocks[-1]
            self.blocks[-1] = (begin, min(least, value), max(most, value))
        else:
            while len(self.blocks) >= BLOCKS:
                self.blocks.popleft()
            self.blocks.append((begin, value, value))
        if before is None or value >= before:
            self.below = None
        elif self.below is None:
            self.below = steady
        self.fallen = before is not None and value <= before - FALLEN
        if usual is None or value >= usual:
            self.cold = None
        elif self.cold is None:
            self.cold = steady

    def _before_peak(self, begin: int, value: float) -> float | None:
        """Return the least (°C) of the two hours before its peak, which itself is the least where nobody saw before."""
        peak, peak_at = -inf, 0
        for at, _, most in reversed(self.blocks):
            if at < begin - PEAK_WITHIN:
                break
            if most > peak:
                peak, peak_at = most, at
        if peak <= value:
            return None
        return min((least for at, least, _ in self.blocks if peak_at - BEFORE_PEAK <= at < peak_at), default=peak)

    def seen(self, steady: int, high: float) -> bool:
        """Return whether it truly cools, as of the last point; what lies above `high` (°C) can only have fallen."""
        if self.fallen and self.below is not None and steady - self.below >= LASTS:
            return True
        newest = self.blocks[-1] if self.blocks else None
        if newest is None or newest[2] >= high:
            return False
        return (self.cold is not None and steady - self.cold >= LASTS) or self._calm(steady)

    def since(self, steady: int) -> int:
        """Return since when (steady ms) it falls: the end of its last ten minutes near its peak."""
        recent = [(at, most) for at, _, most in self.blocks if at >= steady - PEAK_WITHIN]
        peak = max((most for _, most in recent), default=0.0)
        return min(steady, max((at + BLOCK for at, most in recent if most >= peak - NEAR), default=steady))

    def _calm(self, steady: int) -> bool:
        """Return whether it has not become warmer over hours, as one that was set warmer while nobody looked."""
        if len(self.blocks) < BLOCKS or self.blocks[0][0] < max(steady - 2 * BLOCKS * BLOCK, self.doubted or 0):
            return False
        first = min(least for at, least, _ in self.blocks if at < self.blocks[0][0] + HOUR)
        last = min(least for at, least, _ in self.blocks if at > steady - HOUR)
        return last <= first

    def forget(self) -> None:
        """Forget what was seen, since nobody looked for a while."""
        self.blocks.clear()
        self.below = self.cold = self.doubted = None
        self.fallen = False
