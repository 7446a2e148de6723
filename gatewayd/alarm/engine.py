"""Hold the standing alarms, make their moves by the table, and write an event for each."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields

from gatewayd.alarm.kinds import KINDS, Kind
from gatewayd.alarm.table import LATCHED, LONGEST_SHELF, STANDING, UNSEEN, Move, Shelf, Stand, State, move
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

HOUSE = "the house"  # who acts where no person is needed: acknowledges, suppresses, lets time expire


@dataclass(slots=True)
class Alarm:
    """Hold one alarm: (`subject`, `kind`) names it, `occurrence` counts its spells.

    The fields from `state` to `left` are those of the table's Stand. `first` is the number of the event that raised
    this spell, the number people use. `began` is when the condition was first true, `suppressed_by` names what speaks
    in its place, `shelved_until` is when a shelving ends. `repeats` counts re-alarms, `again_from` is the moment from
    which the next one is counted: the raise, the last re-alarm, or the acknowledgement, whichever came last.
    """

    subject: str
    kind: str
    state: State = State.NORMAL
    confirmed: bool = True
    silenced: bool = True
    shelf: Shelf = Shelf.NONE
    suppressed: bool = False
    out_of_service: bool = False
    left: State = State.NORMAL
    priority: Priority = Priority.LOW
    occurrence: int = 0
    first: int = 0
    began: Moment | None = None
    raised: Moment | None = None
    over: Moment | None = None
    again_from: Moment | None = None
    repeats: int = 0
    acknowledged_by: str = ""
    acknowledged_at: Moment | None = None
    suppressed_by: str = ""
    shelved_by: str = ""
    shelved_until: Moment | None = None
    facts: dict[str, Fact] = field(default_factory=dict)
    numbers: list[int] = field(default_factory=list)  # of all events of this spell

    @property
    def stand(self) -> Stand:
        """Return where it stands, as the table sees it."""
        return Stand(**{name: getattr(self, name) for name in _STAND})

    @property
    def standing(self) -> bool:
        """Return whether the condition is on now."""
        return self.state in STANDING

    @property
    def latched(self) -> bool:
        """Return whether it is over and waits for a reset."""
        return self.state in LATCHED

    @property
    def hidden(self) -> bool:
        """Return whether it is shelved, suppressed or out of service."""
        return self.suppressed or self.out_of_service or self.shelf is not Shelf.NONE

    @property
    def listed(self) -> bool:
        """Return whether people still see it in the list."""
        return self.state is not State.NORMAL or not self.confirmed


Present = Callable[[Alarm, Moment], Mapping[str, Fact]]
_STAND = tuple(f.name for f in fields(Stand))


class Alarms:
    """Make the moves. Every method takes `now` and hands its event to `write`, in order."""

    def __init__(self, write: Callable[[Event], None], number: int = 0) -> None:
        """Start with no alarms; events are numbered on from `number`."""
        self._write = write
        self.number = number
        self.settings = ""
        self.all: dict[tuple[str, str], Alarm] = {}
        self.present: Present = lambda alarm, _now: alarm.facts  # how it is now with an alarm; the watch knows more
        self.meaning: Present = lambda _alarm, _now: {}  # what else is known when it is told; not kept with the alarm
        self.priorities: Mapping[tuple[str, str], Priority | None] = {}  # the keeper's own; None: switched off

    def get(self, subject: str, kind: Kind) -> Alarm:
        """Return the alarm of a subject and kind, made when first asked for."""
        key = (subject, kind.name)
        found = self.all.get(key)
        if found is None:
            found = self.all[key] = Alarm(subject, kind.name, priority=kind.priority)
        return found

    def standing(self, subject: str, kind: Kind) -> bool:
        """Return whether that alarm stands now."""
        found = self.all.get((subject, kind.name))
        return found is not None and found.standing

    def listed(self) -> Iterable[Alarm]:
        """Return the alarms people see, worst and oldest first."""
        shown = [alarm for alarm in self.all.values() if alarm.listed]
        return sorted(shown, key=lambda a: (not a.standing, -a.priority, a.first))

    def find(self, number: int) -> Alarm | None:
        """Return the listed alarm that event `number` belongs to."""
        return next((a for a in self.all.values() if a.listed and number in (a.first, *a.numbers)), None)

    # -- what the house finds ------------------------------------------------------------------------------

    def raise_(
        self, alarm: Alarm, now: Moment, began: Moment, facts: Mapping[str, Fact], priority: Priority | None = None
    ) -> None:
        """Raise an alarm; a second raise while it stands changes nothing, nor does one that is switched off."""
        own = self.priorities.get((alarm.subject, alarm.kind), Priority.LOW)
        if alarm.standing or own is None:
            return
        kind = KINDS[alarm.kind]
        self._move(alarm, Move.RAISE)
        alarm.priority = self._priority(alarm, priority or kind.priority)
        alarm.occurrence += 1
        alarm.first = self.number + 1
        alarm.began, alarm.raised, alarm.over = began, now, None
        alarm.again_from, alarm.repeats = now, 0
        alarm.acknowledged_by, alarm.acknowledged_at = "", None
        alarm.facts, alarm.numbers = dict(facts), []
        self._event(alarm, now, What.RAISED, {**facts, **self.meaning(alarm, now)})
        self._acknowledge_itself(alarm, now)

    def _acknowledge_itself(self, alarm: Alarm, now: Moment) -> None:
        if not KINDS[alarm.kind].asks:
            self._move(alarm, Move.ACKNOWLEDGE)
            alarm.acknowledged_by, alarm.acknowledged_at = HOUSE, now

    def _priority(self, alarm: Alarm, otherwise: Priority) -> Priority:
        return self.priorities.get((alarm.subject, alarm.kind)) or otherwise

    def worsen(self, alarm: Alarm, now: Moment, priority: Priority, facts: Mapping[str, Fact]) -> None:
        """Lift a standing alarm to a higher priority and make it unacknowledged again."""
        if not alarm.standing or alarm.priority >= priority or (alarm.subject, alarm.kind) in self.priorities:
            return
        self._move(alarm, Move.RE_ALARM)
        alarm.priority, alarm.again_from = priority, now
        alarm.facts.update(facts)
        self._event(alarm, now, What.WORSE, {**facts, **self.meaning(alarm, now)})
        self._acknowledge_itself(alarm, now)

    def re_alarm(self, alarm: Alarm, now: Moment, facts: Mapping[str, Fact]) -> None:
        """Tell again of an alarm that stands: it is unacknowledged as if it had just come (B.1.5)."""
        self._move(alarm, Move.RE_ALARM)
        alarm.again_from, alarm.repeats = now, alarm.repeats + 1
        alarm.facts.update(facts)
        self._event(alarm, now, What.REPEATED, {**facts, **self.meaning(alarm, now), "repeats": alarm.repeats})

    def clear(self, alarm: Alarm, now: Moment, facts: Mapping[str, Fact], *, latching: bool = False) -> None:
        """End an alarm that stands; one that does not stand is left alone."""
        if not alarm.standing:
            return
        once = alarm.shelf is Shelf.ONCE
        told = dict(facts) | {"latched": latching}
        if once:
            told["hidden"] = alarm.shelf.value  # the end of the spell that it covered is not told either
        self._move(alarm, Move.CLEAR_LATCHING if latching else Move.CLEAR)
        alarm.over = now
        alarm.facts.update(facts)
        self._event(alarm, now, What.OVER, told)
        if once:
            alarm.shelved_by, alarm.shelved_until = "", None
            self._event(alarm, now, What.UNSHELVED, {}, HOUSE, "the spell it covered is over")
        if alarm.suppressed:
            self.unsuppress(alarm, now)

    def suppress(self, alarm: Alarm, now: Moment, by: str) -> None:
        """Let `by` speak in an alarm's place; its moves go on and are logged. Doing so twice changes who speaks."""
        if not alarm.suppressed:
            self._move(alarm, Move.SUPPRESS)
            self._event(alarm, now, What.SUPPRESSED, {"suppressed_by": by}, HOUSE)
        alarm.suppressed_by = by

    def unsuppress(self, alarm: Alarm, now: Moment) -> None:
        """End a suppression. An alarm that still stands is told of as if it had just come (table row 23)."""
        if alarm.suppressed:
            self._show(alarm, now, Move.UNSUPPRESS, What.UNSUPPRESSED, HOUSE, "")

    # -- what people do ------------------------------------------------------------------------------------

    def acknowledge(self, alarm: Alarm, now: Moment, who: str, why: str) -> None:
        """Acknowledge, or raise Refused with the reason."""
        self._move(alarm, Move.ACKNOWLEDGE)
        alarm.acknowledged_by, alarm.acknowledged_at, alarm.again_from = who, now, now
        self._event(alarm, now, What.ACKNOWLEDGED, {}, who, why)

    def reset(self, alarm: Alarm, now: Moment, who: str, why: str) -> None:
        """End a latched alarm with the decision `why`, or raise Refused with the reason."""
        self._move(alarm, Move.RESET)
        self._event(alarm, now, What.RESET, {}, who, why)

    def silence(self, alarm: Alarm, now: Moment, who: str, why: str) -> None:
        """Take the sound away and nothing else, or raise Refused with the reason."""
        self._move(alarm, Move.SILENCE)
        self._event(alarm, now, What.SILENCED, {}, who, why)

    def shelve(self, alarm: Alarm, now: Moment, span: int, who: str, why: str) -> None:
        """Shelve for `span` ms, or raise Refused. One that is shelved for a time gets the later of the two ends."""
        until = now.later(span)
        if alarm.shelf is Shelf.TIMED and alarm.shelved_until is not None:
            move(Stand(), Move.SHELVE, span=span)  # raises Refused for a span that is not allowed
            until = max(until, alarm.shelved_until, key=lambda end: end.steady)
        else:
            self._move(alarm, Move.SHELVE, span)
        alarm.shelved_by, alarm.shelved_until = who, until
        self._event(alarm, now, What.SHELVED, {"until": until.wall}, who, why)

    def shelve_once(self, alarm: Alarm, now: Moment, who: str, why: str) -> None:
        """Shelve for the spell that runs or the next one, for the longest span at most; or raise Refused."""
        self._move(alarm, Move.SHELVE_ONCE)
        alarm.shelved_by, alarm.shelved_until = who, now.later(LONGEST_SHELF)
        self._event(alarm, now, What.SHELVED, {"until": alarm.shelved_until.wall}, who, why)

    def unshelve(self, alarm: Alarm, now: Moment, who: str, why: str, *, expired: bool = False) -> None:
        """End a shelving, by a person or because its time is over; or raise Refused with the reason."""
        self._show(alarm, now, Move.TIME_EXPIRED if expired else Move.UNSHELVE, What.UNSHELVED, who, why)

    def serve(self, alarm: Alarm, now: Moment, who: str, why: str, *, out: bool) -> None:
        """Take out of service or put back, or raise Refused with the reason."""
        if out:
            self._move(alarm, Move.TAKE_OUT)
            self._event(alarm, now, What.OUT_OF_SERVICE, {}, who, why)
        else:
            self._show(alarm, now, Move.PUT_BACK, What.IN_SERVICE, who, why)

    def unseen(self, alarm: Alarm) -> bool:
        """Return whether nobody has acknowledged this spell."""
        return alarm.state in UNSEEN

    # -- all -----------------------------------------------------------------------------------------------

    def close(self, alarm: Alarm, now: Moment, why: str) -> None:
        """End an alarm whose subject left the settings."""
        if alarm.listed:
            alarm.state, alarm.confirmed = State.NORMAL, True
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

    def _move(self, alarm: Alarm, what: Move, span: int | None = None) -> None:
        after = move(alarm.stand, what, span=span)
        for name in _STAND:
            setattr(alarm, name, getattr(after, name))

    def _show(self, alarm: Alarm, now: Moment, what: Move, told: What, who: str, why: str) -> None:
        """Leave an overlay; what stands behind none of the others is raised anew."""
        self._move(alarm, what)
        if what is Move.UNSUPPRESS:
            alarm.suppressed_by = ""
        elif what in (Move.UNSHELVE, Move.TIME_EXPIRED):
            alarm.shelved_by, alarm.shelved_until = "", None
        self._event(alarm, now, told, {}, who, why)
        if alarm.standing and not alarm.hidden:
            alarm.again_from = now
            self._event(alarm, now, What.RAISED, {**self.present(alarm, now), **self.meaning(alarm, now)})
            self._acknowledge_itself(alarm, now)

    def _event(
        self, alarm: Alarm, now: Moment, what: What, facts: Mapping[str, Fact], who: str = "", why: str = ""
    ) -> None:
        self.number += 1
        alarm.numbers.append(self.number)
        told = dict(facts)
        if alarm.suppressed_by:
            told["suppressed_by"] = alarm.suppressed_by
        elif alarm.hidden:
            told["hidden"] = alarm.shelf.value if alarm.shelf is not Shelf.NONE else "out of service"
        self._write(
            Event(
                self.number, now, alarm.subject, alarm.kind, what, alarm.priority, alarm.occurrence, alarm.first,
                who, why, told, self.settings,
            )
        )  # fmt: skip
