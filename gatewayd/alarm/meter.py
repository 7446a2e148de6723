"""Follow the power that one freezer draws, and learn how long it rests between two runs."""

from dataclasses import dataclass, field

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment

IDLE = 1.0  # W; a compressor draws 50 W and more, a freezer's lamp or control a few: below is nothing. Our choice.
REST_LEAST = 2 * HOUR  # a well filled chest in a cold shed rests for an hour and more; two are no rest any longer
REST_TIMES = 2  # and never before twice its longest rest: a colder night or a door that stayed shut makes it longer
HABIT_LEAST = DAY  # a day and a night, since the room's warmth sets the rests
HABIT_DAYS = 7  # the last week, so that a habit of summer does not speak for winter
# Meters that send only when the power changes repeat themselves every hour or sooner (common practice); a meter not
# heard for longer may have lost its radio, and then its freezer's rest is not known.
SEEN_GAP = 90 * MINUTE


@dataclass(slots=True)
class Rest:
    """Hold the longest rest (ms) that ended on one day (wall ms // 1 d)."""

    day: int
    longest: int = 0


@dataclass(slots=True)
class Meter:
    """Hold what a meter in a freezer's plug said: last heard when, idle since when, and its rests of the last days.

    `seen` is how long it has been listened to in all (ms), `drew` whether it ever drew power.
    """

    freezer: str
    last: Moment | None = None
    idle: Moment | None = None
    seen: int = 0
    drew: bool = False
    rests: list[Rest] = field(default_factory=list)

    def take(self, watts: float, now: Moment, *, learn: bool) -> None:
        """Take one reading; a rest that ends is learnt from if `learn`, which is false for one that was an outage."""
        gap = now.steady - self.last.steady if self.last is not None else SEEN_GAP + 1
        if gap > SEEN_GAP:
            self.idle = None
        else:
            self.seen += gap
        self.last = now
        if watts < IDLE:
            self.idle = self.idle or now
            return
        if self.idle is not None and learn:
            self._rested(now.steady - self.idle.steady, now.wall // DAY)
        self.idle, self.drew = None, True

    def due(self) -> int | None:
        """Return the steady time (ms) at which its rest is too long, None if that cannot be said."""
        if self.idle is None or self.last is None or not self.drew or self.seen < HABIT_LEAST:
            return None
        due = self.idle.steady + max(REST_LEAST, REST_TIMES * max((r.longest for r in self.rests), default=0))
        if due > self.last.steady + SEEN_GAP:
            return None  # only a meter that is heard can say so; its next reading asks again
        return max(due, self.last.steady)

    def forget_steady(self) -> None:
        """Forget what counts on steady time; the habit stays."""
        self.last, self.idle = None, None

    def _rested(self, span: int, day: int) -> None:
        if not self.rests or self.rests[-1].day != day:
            self.rests = [*self.rests[-HABIT_DAYS + 1 :], Rest(day)]
        self.rests[-1].longest = max(self.rests[-1].longest, span)
