"""Notice an alarm that comes and goes: a probe at the edge, a loose contact, a door that does not close.

Counted before the delays, or a delay that works would hide a sensor that fails. Three activations within a minute is
the usual criterion (ISA-18.2 as trade papers quote it; some read it as more than three); slow signals need a longer
window: ten samples or an hour, whichever is longer (our choice).
"""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.model.moment import HOUR, Moment

OFTEN = 3
WINDOW = HOUR
SAMPLES = 10


@dataclass(slots=True)
class Chatter:
    """Hold whether the raw condition is on, and the steady times (ms) at which it last came on."""

    on: bool = False
    came: deque[int] = field(default_factory=lambda: deque(maxlen=OFTEN))

    def take(self, value: float, now: Moment, limit: float, deadband: float) -> bool:
        """Take one reading; return whether the condition has just come on: above the limit, left below the deadband."""
        if self.on:
            self.on = value >= limit - deadband
            return False
        self.on = value > limit
        if self.on:
            self.came.append(now.steady)
        return self.on

    def often(self, steady: int, window: int) -> bool:
        """Return whether it came on three times within a `window` (ms) that ends now or at the last of them."""
        return len(self.came) == OFTEN and self.came[-1] - self.came[0] <= window and steady - self.came[-1] <= window

    def quiet(self, steady: int, window: int) -> bool:
        """Return whether it did not come on within a `window` (ms) that ends now."""
        return not self.came or steady - self.came[-1] > window

    def forget_steady(self) -> None:
        """Forget times of another boot."""
        self.came.clear()
