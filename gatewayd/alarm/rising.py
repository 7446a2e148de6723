"""See from the air alone that a freezer has stopped cooling, long before it is too warm.

A compressor runs in cycles: the air falls, rests and rises, and falls again. Each freezer has its own habit of how long
it rests. One that has not turned down for longer than its habit, lies above its usual tops and goes on warming has
lost its power, its compressor or its door; fresh food, a look under the lid and an automatic defrost turn down sooner.
"""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.alarm.cooling import Cooling
from gatewayd.model.moment import HOUR, MINUTE, Moment

TURN = 0.5  # K; a smaller move back is noise: probes step by 0.1 K and scatter by as much
RESTS = 60  # kept; two to four days of an ordinary freezer, so that a defrost once a day is among them
LEARNT = 8  # rests before a habit is believed: some hours of cycles, with the night's and the day's
LONGEST_REST = 3 * HOUR  # a longer one is no habit but the fault itself; ordinary rests are under an hour
# An automatic defrost heats for 15 to 40 min, drips and cools its coil again, and a cased probe is late to see it. One
# that was taken for a fault is learnt all the same if it turned down so soon, or it would be told again each time.
DEFROST = 75 * MINUTE
LONGEST_DEFROST = 2 * HOUR
DEFROST_LEARNT = 20  # rests: most of a day, in which a defrost will have come; until then it waits for the longest
OVER_HABIT = 1.25  # rests scatter by about a fifth with the room and the load; our choice on simulated freezers
OVER_LEAST = 10 * MINUTE
ABOVE_TOP = 0.5  # K over the usual top, again more than noise
SURE_FOR = 20 * MINUTE  # an automatic defrost and a load of fresh food have turned down by then
PACE_LEAST = 0.3  # K an hour; slower than that a probe's step of 0.1 K in 20 min shows nothing
# Above everything since its last low within so long, or it does not go on: a jump that stands still is a lid, not a
# compressor. A slow thaw of 0.5 K an hour passes a probe's step of 0.1 K every 12 min. Less than SURE_FOR.
ANEW = 18 * MINUTE
COOLS_FOR = 10 * MINUTE  # a turn must last, or a gust at the probe would count as one
CALM = HOUR  # where nobody saw it turn: below High and not warmer by a turn for so long, it cools
BLIND = 30 * MINUTE  # a longer gap can hide a turn; a radio in a steel box is often lost for some minutes
# Where no cycles show (the compressor's speed is regulated, the probe lies in a buffer) there is the day before: the
# tops of its hours, of which the newest do not count, or a slow fault would be its own measure.
HOURS = 30
YOUNG = 6
ABOVE_DAY = 1.0  # K: more than the step and noise of a probe, and than the swing of a room shows in a shut freezer
NO_HABIT = 75 * MINUTE  # must lie above it for so long; a buffered probe still warms an hour after a load


@dataclass(slots=True)
class Rest:
    """Hold one ended rest: how long the air warmed (ms) and how warm it became (°C)."""

    lasted: int
    top: float


@dataclass(slots=True)
class Rising:
    """Follow the turns of one freezer's air, by points about two minutes apart.

    `turned` is the moment of the last low, since when it has not cooled (None while it cools), `cooled` since when it
    cools. `least` and `most` are the extremes (°C) since the last turn, `most_at` when the highest was. `surely` is
    since when it is sure that it no longer cools, `told` that its alarm was raised in this warming. `defrosts` says
    that it defrosts by itself, `seen` is the last point, `tops` are the highest (°C) of the hours before `hour`,
    `within` is when it last was no warmer than the day before, where it has no habit. `held` is since when it has not
    cooled in the warming that was told, until it is seen to cool: a look under the lid begins nothing anew.
    """

    rests: deque[Rest] = field(default_factory=lambda: deque(maxlen=RESTS))
    turned: Moment | None = None
    cooled: Moment | None = None
    least: float | None = None
    least_at: Moment | None = None
    most: float | None = None
    most_at: Moment | None = None
    surely: Moment | None = None
    told: bool = False
    defrosts: bool = False
    seen: Moment | None = None
    tops: deque[float] = field(default_factory=lambda: deque(maxlen=HOURS))
    hour: int = -1  # of steady time
    highest: float = 0.0  # of that hour
    within: Moment | None = None
    held: Moment | None = None
    cooling: Cooling = field(default_factory=Cooling)

    def __post_init__(self) -> None:
        """Bound again what comes from a snapshot: a plain list of it knows no bound."""
        self.rests, self.tops = deque(self.rests, maxlen=RESTS), deque(self.tops, maxlen=HOURS)

    @property
    def sure(self) -> bool:
        """Return whether it is overdue and warming now."""
        return self.surely is not None

    @property
    def since(self) -> Moment | None:
        """Return since when it has not cooled: since its last low, or where no lows show since it left its range."""
        if self.turned is None or self.within is None or self.within.steady < self.turned.steady:
            return self.turned
        return self.within

    def follow(self, value: float, now: Moment, gap: int = 0) -> None:
        """Take one point (°C) and notice a turn; `gap` (ms) is the longest distance of two that counts as seeing."""
        if self.seen is not None and now.steady - self.seen.steady > max(BLIND, gap):
            self.dark()
        self.seen = now
        self._learn_hour(value, now.steady // HOUR)
        ceiling = self.ceiling()
        self.cooling.follow(value, now.steady, ceiling)
        if self.least is None or self.most is None:
            self.least = self.most = value
            self.least_at = self.most_at = now
        if self.turned is not None:  # it warms
            if value > self.most:
                self.most, self.most_at = value, now
            elif value < self.most - TURN:
                self._ends_rest(now)
                self.turned, self.cooled = None, self.most_at
                self.least, self.least_at = value, now
        elif value <= self.least:
            self.least, self.least_at = value, now
        elif value > self.least + TURN:
            self.turned, self.cooled = self.least_at, None
            self.most, self.most_at = value, now
        if self.turned is None and self.cooled is None and value < self.most - TURN:
            self.cooled = self.most_at  # the first fall after nobody looked
        if len(self.rests) < LEARNT:
            if ceiling is not None and value <= ceiling:
                self.within = now
        else:
            self.within = None

    def _learn_hour(self, value: float, hour: int) -> None:
        if hour != self.hour:
            if self.hour >= 0 and not self.told:
                self.tops.append(round(self.highest, 2))
            self.hour, self.highest = hour, value
        elif value > self.highest:
            self.highest = value

    def _ends_rest(self, now: Moment) -> None:
        """Learn an ended rest, unless it was the fault or was not seen from its beginning."""
        began, ended = self.turned, self.most_at
        self.surely = None
        if began is None or ended is None or self.most is None or began.boot != now.boot:
            return
        longest = LONGEST_REST
        if self.told:
            longest = LONGEST_DEFROST if self.defrosts else 0
        if 0 < ended.steady - began.steady <= longest:
            self.rests.append(Rest(ended.steady - began.steady, round(self.most, 2)))

    def habit(self) -> int | None:
        """Return the longest rest (ms) of its habit, None before there is one."""
        if len(self.rests) < LEARNT:
            return None
        return max(rest.lasted for rest in self.rests)

    def top(self) -> float | None:
        """Return the top (°C) that three of four rests stay below: openings of the lid reach higher."""
        if len(self.rests) < LEARNT:
            return None
        tops = sorted(rest.top for rest in self.rests)
        return tops[len(tops) * 3 // 4]

    def ceiling(self) -> float | None:
        """Return what it is seldom warmer than (°C): its usual top, or the highest of the day before, if known."""
        top = self.top()
        if top is None and len(self.tops) == HOURS:
            return max(list(self.tops)[:-YOUNG])
        return top

    def judge(self, value: float, now: Moment, speed: float | None, eta_most: int, high: float) -> bool:
        """Judge a point after `follow`; return whether it has been sure for long enough to be told.

        `speed` (K per hour) of the last half hour, `eta_most` (ms) the longest time to `high` (°C) that matters.
        """
        began = self.since
        if began is None or began.boot != now.boot or speed is None or speed < PACE_LEAST:
            self.surely = None
            return False
        eta = max(0.0, high - value) / speed * HOUR
        habit, ceiling = self.habit(), self.ceiling()
        if habit is None:
            wait, above = float(NO_HABIT), ABOVE_DAY
        else:
            wait, above = max(habit * OVER_HABIT, habit + OVER_LEAST), ABOVE_TOP
            if self.defrosts:
                wait = max(wait, DEFROST if len(self.rests) >= DEFROST_LEARNT else LONGEST_DEFROST)
        overdue = ceiling is not None and value > ceiling + above and now.steady - began.steady > wait
        anew = self.most_at is not None and now.steady - self.most_at.steady <= ANEW
        if not overdue or not anew or eta > eta_most:
            self.surely = None
            return False
        if self.surely is None:
            self.surely, self.cooling.doubted = now, now.steady
        return now.steady - self.surely.steady >= SURE_FOR

    def above(self, value: float, now: Moment, speed: float, within: int, high: float) -> bool:
        """Return whether it warms above its usual tops (°C) at a `speed` (K per hour) that matters: enough for an alarm
        where something else is sure that it does not cool, since the waits are for a sign in the air alone.
        """
        began, ceiling = self.since, self.ceiling()
        if began is None or began.boot != now.boot or ceiling is None or speed < PACE_LEAST:
            return False
        above = ABOVE_DAY if self.habit() is None else ABOVE_TOP
        return value > ceiling + above and max(0.0, high - value) / speed * HOUR <= within

    def cools(self, value: float, now: Moment, high: float) -> bool:
        """Return whether it truly cools: by a fall that only a compressor makes, where it is known what is usual."""
        if self.ceiling() is None:
            return self.fell(value, now, high)
        return self.cooling.seen(now.steady, high)

    def fell(self, value: float, now: Moment, high: float) -> bool:
        """Return whether it has turned down for some minutes, as it also does when a lid is shut; or, after nobody
        looked, lies calmly below `high` (°C).
        """
        if self.turned is not None:
            return False
        if self.cooled is not None:
            return now.steady - self.cooled.steady >= COOLS_FOR
        return self.most_at is not None and value < high and now.steady - self.most_at.steady >= CALM

    def dark(self) -> None:
        """Forget the warming that runs, since nobody looked; the habit stays."""
        self.turned = self.cooled = self.least_at = self.most_at = self.surely = self.seen = None
        self.within = None
        self.cooling.forget()
        self.least = self.most = None
        self.hour = -1
