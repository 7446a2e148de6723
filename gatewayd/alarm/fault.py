"""Judge whether a sensor that is heard says anything that can be used."""

from dataclasses import dataclass, field

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import FAULT
from gatewayd.model.event import Fact
from gatewayd.model.moment import MINUTE, Moment, between

# A probe that is plugged in anew, or a chip that starts, says a few wrong values within minutes; a broken wire goes on.
# Our choice, as long as the least silence: both leave the freezer unseen.
BAD_FOR = 20 * MINUTE
BAD_LEAST = 3  # of a sensor that reports seldom, two could be one mishap and its repeat
GOOD_LEAST = 2  # a loose contact lets a single good value through
REASONS = 8  # different reasons kept; a hostile sender cannot fill the memory


@dataclass(slots=True)
class Fault:
    """Hold one sensor's row of bad messages since the last good one: when it began, how many, and why.

    `well` counts good messages in a row, up to GOOD_LEAST.
    """

    sensor: str
    first: Moment | None = None
    count: int = 0
    whys: dict[str, int] = field(default_factory=dict)
    well: int = 0
    well_since: Moment | None = None

    def bad(self, now: Moment, why: str, alarms: Alarms) -> None:
        """Take a message without a good value; `why` says it in the owner's words."""
        self.well, self.well_since = 0, None
        self.first = self.first or now
        self.count += 1
        if why in self.whys or len(self.whys) < REASONS:
            self.whys[why] = self.whys.get(why, 0) + 1
        lasted = now.steady - self.first.steady
        if lasted >= BAD_FOR and self.count >= BAD_LEAST:
            facts: dict[str, Fact] = {
                "why": max(self.whys, key=lambda each: self.whys[each]),
                "since": self.first.wall,
                "lasted": lasted,
                "count": self.count,
            }
            alarms.raise_(alarms.get(self.sensor, FAULT), now, self.first, facts)

    def good(self, now: Moment, alarms: Alarms) -> None:
        """Take a good value: it ends the row, and the second in a row ends the alarm."""
        if self.well >= GOOD_LEAST:
            return  # as nearly always, and then it costs nothing
        self.well += 1
        self.well_since = self.well_since or now
        self.first, self.count = None, 0
        self.whys.clear()
        alarm = alarms.all.get((self.sensor, FAULT.name))
        if self.well == GOOD_LEAST and alarm is not None and alarm.standing:
            began, ended = alarm.began or now, self.well_since
            lasted = between(began, ended)
            alarms.clear(alarm, now, {"since": began.wall, "lasted": lasted})
