"""Alarms that write into a list, and a steady clock to move by hand."""

from collections.abc import Mapping

from gatewayd.alarm.engine import Alarms
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import Moment

START = Moment(1_780_000_000_000, 5_000_000)


def at(ms: int, boot: str = "boot") -> Moment:
    """Return the moment `ms` after the start; in another boot the steady time begins anew."""
    return Moment(START.wall + ms, START.steady + ms if boot == START.boot else ms, boot)


class Log:
    """Hold alarms and the events they wrote."""

    def __init__(self) -> None:
        """Begin with none."""
        self.events: list[Event] = []
        self.alarms = Alarms(self.events.append)

    def turns(self, kind: str, *, of: str | None = None) -> list[str]:
        """Return what the alarm of a kind did, in order, without what the house acknowledges by itself."""
        return [e.what.value for e in self.events if e.kind == kind and of in (None, e.subject)]

    def told(self, kind: str, what: What = What.RAISED) -> Mapping[str, Fact]:
        """Return the facts of the last turn of a kind."""
        return next(e.facts for e in reversed(self.events) if e.kind == kind and e.what is what)
