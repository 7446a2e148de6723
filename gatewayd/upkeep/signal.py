"""Follow a radio signal, and say in words what to do about a weak one."""

from dataclasses import dataclass, field

from gatewayd.model.moment import HOUR

HOURS = 48
WEAK, VERY_WEAK = -85, -93  # dBm; receivers of small boards lose packets from about -90 on (common practice)
MISSED_MUCH = 0.5  # half of the reports lost: the silence limit of eight intervals is near


@dataclass(slots=True)
class Hour:
    """Hold one hour of signal: its number (steady ms // 1 h), reports, their sum and the weakest (dBm)."""

    hour: int
    count: int = 0
    total: int = 0
    weakest: int = 0


@dataclass(slots=True)
class Signal:
    """Hold the last two days hour by hour."""

    hours: list[Hour] = field(default_factory=list)

    def add(self, steady: int, signal: int) -> None:
        """Take the signal (dBm) of one report."""
        hour = steady // HOUR
        if not self.hours or self.hours[-1].hour != hour:
            self.hours = [*self.hours[-HOURS + 1 :], Hour(hour, weakest=signal)]
        now = self.hours[-1]
        now.count, now.total, now.weakest = now.count + 1, now.total + signal, min(now.weakest, signal)

    def mean(self) -> float | None:
        """Return the mean (dBm) of the last two days, None if there is none."""
        count = sum(hour.count for hour in self.hours)
        return sum(hour.total for hour in self.hours) / count if count else None

    def weakest(self) -> int | None:
        """Return the weakest report (dBm) of the last two days."""
        return min((hour.weakest for hour in self.hours if hour.count), default=None)


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
