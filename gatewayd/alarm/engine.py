"""Hold the standing alarms, make their moves by the table, and write an event for each."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from gatewayd.alarm.kinds import KINDS, Kind
from gatewayd.alarm.table import STANDING, UNSEEN, Move, State, move
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

HOUSE = "the house"  # who acknowledges an alarm that needs no person


@dataclass(slots=True)
class Alarm:
    """Hold one alarm: (`subject`, `kind`) names it, `occurrence` counts its spells.

    `first` is the number of the event that raised this spell, the number people use. `began` is when the
    condition was first true, `suppressed_by` names the alarm or source that speaks in its place.
    """

    subject: str
    kind: str
    state: State = State.NORMAL
    priority: Priority = Priority.LOW
    occurrence: int = 0
    first: int = 0
    began: Moment | None = None
    raised: Moment | None = None
    over: Moment | None = None
    acknowledged_by: str = ""
    acknowledged_at: Moment | None = None
    suppressed_by: str = ""
    facts: dict[str, Fact] = field(default_factory=dict)
    numbers: list[int] = field(default_factory=list)  # of all events of this spell

    @property
    def standing(self) -> bool:
        """Return whether the condition is on now."""
        return self.state in STANDING

    @property
    def listed(self) -> bool:
        """Return whether people still see it in the list."""
        return self.state is not State.NORMAL


class Alarms:
    """Make the moves. Every method takes `now` and hands its event to `write`, in order."""

    def __init__(self, write: Callable[[Event], None], number: int = 0) -> None:
        """Start with no alarms; events are numbered on from `number`."""
        self._write = write
        self.number = number
        self.settings = ""
        self.all: dict[tuple[str, str], Alarm] = {}

    def get(self, subject: str, kind: Kind) -> Alarm:
        """Return the alarm of a subject and kind, made when first asked for."""
        key = (subject, kind.name)
        found = self.all.get(key)
        if found is None:
            found = self.all[key] = Alarm(subject, kind.name, priority=kind.priority)
        return found

    def listed(self) -> Iterable[Alarm]:
        """Return the alarms people see, worst and oldest first."""
        shown = [alarm for alarm in self.all.values() if alarm.listed]
        return sorted(shown, key=lambda a: (not a.standing, -a.priority, a.first))

    def find(self, number: int) -> Alarm | None:
        """Return the listed alarm whose spell began with event `number`."""
        return next((a for a in self.all.values() if a.listed and a.first == number), None)

    def raise_(
        self, alarm: Alarm, now: Moment, began: Moment, facts: Mapping[str, Fact], priority: Priority | None = None
    ) -> None:
        """Raise an alarm; a second raise while it stands changes nothing."""
        if alarm.standing:
            return
        kind = KINDS[alarm.kind]
        alarm.state = move(alarm.state, Move.RAISE)
        alarm.priority = priority or kind.priority
        alarm.occurrence += 1
        alarm.first = self.number + 1
        alarm.began, alarm.raised, alarm.over = began, now, None
        alarm.acknowledged_by, alarm.acknowledged_at = "", None
        alarm.facts, alarm.numbers = dict(facts), []
        self._event(alarm, now, What.RAISED, facts)
        if not kind.asks:
            alarm.state = move(alarm.state, Move.ACKNOWLEDGE)
            alarm.acknowledged_by, alarm.acknowledged_at = HOUSE, now

    def worsen(self, alarm: Alarm, now: Moment, priority: Priority, facts: Mapping[str, Fact]) -> None:
        """Lift a standing alarm to a higher priority and make it unacknowledged again."""
        if not alarm.standing or alarm.priority >= priority:
            return
        alarm.state = move(alarm.state, Move.RE_ALARM)
        alarm.priority = priority
        alarm.facts.update(facts)
        self._event(alarm, now, What.WORSE, facts)

    def clear(self, alarm: Alarm, now: Moment, facts: Mapping[str, Fact]) -> None:
        """End an alarm that stands; one that does not stand is left alone."""
        if not alarm.standing:
            return
        alarm.state = move(alarm.state, Move.CLEAR)
        alarm.over = now
        alarm.facts.update(facts)
        self._event(alarm, now, What.OVER, facts)
        alarm.suppressed_by = ""

    def acknowledge(self, alarm: Alarm, now: Moment, who: str, why: str) -> None:
        """Acknowledge, or raise Refused with the reason."""
        alarm.state = move(alarm.state, Move.ACKNOWLEDGE)
        alarm.acknowledged_by, alarm.acknowledged_at = who, now
        self._event(alarm, now, What.ACKNOWLEDGED, {}, who, why)

    def unseen(self, alarm: Alarm) -> bool:
        """Return whether nobody has acknowledged this spell."""
        return alarm.state in UNSEEN

    def suppress(self, alarm: Alarm, by: str) -> None:
        """Let `by` speak in an alarm's place; its moves go on and are logged."""
        alarm.suppressed_by = by

    def unsuppress(self, alarm: Alarm, now: Moment) -> None:
        """End a suppression. An alarm that still stands is told of as if it had just come (table row 23)."""
        if not alarm.suppressed_by:
            return
        alarm.suppressed_by = ""
        if alarm.standing and KINDS[alarm.kind].asks:
            alarm.state = State.UNACKNOWLEDGED
            self._event(alarm, now, What.RAISED, alarm.facts)

    def close(self, alarm: Alarm, now: Moment, why: str) -> None:
        """End an alarm whose subject left the settings."""
        if alarm.listed:
            alarm.state = State.NORMAL
            self._event(alarm, now, What.CLOSED, {}, why=why)
        del self.all[alarm.subject, alarm.kind]

    def note(
        self, subject: str, kind: str, now: Moment, facts: Mapping[str, Fact], priority: Priority = Priority.LOW
    ) -> Event:
        """Write a line to the log that is no alarm."""
        self.number += 1
        event = Event(self.number, now, subject, kind, What.NOTED, priority, 0, self.number, facts=dict(facts))
        self._write(event)
        return event

    def _event(
        self, alarm: Alarm, now: Moment, what: What, facts: Mapping[str, Fact], who: str = "", why: str = ""
    ) -> None:
        self.number += 1
        alarm.numbers.append(self.number)
        told = dict(facts)
        if alarm.suppressed_by:
            told["suppressed_by"] = alarm.suppressed_by
        self._write(
            Event(
                self.number, now, alarm.subject, alarm.kind, what, alarm.priority, alarm.occurrence, alarm.first,
                who, why, told, self.settings,
            )
        )  # fmt: skip
