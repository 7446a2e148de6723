"""Judge another household's gateway: it gives signs of life, and its silence is told of."""

from dataclasses import dataclass

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import NEIGHBOUR, SOURCE_DOWN_AFTER
from gatewayd.model.event import Fact
from gatewayd.model.moment import Moment, between


@dataclass(slots=True)
class Pulse:
    """Hold one neighbour: its last sign of life, or the start of waiting for one; and whether it was ever `heard`.

    `gone` is when its broker said that it is gone, which counts after the time that a restart takes.
    """

    neighbour: str
    last: Moment
    silent_after: int
    heard: bool = False
    gone: Moment | None = None

    def beat(self, now: Moment, alarms: Alarms, *, up: bool) -> None:
        """Take a sign of life, or the broker's word that it is gone."""
        if not up:
            self.gone = self.gone or now
            return
        alarm = alarms.get(self.neighbour, NEIGHBOUR)
        facts: dict[str, Fact] = {"since": self.last.wall, "lasted": between(self.last, now)}
        self.last, self.heard, self.gone = now, True, None
        alarms.clear(alarm, now, facts)

    def due(self, alarms: Alarms) -> int | None:
        """Return the steady time (ms) at which its silence is told of, None if it has been.

        One that was never heard since it was written into the settings is waited for all the same: a first sign that
        does not come is a mistake in one of the two houses, and somebody must hear of it.
        """
        if alarms.get(self.neighbour, NEIGHBOUR).standing:
            return None
        due = self.last.steady + self.silent_after
        return due if self.gone is None else min(due, self.gone.steady + SOURCE_DOWN_AFTER)

    def turn(self, now: Moment, alarms: Alarms) -> None:
        """Raise, when the wait is over."""
        facts: dict[str, Fact] = {
            "since": self.last.wall,
            "lasted": between(self.last, now),
            "heard": self.heard,
            "gone": self.gone is not None,
        }
        alarms.raise_(alarms.get(self.neighbour, NEIGHBOUR), now, self.last, facts)

    def dark(self, now: Moment) -> None:
        """Wait anew: this gateway itself was not listening."""
        self.last, self.gone = now, None
