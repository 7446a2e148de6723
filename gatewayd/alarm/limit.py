"""Judge a limit: deadband, on-delay, off-delay, and gaps that count for nothing.

Rules (OPC 10000-9 B.1.5; BACnet 30030 8.9.3 for the pair of delays):
  * An alarm is entered at value > limit. The deadband acts on leaving only: value < limit - deadband.
  * The on-delay must be *seen* beyond the limit; one sample that is not beyond starts it anew.
  * The off-delay likewise: one sample that is not clear starts it anew.
  * A gap adds nothing to either. What was seen before it stays seen.
  * A delay ends with a sample, never between two.
"""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.moment import Moment


class Turn(Enum):
    """Say what a sample did to a limit."""

    BEGINS = "begins"  # first sample beyond the limit: the spell starts, the delay runs
    FALLS_BACK = "falls back"  # the spell ended before the on-delay did
    ON = "on"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class Rule:
    """Hold the figures of one limit: temperatures in °C, delays in ms."""

    limit: float
    deadband: float
    on_delay: int
    off_delay: int


@dataclass(slots=True)
class Limit:
    """Hold where one limit stands.

    `seen` is the time (ms) seen so far of the delay that runs; `last` the steady time of the last sample in
    that condition, None where a gap or a contrary sample came between. `began` is the first crossing of the
    spell, `warmest` its peak.
    """

    active: bool = False
    seen: int = 0
    last: int | None = None
    began: Moment | None = None
    warmest: float = 0.0
    warmest_at: Moment | None = None
    cleared: Moment | None = None  # first clear sample of the off-delay that runs
    on_start: int = 0  # after a dark spell: how many more good readings beyond the limit raise at once

    def dark(self) -> None:
        """Forget that samples follow one another: the watcher was not looking. Two readings beyond then raise."""
        self.last = None
        self.on_start = 0 if self.active else 2

    def step(self, value: float, now: Moment, rule: Rule, longest_gap: int) -> Turn | None:
        """Take one sample (°C) and return what it did.

        `longest_gap` (ms) is the longest distance of two samples that still counts as seeing what lay between.
        """
        beyond = value > rule.limit
        contrary = value < rule.limit - rule.deadband if self.active else beyond
        if not self.active and not beyond:
            return self._fall_back()
        turn = None
        if self.began is None:
            self.began, self.warmest, self.warmest_at = now, value, now
            turn = Turn.BEGINS
        elif value > self.warmest:
            self.warmest, self.warmest_at = value, now
        if not contrary:  # active, and not clear of the deadband
            self.seen, self.last, self.cleared = 0, None, None
            return turn
        if self.active and self.cleared is None:
            self.cleared = now
        if self.last is not None and now.steady - self.last <= longest_gap:
            self.seen += now.steady - self.last
        self.last = now.steady
        return self._done(rule) or turn

    def _done(self, rule: Rule) -> Turn | None:
        if self.active:
            if self.seen < rule.off_delay:
                return None
            self.active, self.seen, self.last = False, 0, None
            return Turn.OFF
        if self.on_start:
            self.on_start -= 1
            if self.on_start == 0:
                self.seen = max(self.seen, rule.on_delay)
        if self.seen < rule.on_delay:
            return None
        self.active, self.seen, self.last, self.on_start = True, 0, None, 0
        return Turn.ON

    def _fall_back(self) -> Turn | None:
        was = self.began
        self.seen, self.last, self.began, self.warmest_at, self.on_start = 0, None, None, None, 0
        return Turn.FALLS_BACK if was is not None else None

    def close(self) -> None:
        """Forget the spell, after its end has been told."""
        self.began, self.warmest_at, self.cleared = None, None, None
