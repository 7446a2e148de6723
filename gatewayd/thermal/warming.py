"""Since when a freezer has not cooled, by its air alone.

In ordinary running that is the last low before the present rise. Once the air has risen beyond a pause, a look under
the lid changes nothing: the beginning is held until the air falls below what it has held for an hour.
"""

from gatewayd.thermal.habit import Habit

STEP = 5  # min
ABOVE = 0.4  # K above the usual restart level: the ceiling (measured on simulated freezers)
LONGER, AND = 1.15, 5.0  # x the usual pause, and min: by then a pause is over (same source)
NO_HABIT_RISE, NO_HABIT_FOR = 3.0, 120  # K and min that are no pause of any freezer. Our choice
# What ends a warming: the air lies so far (K) below what it has held for an hour at any time of the last four. A look
# under the lid falls back to its old level only, and a room that cools at night moves the air of a still freezer by
# less than 0.2 K an hour.
FALLEN, HELD, LATELY = 1.0, 60, 240
COLD = 3  # points back where it ordinarily is, after an automatic defrost for one; a quarter of an hour. Our choice


class Walk:
    """Walk along the points, once."""

    def __init__(self, swing: float, habit: Habit | None) -> None:
        """Begin; `swing` (K) is how far a turn must come back to count."""
        self.swing, self.habit = swing, habit
        self.rising = True  # a recording that begins with an outage begins with a rise
        self.beyond = False
        self.low = self.high = 0.0
        self.low_at = 0
        self.begun = False
        self.cold = 0  # points in a row that lie where it ordinarily is
        self.recent: list[tuple[int, float]] = []  # of the last LATELY minutes, while beyond
        self.ended: tuple[int, int] | None = None  # the last warming beyond a pause: its first and its last slot

    @property
    def since(self) -> int | None:
        """Return since which slot it has not cooled, None while it cools or nothing was heard."""
        return self.low_at if self.begun and self.rising else None

    def step(self, slot: int, value: float) -> None:
        """Take one mean (°C) of the five minutes from `slot` on."""
        if not self.begun:
            self.begun, self.low, self.low_at, self.high = True, value, slot, value
        elif self.beyond:
            self._hold(slot, value)
        elif self.rising:
            if value <= self.low:
                self.low, self.low_at, self.high = value, slot, value
            self.high = max(self.high, value)
            if value <= self.high - self.swing:
                self.rising, self.low, self.low_at = False, value, slot
            elif self._is_beyond(slot, value):
                self.beyond, self.recent, self.cold = True, [(slot, value)], 0
        elif value <= self.low:
            self.low, self.low_at = value, slot
        elif value >= self.low + self.swing:
            self.rising, self.high = True, value

    def _is_beyond(self, slot: int, value: float) -> bool:
        lasted = slot - self.low_at
        if self.habit is None:
            return lasted >= NO_HABIT_FOR and value >= self.low + NO_HABIT_RISE
        pause = self.habit.off if self.habit.off is not None else NO_HABIT_FOR
        return lasted > LONGER * pause + AND and value > self.habit.top + ABOVE

    def _hold(self, slot: int, value: float) -> None:
        """While beyond any pause: end it where the air falls below what it has held for an hour."""
        self.recent.append((slot, value))
        while self.recent[0][0] < slot - LATELY:
            self.recent.pop(0)
        usual = self.habit.top if self.habit is not None else self.low + 0.5 * self.swing
        self.cold = self.cold + 1 if value < usual else 0
        if self.cold >= COLD or value < _held(self.recent) - FALLEN:
            lately = [(v, at) for at, v in self.recent if at >= slot - HELD]
            self.ended = (self.low_at, max(lately)[1])
            self.beyond = self.rising = False
            self.low, self.low_at = value, slot


def _held(recent: list[tuple[int, float]]) -> float:
    """Return the highest level (°C) that was held for an hour within the recent points."""
    most, began = -100.0, recent[0][0]
    queue: list[tuple[int, float]] = []
    for slot, value in recent:
        while queue and queue[-1][1] >= value:
            queue.pop()
        queue.append((slot, value))
        while queue[0][0] < slot - HELD:
            queue.pop(0)
        if slot - began >= HELD:
            most = max(most, queue[0][1])
    return most
