"""What one freezer's air says beyond its limits: it no longer cools, its lid is open, it is warm or cold for long."""

from dataclasses import dataclass, field
from datetime import tzinfo

from gatewayd.alarm.chatter import SAMPLES, WINDOW, Chatter
from gatewayd.alarm.cold import Cold
from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import CHATTERING, GAP_INTERVALS, LID_OPEN, RISING, TOO_COLD, WARM_LONG
from gatewayd.alarm.kinds import Kind as Sign
from gatewayd.alarm.limit import Turn
from gatewayd.alarm.outofrange import OutOfRange
from gatewayd.alarm.rising import LEARNT, OVER_LEAST, Rising
from gatewayd.alarm.trend import Trend
from gatewayd.model.event import Fact
from gatewayd.model.house import Freezer, Kind
from gatewayd.model.moment import HOUR, MINUTE, Moment, between, from_wall

# A lid that stands open: the air jumps by more than its cycles ever do, and does not turn down. A compressor that
# stopped warms the air of a shut freezer by some K an hour (2-8, simulated), an open lid by tens. 25 min is longer than
# sorting food; an automatic defrost and its fan need up to an hour.
LID_JUMP = 4.0  # K above the usual top
LID_STEP, LID_WITHIN = 2.0, 10 * MINUTE  # K, and in how long: 12 K an hour
LID_AFTER = 25 * MINUTE
LID_AFTER_DEFROST = 75 * MINUTE


@dataclass(slots=True)
class Signs:
    """Hold what follows one freezer's air. All of it can be saved."""

    rising: Rising = field(default_factory=Rising)
    cold: Cold = field(default_factory=Cold)
    range: OutOfRange = field(default_factory=OutOfRange)
    chatter: Chatter = field(default_factory=Chatter)
    chattering: bool = False
    warm_long: str = ""  # "single" or "day" while its alarm stands
    cools: Moment | None = None  # since when it truly cools, as of the last point; None while it does not
    jumped: Moment | None = None  # since when the air lies far above its tops after a jump
    quarter: int = 0  # the last quarter of an hour (wall) looked at, with its day
    day: int = 0

    @property
    def turned(self) -> Moment | None:
        """Return since when it has not cooled, None while it cools; in a warming that was told what was told."""
        return self.rising.held or self.rising.since

    @property
    def sure(self) -> bool:
        """Return whether it is overdue to cool and warming now, or was told to be and has not cooled since."""
        return self.rising.surely is not None or self.rising.held is not None

    def take(self, value: float, now: Moment, gap: int, freezer: Freezer, alarms: Alarms, zone: tzinfo) -> None:
        """Take one reading (°C) of the warmest probe; `gap` (ms) is what counts as seeing."""
        limits = freezer.limits  # with each reading little more is done than to compare; most are in range
        if value > limits.high or self.chatter.on or self.chattering:
            came = self.chatter.take(value, now, limits.high, limits.deadband)
            if came or self.chattering:
                self._chattering(value, now, gap, freezer, alarms)
        out = value >= limits.warm
        if out or self.range.out or self.warm_long:
            self.range.take(now, gap, self._day(now.wall, zone), out=out)
            self._warm_long(value, now, freezer, alarms)
        turn = self.cold.take(value, now, limits, gap)
        if turn in (Turn.ON, Turn.OFF):
            self._too_cold(turn, value, now, freezer, alarms)

    def _day(self, wall: int, zone: tzinfo) -> int:
        """Return the number of the local day; looked up once a quarter, since no zone's day begins within one."""
        quarter = wall // (15 * MINUTE)
        if quarter != self.quarter:
            self.quarter, self.day = quarter, from_wall(wall).astimezone(zone).date().toordinal()
        return self.day

    def _chattering(self, value: float, now: Moment, gap: int, freezer: Freezer, alarms: Alarms) -> None:
        window = max(WINDOW, SAMPLES * gap // GAP_INTERVALS)
        alarm = alarms.get(freezer.id, CHATTERING)
        if not self.chattering:
            if not self.chatter.often(now.steady, window):
                return
            self.chattering = True
            facts: dict[str, Fact] = {
                "value": value,
                "limit": freezer.limits.high,
                "count": len(self.chatter.came),
                "window": self.chatter.came[-1] - self.chatter.came[0],
            }
            alarms.raise_(alarm, now, now.later(self.chatter.came[0] - now.steady), facts)
        elif self.chatter.quiet(now.steady, window):
            self.chattering = False
            alarms.clear(alarm, now, {"value": value})

    def _warm_long(self, value: float, now: Moment, freezer: Freezer, alarms: Alarms) -> None:
        limits, found = freezer.limits, self.range
        alarm = alarms.get(freezer.id, WARM_LONG)
        if not self.warm_long:
            single = limits.warm_single and found.single >= limits.warm_single
            if not single and not (limits.warm_total and found.total >= limits.warm_total):
                return
            self.warm_long = "single" if single else "day"
            began = (found.began if single else found.first) or now
            facts: dict[str, Fact] = {
                "value": value,
                "limit": limits.warm,
                "which": self.warm_long,
                "since": began.wall,
                "lasted": found.single if single else found.total,
            }
            alarms.raise_(alarm, now, began, facts)
            return
        if self.warm_long == "single":
            ended = not limits.warm_single or (not found.out and found.calm >= limits.off_delay)
            lasted = between(alarm.began or now, found.back or now)
        else:
            ended = not limits.warm_total or found.total < limits.warm_total  # another day
            lasted = found.before
        if ended:
            told: dict[str, Fact] = {
                "value": value,
                "limit": limits.warm,
                "which": self.warm_long,
                "since": alarm.began.wall if alarm.began else None,
                "lasted": lasted,
            }
            self.warm_long = ""
            alarms.clear(alarm, now, told)

    def _too_cold(self, turn: Turn, value: float, now: Moment, freezer: Freezer, alarms: Alarms) -> None:
        limit = self.cold.limit
        began = limit.began or now
        lasted = between(began, now)
        facts: dict[str, Fact] = {"value": value, "habit": self.cold.habit, "since": began.wall, "lasted": lasted}
        alarm = alarms.get(freezer.id, TOO_COLD)
        if turn is Turn.ON:
            alarms.raise_(alarm, now, began, facts)
        else:
            alarms.clear(alarm, now, facts)
            limit.close()

    # -- by points two minutes apart -----------------------------------------------------------------------

    def follow(
        self, value: float, now: Moment, freezer: Freezer, trend: Trend, alarms: Alarms, *, contact: bool, gap: int = 0
    ) -> None:
        """Take one point of the air's curve and judge whether it still cools and whether its lid is shut.

        `gap` (ms) is what counts as seeing; `contact` says that a contact at the lid knows better.
        """
        rising, limits = self.rising, freezer.limits
        rising.defrosts = freezer.kind is Kind.UPRIGHT_AUTO_DEFROST
        rising.follow(value, now, gap)
        began = rising.since if limits.rising_within else None
        if began is not None and now.steady - began.steady > self._soonest():
            speed = trend.speed()
            if rising.judge(value, now, speed, limits.rising_within, limits.high) and not rising.told:
                self._rises(value, now, speed or 0.0, freezer, alarms)
        else:
            rising.surely = None
        if not contact and limits.lid_open:
            self._lid(value, now, freezer, trend, alarms)
        self.cools = None
        if rising.cools(value, now, limits.high):
            self.cools = now.later(rising.cooling.since(now.steady) - now.steady)
            rising.told, rising.held = False, None
            self._ends(RISING, value, now, freezer, alarms)
        if not contact and rising.fell(value, now, limits.high) and self._shut(value):
            self._ends(LID_OPEN, value, now, freezer, alarms)

    def stopped(self, value: float, now: Moment, freezer: Freezer, trend: Trend, alarms: Alarms) -> None:
        """Raise at once what `follow` would raise later, where the air lies above its usual tops and warms on."""
        rising, speed = self.rising, trend.speed()
        if (
            not rising.told
            and speed is not None
            and rising.above(value, now, speed, freezer.limits.rising_within, freezer.limits.high)
        ):
            self._rises(value, now, speed, freezer, alarms)

    def _soonest(self) -> int:
        """Return how long after its low (ms) it can be overdue at all: its habit is its longest rest, so no less than
        its last one. Most points are asked no more than this."""
        rests = self.rising.rests
        return OVER_LEAST + (rests[-1].lasted if len(rests) >= LEARNT else 0)

    def _rises(self, value: float, now: Moment, speed: float, freezer: Freezer, alarms: Alarms) -> None:
        self.rising.told, self.rising.cooling.doubted = True, now.steady
        began = self.rising.held = self.rising.since or now
        facts: dict[str, Fact] = {
            "value": value,
            "limit": freezer.limits.high,
            "since": began.wall,
            "lasted": now.steady - began.steady,
            "speed": speed,
            "eta": round(max(0.0, freezer.limits.high - value) / speed * HOUR) if speed else None,
        }
        alarms.raise_(alarms.get(freezer.id, RISING), now, began, facts)

    def _lid(self, value: float, now: Moment, freezer: Freezer, trend: Trend, alarms: Alarms) -> None:
        if self.rising.turned is None:
            self.jumped = None
            return
        if self.jumped is None and value - trend.least(now.steady - LID_WITHIN) < LID_STEP:
            return  # asked first, since with most points it is so, and the ceiling has to be searched for
        top = self.rising.ceiling()
        if top is None or value < top + LID_JUMP:
            self.jumped = None
            return
        self.jumped = self.jumped or now
        if self.jumped.boot != now.boot:
            return
        lasted = now.steady - self.jumped.steady
        if lasted >= (LID_AFTER_DEFROST if freezer.kind is Kind.UPRIGHT_AUTO_DEFROST else LID_AFTER):
            facts: dict[str, Fact] = {"since": self.jumped.wall, "lasted": lasted, "inferred": True, "value": value}
            alarms.raise_(alarms.get(freezer.id, LID_OPEN), now, self.jumped, facts)

    @staticmethod
    def _ends(kind: Sign, value: float, now: Moment, freezer: Freezer, alarms: Alarms) -> None:
        alarm = alarms.all.get((freezer.id, kind.name))
        if alarm is not None and alarm.standing:
            began = alarm.began or now
            facts: dict[str, Fact] = {"value": value, "since": began.wall, "lasted": between(began, now)}
            if kind is LID_OPEN:
                facts["inferred"] = True
            alarms.clear(alarm, now, facts)

    def _shut(self, value: float) -> bool:
        """Return whether the air that cools is so cold that the lid must be shut."""
        top = self.rising.ceiling()
        return top is None or value < top + LID_JUMP / 2

    # -- gaps ----------------------------------------------------------------------------------------------

    def dark(self) -> None:
        """Forget what does not follow on after nobody looked; what runs for hours or counts gaps for nothing is in no
        hurry then, so nothing is raised at once."""
        self.forget_steady()

    def forget_steady(self) -> None:
        """Forget what counts on the steady time of another boot; habits stay."""
        self.rising.dark()
        self.cools = None
        self.jumped = None
        self.cold.forget_steady()
        self.range.dark()
        self.chatter.forget_steady()
