"""Count what a sensor does well and badly, for the page that people look at when they wonder."""

from dataclasses import dataclass, field

from gatewayd.model.moment import HOUR, Moment
from gatewayd.model.reading import Arrival, Decoded, Quality, Quantity, Reading
from gatewayd.upkeep.signal import Signal

REASONS = 20  # different reasons kept per sensor; a hostile sender cannot fill the memory
HOURS = 24  # the share of missed reports is that of the last day


@dataclass(slots=True)
class Health:
    """Hold one sensor's counters since the start, and its reports per hour of the last day.

    `hours` maps the hour number (steady ms // 1 h) to the reports heard in it.
    """

    heard: int = 0
    late: int = 0
    retained: int = 0
    repeats: int = 0
    bad: dict[str, int] = field(default_factory=dict)
    unread: dict[str, int] = field(default_factory=dict)
    last_unread: str = ""
    last_heard: Moment | None = None
    battery: float | None = None
    signal: int | None = None
    signals: Signal = field(default_factory=Signal)
    reboots: int = 0
    notes: dict[str, int] = field(default_factory=dict)
    hours: dict[int, int] = field(default_factory=dict)

    def arrived(self, arrival: Arrival, now: Moment, signal: int | None) -> None:
        """Count one message, however it came."""
        if arrival is Arrival.RETAINED:
            self.retained += 1
            return
        if arrival is Arrival.LATE:
            self.late += 1
            return
        self.heard += 1
        self.last_heard = now
        if signal is not None:
            self.signal = signal
            self.signals.add(now.steady, signal)

    def lived(self, now: Moment) -> None:
        """Count one report that was new and could be read: what is missed is judged by these."""
        hour = now.steady // HOUR
        if hour not in self.hours:
            self.hours = {h: n for h, n in self.hours.items() if h > hour - HOURS}
        self.hours[hour] = self.hours.get(hour, 0) + 1

    def could_not_read(self, reason: str) -> None:
        """Count a message that could not be read."""
        self.last_unread = reason
        _count(self.unread, reason)

    def read(self, frame: Decoded) -> None:
        """Count what a frame says besides its values: counters that began anew, and a note for the keeper."""
        self.reboots += frame.rebooted
        if frame.note:
            _count(self.notes, frame.note)

    def took(self, reading: Reading) -> None:
        """Count a reading's quality and remember the battery; a probe that is set aside says nothing wrong."""
        if reading.quality is Quality.ASIDE:
            return
        if reading.quality is not Quality.GOOD:
            _count(self.bad, reading.quality.value)
        elif reading.quantity is Quantity.BATTERY:
            self.battery = reading.value

    def missed(self, interval: int | None, now: Moment, since: int) -> float | None:
        """Return the share (0..1) of reports missed in the whole hours of the last day.

        `interval` (ms) is the learnt one, `since` the steady time (ms) from which this boot has watched. None means
        that there is not yet a whole hour, or no interval to judge by.
        """
        first = max(now.steady // HOUR - HOURS + 1, -(-since // HOUR))
        whole = range(first, now.steady // HOUR)
        if not interval or not whole:
            return None
        expected = len(whole) * HOUR / interval
        return max(0.0, 1.0 - sum(self.hours.get(hour, 0) for hour in whole) / expected)


def _count(counts: dict[str, int], reason: str) -> None:
    if reason in counts or len(counts) < REASONS:
        counts[reason] = counts.get(reason, 0) + 1
    else:
        counts["other"] = counts.get("other", 0) + 1
