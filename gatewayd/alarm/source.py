"""Judge a source: a broker (or radio) that is away for long is told of in place of all its sensors."""

from dataclasses import dataclass

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import SOURCE_DOWN, SOURCE_DOWN_AFTER, SOURCE_UP_AFTER
from gatewayd.model.event import Fact
from gatewayd.model.moment import Moment


@dataclass(slots=True)
class Link:
    """Hold one source: whether it is up, since when, and why not."""

    source: str
    since: Moment
    up: bool = False
    reason: str = "it has not answered since the start"

    def news(self, *, up: bool, reason: str, now: Moment) -> None:
        """Take what the source says of itself; the same news again changes only the reason."""
        if up != self.up:
            self.up, self.since = up, now
        self.reason = reason

    def due(self, alarms: Alarms) -> int | None:
        """Return the steady time (ms) of the next turn, None if there is nothing to wait for."""
        standing = alarms.get(self.source, SOURCE_DOWN).standing
        if standing is self.up:  # down and not told, or up and still told
            return self.since.steady + (SOURCE_UP_AFTER if standing else SOURCE_DOWN_AFTER)
        return None

    def turn(self, now: Moment, alarms: Alarms) -> None:
        """Raise or clear when the delay is over."""
        alarm = alarms.get(self.source, SOURCE_DOWN)
        if not self.up:
            facts: dict[str, Fact] = {
                "since": self.since.wall,
                "lasted": now.steady - self.since.steady,
                "reason": self.reason,
            }
            alarms.raise_(alarm, now, self.since, facts)
        elif alarm.began is not None:
            began = alarm.began
            lasted = self.since.steady - began.steady if began.boot == now.boot else self.since.wall - began.wall
            alarms.clear(alarm, now, {"since": began.wall, "lasted": lasted})
