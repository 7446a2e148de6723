"""Judge a lid by its contact: open for longer than work at the freezer takes is told of."""

from dataclasses import dataclass

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import LID_OPEN
from gatewayd.model.event import Fact
from gatewayd.model.limits import Limits
from gatewayd.model.moment import SECOND, Moment, between

# A contact bounces for a moment when a lid falls shut or stands ajar at its very edge, and a lid shut for a few seconds
# gives a freezer nothing back; half a minute is longer than either. Our choice.
SHUT_AFTER = 30 * SECOND


@dataclass(slots=True)
class Lid:
    """Hold what the contact said: `opened` is when it went open, `shut` since when it is shut; both None: not known.

    `told` says that the wait of this opening is over and was acted upon, whatever became of it.
    """

    freezer: str
    opened: Moment | None = None
    shut: Moment | None = None
    told: bool = False

    def news(self, is_open: bool, now: Moment) -> None:  # noqa: FBT001 - the state itself
        """Take what the contact says; the same again changes nothing, nor does a moment shut."""
        if not is_open:
            self.shut = self.shut or now
            return
        if self.opened is None or (self.shut is not None and now.steady - self.shut.steady >= SHUT_AFTER):
            self.opened, self.told = now, False
        self.shut = None

    def due(self, limits: Limits, alarms: Alarms) -> int | None:
        """Return the steady time (ms) of the next turn, None if there is nothing to wait for."""
        alarm = alarms.all.get((self.freezer, LID_OPEN.name))
        standing = alarm is not None and alarm.standing
        if self.shut is not None:
            return self.shut.steady + SHUT_AFTER if standing else None
        if self.opened is None or standing or self.told or not limits.lid_open:
            return None
        return self.opened.steady + limits.lid_open

    def turn(self, now: Moment, alarms: Alarms) -> None:
        """Raise or clear when the wait is over."""
        alarm = alarms.get(self.freezer, LID_OPEN)
        if self.shut is not None:
            began = alarm.began or self.shut
            ended: dict[str, Fact] = {"since": began.wall, "lasted": between(began, self.shut), "contact": True}
            alarms.clear(alarm, now, ended)
        elif self.opened is not None:
            self.told = True
            facts: dict[str, Fact] = {
                "since": self.opened.wall,
                "lasted": now.steady - self.opened.steady,
                "contact": True,
            }
            alarms.raise_(alarm, now, self.opened, facts)

    def dark(self, _now: Moment) -> None:
        """Forget the state, since nobody listened: it is what the next message says."""
        self.opened, self.shut, self.told = None, None, False
