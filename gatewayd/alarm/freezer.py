"""Judge one freezer: its warmest good probe against High and HighHigh, and whether it is watched at all."""

from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import HIGH, HIGHHIGH, LATCH_ABOVE, LATCH_AFTER, RISING, UNWATCHED, UNWATCHED_LEAST_DOWN, Kind
from gatewayd.alarm.limit import Limit, Rule, Turn
from gatewayd.alarm.signs import Signs
from gatewayd.alarm.trend import Trend
from gatewayd.model.event import Fact
from gatewayd.model.house import Freezer
from gatewayd.model.limits import Limits
from gatewayd.model.moment import MINUTE, Moment, between
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Reading

# High counts as high while it is still rising: faster than a probe's step shows, with its peak in the last half hour.
RISES = 0.3  # K an hour
PEAK_FRESH = 30 * MINUTE


@dataclass(slots=True)
class Judge:
    """Hold what is known of one freezer.

    `warmth` maps a probe to (°C, steady ms of that reading, longest gap ms that still counts as seeing).
    `good_at` is the steady time (ms) of the last good live reading, or of the start of waiting for one.
    `peak` is the warmest reading of the spell that runs, `since_start` counts good readings of this run.
    """

    freezer: Freezer
    good_at: int
    warmth: dict[str, tuple[float, int, int]] = field(default_factory=dict)
    high: Limit = field(default_factory=Limit)
    highhigh: Limit = field(default_factory=Limit)
    trend: Trend = field(default_factory=Trend)
    last: Reading | None = None
    peak: Reading | None = None
    since_start: int = 0
    value: float | None = None  # °C of the warmest fresh probe: what is judged and shown
    signs: Signs = field(default_factory=Signs)
    zone: tzinfo = UTC
    contact: bool = False  # a contact at the lid knows better than the air
    ruled: Limits | None = None  # the limits that `rules` were made of
    rules: tuple[Rule, Rule] | None = None

    def take(self, reading: Reading, gap: int, alarms: Alarms) -> list[Reading]:
        """Step the limits with one good live temperature; return the readings that must be kept for it.

        `gap` (ms) is the longest distance of two readings of this probe that counts as seeing.
        """
        now = reading.heard
        self.good_at, self.last = now.steady, reading
        self.since_start += 1
        self.warmth[reading.sensor] = (reading.value, now.steady, gap)
        value = reading.value
        if len(self.warmth) > 1:
            value, gap = self._warmest(now.steady)
        self.value = value
        point = self.trend.add(now.steady, value)
        self._watched(alarms, now)
        upper, lower = self._rules()
        if value > lower.limit or value > upper.limit or _runs(self.high) or _runs(self.highhigh):
            keep = self._beyond(reading, value, gap, alarms)
        else:
            keep = []  # in range as nearly always: nothing to step
        self.signs.take(value, now, gap, self.freezer, alarms, self.zone)
        if point:
            self.signs.follow(value, now, self.freezer, self.trend, alarms, contact=self.contact, gap=gap)
            if self.high.active:
                self._rises_again(alarms, now)
        return keep

    def leave_out(self, sensor: str, steady: int) -> None:
        """Forget at a steady time (ms) what a probe said that lies in this freezer no longer.

        On its way out it was warmer than its freezer ever was, and a slope from it to another probe is nobody's.
        """
        said = self.warmth.pop(sensor, None) is not None
        if not said and (self.last is None or self.last.sensor != sensor):
            return
        warmest, longest = self._warmest(steady)
        self.value = warmest if longest else None
        self.trend.begin_anew()

    def _beyond(self, reading: Reading, value: float, gap: int, alarms: Alarms) -> list[Reading]:
        """Step both limits (°C, ms) and return the readings that must be kept for it."""
        now = reading.heard
        keep: list[Reading] = []
        upper, lower = self._rules()
        turn = self.highhigh.step(value, now, upper, gap)
        if self._turned(turn, HIGHHIGH, self.highhigh, upper, value, now, alarms):
            keep.append(reading)
        turn = self.high.step(value, now, lower, gap)
        if turn is Turn.BEGINS or (self.high.began and (self.peak is None or value > self.peak.value)):
            self.peak = reading
        if turn is Turn.BEGINS or self._turned(turn, HIGH, self.high, lower, value, now, alarms):
            keep.append(reading)
        if turn in (Turn.OFF, Turn.FALLS_BACK):
            if self.peak is not None:
                keep.append(self.peak)
            keep.append(reading)
            self.peak = None
        return keep

    def _rules(self) -> tuple[Rule, Rule]:
        """Return the rules of HighHigh and High; made once, for they are needed with each reading."""
        limits = self.freezer.limits
        if self.rules is None or self.ruled is not limits:
            upper = Rule(limits.highhigh, limits.deadband, limits.highhigh_on_delay, limits.off_delay)
            lower = Rule(limits.high, limits.deadband, limits.high_on_delay, limits.off_delay)
            self.ruled, self.rules = limits, (upper, lower)
        return self.rules

    def _still_rising(self, now: Moment) -> bool:
        """Return whether the spell above High is still on its way up: a new peak lately, and a slope."""
        speed, warmest = self.trend.speed(), self.high.warmest_at
        if speed is None or speed < RISES or warmest is None or warmest.boot != now.boot:
            return False
        return now.steady - warmest.steady <= PEAK_FRESH

    def _rises_again(self, alarms: Alarms, now: Moment) -> None:
        alarm = alarms.get(self.freezer.id, HIGH)
        if alarm.standing and alarm.priority < Priority.HIGH and self._still_rising(now):
            began = alarm.began or now
            facts: dict[str, Fact] = {
                "value": self.value,
                "limit": self.freezer.limits.high,
                "since": began.wall,
                "lasted": between(began, now),
                "speed": self.trend.speed(),
                "rising": True,
            }
            alarms.worsen(alarm, now, Priority.HIGH, facts)

    def _warmest(self, steady: int) -> tuple[float, int]:
        """Return the warmest fresh probe's value (°C) and the longest gap (ms) that counts as seeing it."""
        warmest, longest = -1e9, 0
        for value, at, gap in self.warmth.values():
            if steady - at <= gap:
                warmest, longest = max(warmest, value), max(longest, gap)
        return warmest, longest

    def _turned(
        self, turn: Turn | None, kind: Kind, limit: Limit, rule: Rule, value: float, now: Moment, alarms: Alarms
    ) -> bool:
        if turn is Turn.ON:
            began = limit.began or now
            facts: dict[str, Fact] = {
                "value": value,
                "limit": rule.limit,
                "since": began.wall,
                "lasted": between(began, now),
                "speed": self.trend.speed(),
            }
            priority = kind.priority
            if kind is HIGH:
                rising = alarms.standing(self.freezer.id, RISING) or self._still_rising(now)
                facts["rising"] = rising
                priority = Priority.HIGH if rising else kind.priority
            alarms.raise_(alarms.get(self.freezer.id, kind), now, began, facts, priority)
            return True
        if turn is Turn.OFF:
            began, warmest, ended = limit.began or now, limit.warmest_at or now, limit.cleared or now
            alarms.clear(
                alarms.get(self.freezer.id, kind),
                now,
                {
                    "value": value,
                    "limit": rule.limit,
                    "since": began.wall,
                    "lasted": between(began, ended),
                    "peak": limit.warmest,
                    "peak_at": warmest.wall,
                    "check": alarms.get(self.freezer.id, HIGHHIGH).latched,
                },
                latching=kind is HIGHHIGH and (between(began, ended) >= LATCH_AFTER or limit.warmest > LATCH_ABOVE),
            )
            limit.close()
            return True
        return False

    def unwatched_at(self, *, down: bool) -> int:
        """Return the steady time (ms) at which the freezer counts as unwatched; `down` = all its sources are."""
        wait = self.freezer.limits.unwatched
        return self.good_at + (max(wait, UNWATCHED_LEAST_DOWN) if down else wait)

    def unwatched_high_at(self) -> int:
        """Return the steady time (ms) at which being unwatched becomes urgent."""
        return self.good_at + self.freezer.limits.unwatched_high

    def unwatch(self, now: Moment, why: str, alarms: Alarms) -> None:
        """Raise the alarm that nobody sees this freezer; urgent at once if it was warming when last seen."""
        rising = self.trend.rising()
        facts: dict[str, Fact] = {
            "value": self.value,
            "since": self.last.heard.wall if self.last else None,
            "lasted": now.steady - self.good_at,
            "rising": rising,
            "why": why,
        }
        priority = Priority.HIGH if rising else UNWATCHED.priority
        began = now.later(self.good_at - now.steady)
        alarms.raise_(alarms.get(self.freezer.id, UNWATCHED), now, began, facts, priority)

    def still_unwatched(self, now: Moment, alarms: Alarms) -> None:
        """Lift the alarm to urgent."""
        alarm = alarms.get(self.freezer.id, UNWATCHED)
        alarms.worsen(alarm, now, Priority.HIGH, {"lasted": now.steady - self.good_at})

    def _watched(self, alarms: Alarms, now: Moment) -> None:
        alarm = alarms.all.get((self.freezer.id, UNWATCHED.name))
        if alarm is not None and alarm.standing and alarm.began is not None:
            lasted = between(alarm.began, now)
            alarms.clear(alarm, now, {"value": self.value, "since": alarm.began.wall, "lasted": lasted})

    def stopped(self, now: Moment, alarms: Alarms) -> None:
        """Take the word of who knows that it does not cool: tell it without the wait for a sign in the air alone."""
        if self.value is not None and self.freezer.limits.rising_within:
            self.signs.stopped(self.value, now, self.freezer, self.trend, alarms)

    def dark(self, now: Moment) -> None:
        """Begin anew after the watcher was not looking: nothing seen before follows on what comes."""
        self.good_at = now.steady
        self.since_start = 0
        self.warmth.clear()
        self.trend.forget_steady()
        self.signs.dark()
        self.high.dark()
        self.highhigh.dark()


def _runs(limit: Limit) -> bool:
    """Return whether a spell runs, or a dark one has just been left: then each reading counts."""
    return limit.began is not None or limit.active or limit.on_start > 0
