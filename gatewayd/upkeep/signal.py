"""Follow a radio signal, and say in words what to do about a weak one."""

from collections import deque
from dataclasses import dataclass, field

from gatewayd.model.event import Fact
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.upkeep.ailing import Finding, Turn

HOURS = 48
WEAK, VERY_WEAK = -85, -93  # dBm; receivers of small boards lose packets from about -90 on (common practice)
MISSED_MUCH = 0.5  # half of the reports lost: the silence limit of eight intervals is near
# A weak signal alone is no harm while reports arrive; a fifth lost is more than chance takes from a good one, and the
# gap of three intervals that counts as not seeing then comes about once in a hundred reports. Our choice.
MISSED_SOME = 0.2
RECENT = 12  # hours; a person with a wet coat in the doorway lasts minutes, and a moved gateway shows within the day
RECENT_LEAST = 6  # of these, with a report in each
DAY_HOURS, DAY_SHARE = 24, 0.75  # heard in so many hours of the last day: a long hole is silence, and told as that
BETTER_DB = 5  # dB; an empty and a full freezer differ by less
BETTER_MISSED = 0.1  # by so much fewer lost than what began it
# Somebody who carries a gateway or a sensor about stands still for a minute at each place. Our choice.
LATELY = 3 * MINUTE
LATELY_MOST = 40  # reports; more often than every 5 s says nothing new
FLOOR, STEP = -100, 8  # dBm, dB: nothing is heard below -100, and -60 is the best there is in a house (common practice)
STRENGTHS = ("hardly", "weak", "fair", "good", "very good", "excellent")


@dataclass(slots=True)
class Hour:
    """Hold one hour of signal: its number (steady ms // 1 h), reports, their sum and the weakest (dBm)."""

    hour: int
    count: int = 0
    total: int = 0
    weakest: int = 0


@dataclass(slots=True)
class Signal:
    """Hold the last two days hour by hour, and the last reports one by one: (steady ms, dBm)."""

    hours: list[Hour] = field(default_factory=list)
    last: deque[tuple[int, int]] = field(default_factory=lambda: deque(maxlen=LATELY_MOST))

    def add(self, steady: int, signal: int) -> None:
        """Take the signal (dBm) of one report."""
        hour = steady // HOUR
        if not self.hours or self.hours[-1].hour != hour:
            self.hours = [*self.hours[-HOURS + 1 :], Hour(hour, weakest=signal)]
        now = self.hours[-1]
        now.count, now.total, now.weakest = now.count + 1, now.total + signal, min(now.weakest, signal)
        self.last.append((steady, signal))

    def lately(self, steady: int) -> tuple[int, int, int] | None:
        """Return the weakest and the strongest (dBm) of the last minutes and how many there were, None for none."""
        found = [signal for at, signal in self.last if steady - at <= LATELY]
        return (min(found), max(found), len(found)) if found else None

    def mean(self) -> float | None:
        """Return the mean (dBm) of the last two days, None if there is none."""
        count = sum(hour.count for hour in self.hours)
        return sum(hour.total for hour in self.hours) / count if count else None

    def weakest(self) -> int | None:
        """Return the weakest report (dBm) of the last two days."""
        return min((hour.weakest for hour in self.hours if hour.count), default=None)

    def recent(self, steady: int) -> float | None:
        """Return the mean (dBm) of the last hours, None if there were too few with a report."""
        hours = [hour for hour in self.hours if hour.count and hour.hour > steady // HOUR - RECENT]
        if len(hours) < RECENT_LEAST:
            return None
        return sum(hour.total for hour in hours) / sum(hour.count for hour in hours)

    def judge(self, now: Moment, missed: float | None, *, standing: bool) -> Finding | None:
        """Judge how well it is heard; return what changed, None for nothing. To be asked once an hour.

        `missed` is the share (0..1) of reports lost, None where that is not known; `standing` says whether its alarm
        stands now. A sensor that has no signal, since a broker brings it, is not judged.
        """
        mean = self.recent(now.steady)
        if missed is None or mean is None or not self._scattered(now.steady // HOUR):
            return None
        facts: dict[str, Fact] = {"signal": mean, "missed": missed, "advice": advice(mean, missed)}
        if not standing:
            return Finding(Turn.BEGINS, facts) if _weak(mean, missed) else None
        return None if _weak(mean - BETTER_DB, missed + BETTER_MISSED) else Finding(Turn.ENDS, facts)

    def _scattered(self, hour: int) -> bool:
        """Return whether it was heard all along: what is missed is then lost here and there, and not in one hole."""
        first = max(self.hours[0].hour, hour - DAY_HOURS)
        heard = sum(each.hour >= first for each in self.hours)
        return self.hours[-1].hour >= hour - 1 and heard >= DAY_SHARE * (hour - first)


def _weak(mean: float, missed: float) -> bool:
    return missed > MISSED_MUCH or (mean <= WEAK and missed > MISSED_SOME)


def bars(signal: int) -> int:
    """Return how strong a signal (dBm) is, from 0 for hardly heard to 5 for excellent."""
    return max(0, min(len(STRENGTHS) - 1, (signal - FLOOR) // STEP))


def strength(signal: int) -> str:
    """Return how strong a signal (dBm) is, in a word."""
    return STRENGTHS[bars(signal)]


def placing(signal: int) -> str:
    """Return what to do at the place where a signal (dBm) is so strong, in the owner's words."""
    match bars(signal):
        case 0 | 1:
            return "Too weak for this place. Go nearer, within about 6 m (20 ft), and keep away from metal."
        case 2:
            return "It will do. A step nearer, or away from metal, makes it surer."
        case _:
            return "A good place."


def advice(mean: float | None, missed: float | None) -> str:
    """Return what to do about a sensor's signal in the owner's words, empty if nothing.

    A metal freezer lets little out; about 20 ft (6 m) from it to the gateway is common practice.
    """
    much = missed is not None and missed > MISSED_MUCH
    if mean is None or (mean > WEAK and not much):
        return ""
    if mean > WEAK:
        return (
            "Many reports are lost although the signal is good: other radios may disturb it. Move the gateway a little."
        )
    how = "very weak" if mean <= VERY_WEAK else "weak"
    return (
        f"The signal is {how}. Bring the gateway nearer, within about 6 m (20 ft) of the freezer, away from metal; or "
        "move the sensor towards the lid's gasket."
    )
