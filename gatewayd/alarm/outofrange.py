"""Count time out of range in two ways: one spell that starts anew when it is back in range, and the sum of a period.

So do recorders for vaccines (WHO/IVB/05.23: at or above 30 °C for 10 h in all, at or above 45 °C for 1 h at a stretch).
A reading holds until the next one, at most for as long as counts as seeing; a gap adds nothing beyond that.
"""

from dataclasses import dataclass

from gatewayd.model.moment import Moment


@dataclass(slots=True)
class OutOfRange:
    """Hold the sums (ms) and the last reading.

    `single` is that of the spell that runs, begun at `began`; `total` that of the period named by `period`, whose first
    reading out of range came at `first`, and `before` that of the period before. `calm` is the time seen in range since
    the last spell, which ended at `back`. `last` is the steady time (ms) of the last reading, None where nothing
    follows on it, `out` whether it lay out of range.
    """

    single: int = 0
    total: int = 0
    period: int = 0
    last: int | None = None
    out: bool = False
    began: Moment | None = None
    back: Moment | None = None
    first: Moment | None = None
    before: int = 0
    calm: int = 0

    def take(self, now: Moment, gap: int, period: int, *, out: bool) -> None:
        """Take one reading: whether it lies `out` of range, and in which `period` (a day's number, say) it falls.

        `gap` (ms) is the longest distance of two readings that counts as seeing.
        """
        self.hold(now.steady, gap)
        if period != self.period:
            self.before, self.period, self.total, self.first = self.total, period, 0, None
        if out:
            if not self.out or self.began is None:
                self.single, self.began = 0, now
            self.back, self.calm, self.first = None, 0, self.first or now
        elif self.out:
            self.back = now
        self.out = out

    def hold(self, steady: int, gap: int) -> None:
        """Let the last reading hold up to `steady` (ms), `gap` (ms) at most."""
        if self.last is not None:
            held = min(steady - self.last, gap)
            if self.out:
                self.single += held
                self.total += held
            else:
                self.calm += held
        self.last = steady

    def dark(self) -> None:
        """Let nothing hold over a time in which nobody looked."""
        self.last = None
