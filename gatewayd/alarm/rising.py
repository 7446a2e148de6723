"""See from the air alone that a freezer has stopped cooling, long before it is too warm.

A compressor runs in cycles: the air falls, rests and rises, and falls again. Each freezer has its own habit of how long
it rests. One that has not turned down for longer than its habit, lies above its usual tops and goes on warming has
lost its power, its compressor or its door; fresh food, a look under the lid and an automatic defrost turn down sooner.
"""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.model.moment import HOUR, MINUTE, Moment

TURN = 0.5  # K; a smaller move back is noise: probes step by 0.1 K and scatter by as much
RESTS = 60  # kept; two to four days of an ordinary freezer, so that a defrost once a day is among them
LEARNT = 8  # rests before a habit is believed: some hours of cycles, with the night's and the day's
LONGEST_REST = 3 * HOUR  # a longer one is no habit but the fault itself; ordinary rests are under an hour
OVER_HABIT = 1.25  # rests scatter by about a fifth with the room and the load; our choice on simulated freezers
OVER_LEAST = 10 * MINUTE
ABOVE_TOP = 0.5  # K over the usual top, again more than noise
SURE_FOR = 20 * MINUTE  # an automatic defrost and a load of fresh food have turned down by then
PACE_LEAST = 0.3  # K an hour; slower than that a probe's step of 0.1 K in 20 min shows nothing
# Above everything since its last low within so long, or it does not go on: a jump that stands still is a lid, not a
# compressor. A slow thaw of 0.5 K an hour passes a probe's step of 0.1 K every 12 min. Less than SURE_FOR.
ANEW = 18 * MINUTE
COOLS_FOR = 10 * MINUTE  # a turn must last, or a gust at the probe would end the alarm


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
    since when it is sure that it no longer cools, `told` that its alarm was raised in this warming.
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

    @property
    def sure(self) -> bool:
        """Return whether it is overdue and warming now."""
        return self.surely is not None

    def follow(self, value: float, now: Moment) -> None:
        """Take one point (°C) and notice a turn."""
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

    def _ends_rest(self, now: Moment) -> None:
        """Learn an ended rest, unless it was the fault or was not seen from its beginning."""
        began, ended = self.turned, self.most_at
        self.surely = None
        if began is None or ended is None or self.most is None or self.told or began.boot != now.boot:
            return
        if 0 < ended.steady - began.steady <= LONGEST_REST:
            self.rests.append(Rest(ended.steady - began.steady, self.most))

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

    def judge(self, value: float, now: Moment, speed: float | None, eta_most: int, high: float, beyond: bool) -> bool:  # noqa: FBT001 - what a point is
        """Judge a point after `follow`; return whether it has been sure for long enough to be told.

        `speed` (K per hour) of the last half hour, `eta_most` (ms) the longest time to `high` (°C) that matters.
        `beyond` says that the air lies above all of its last day and rises: what is judged by where there is no habit.
        """
        began = self.turned
        if began is None or began.boot != now.boot or speed is None or speed < PACE_LEAST:
            self.surely = None
            return False
        eta = max(0.0, high - value) / speed * HOUR
        habit, top = self.habit(), self.top()
        if habit is None or top is None:
            overdue = beyond
        else:
            wait = max(habit * OVER_HABIT, habit + OVER_LEAST)
            overdue = now.steady - began.steady > wait and value > top + ABOVE_TOP
        anew = self.most_at is not None and now.steady - self.most_at.steady <= ANEW
        if not overdue or not anew or eta > eta_most:
            self.surely = None
            return False
        self.surely = self.surely or now
        return now.steady - self.surely.steady >= SURE_FOR

    def cools(self, now: Moment) -> bool:
        """Return whether it has surely turned down."""
        return (
            self.turned is None
            and self.cooled is not None
            and (self.cooled.boot != now.boot or now.steady - self.cooled.steady >= COOLS_FOR)
        )

    def dark(self) -> None:
        """Forget the warming that runs, since nobody looked; the habit stays."""
        self.turned = self.cooled = self.least_at = self.most_at = self.surely = None
        self.least = self.most = None
