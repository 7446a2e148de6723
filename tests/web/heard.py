"""Something that listens nearby and hears what the test says."""

from collections.abc import Sequence

from gatewayd.model.moment import SECOND, Moment
from gatewayd.watch.nearby import Nearby, Sighting
from gatewayd.web.hearing import LASTS


class FakeHearing:
    """Listen to nobody; `hear` and `pass_by` are the test's."""

    def __init__(self) -> None:
        """Begin with nobody listening."""
        self.nearby = Nearby(history=1)
        self.until: int | None = None
        self.troubles: Sequence[str] = []
        self.begun = 0
        self._now = Moment(0, 1000 * SECOND)

    def begin(self) -> None:
        """Listen."""
        self.begun += 1
        self.until = self._now.steady + LASTS

    def now(self) -> Moment:
        """Return the test's time."""
        return self._now

    def pass_by(self, ms: int) -> None:
        """Let time pass; the listening ends when its time is up."""
        self._now = self._now.later(ms)
        if self.until is not None and self._now.steady >= self.until:
            self.until = None

    def hear(
        self, way: str, channel: str, payload: bytes, *, source: str = "home", part: str = "", name: str = "",
        signal: int | None = None,
    ) -> None:  # fmt: skip
        """Hear one thing, a second after the last."""
        self.pass_by(SECOND)
        self.nearby.see(Sighting(way, source, channel, {part: payload}, self._now, name, signal))
