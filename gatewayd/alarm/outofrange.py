"""Count time out of range in two ways: one spell that starts anew when it is back in range, and the sum of a period.

So do recorders for vaccines (WHO/IVB/05.23: at or above 30 °C for 10 h in all, at or above 45 °C for 1 h at a stretch).
A reading holds until the next one, at most for as long as counts as seeing; a gap adds nothing beyond that.
"""

from dataclasses import dataclass

from gatewayd.model.moment import Moment


@dataclass(slots=True)
class OutOfRange:
    """Hold the two sums (ms) and the last reading.

    `single` is that of the spell that runs, begun at `began`; `total` that of the period named by `period`. `last` is
    the steady time (ms) of the last reading, None where nothing follows on it, `out` whether it lay out of range.
    """

    single: int = 0
    total: int = 0
    period: int = 0
    last: int | None = None
    out: bool = False
    began: Moment | None = None
    back: Moment | None = None  # the first reading in range after a spell

    def take(self, now: Moment, gap: int, period: int, *, out: bool) -> None:
        """Take one reading: whether it lies `out` of range, and in which `period` (a day's number, say) it falls."""
        self.hold(now.steady, gap)
        if period != self.period:
            self.period, self.total = period, 0
        self.last = now.steady
        if out:
            if not self.out or self.began is None:
                self.single, self.began = 0, now
            self.back = None
        elif self.out or self.back is None:
            self.back = self.back or now
        self.out = out

    def hold(self, steady: int, gap: int) -> None:
        """Let the last reading hold up to `steady` (ms), `gap` (ms) at most."""
        if self.last is not None and self.out:
            held = min(steady - self.last, gap)
            self.single += held
            self.total += held
        self.last = steady

    def dark(self) -> None:
        """Let nothing hold over a time in which nobody looked."""
        self.last = None
