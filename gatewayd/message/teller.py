"""Tell people in the way a household works: one after the other until somebody answers, and quietly at night.

The order of people in the settings is the order of telling. The first is told at once, the next when nobody has
answered for a while, then all. Low and medium news waits for the end of a person's quiet hours, high news never does.
Each decision, to tell or to stay quiet, is a value with a named reason.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from gatewayd.message.calendar import quiet_until
from gatewayd.message.plan import MILDER, STAGES, WARM, Reason, Standing, decide
from gatewayd.message.wording import word
from gatewayd.message.words import clock
from gatewayd.model.event import Decision, Event, Notice, Stage, What
from gatewayd.model.house import House, Person
from gatewayd.model.moment import HOUR, Moment
from gatewayd.model.priority import Priority

# An alarm that comes for the third time within six hours is a thing for daylight and a screwdriver, not for a fourth
# message: on- and off-delay let one come and go hourly. Our choice, on the criterion of three (ISA-18.2, secondary).
OFTEN, WITHIN = 3, 6 * HOUR
KEEPS = "\n\nIt keeps coming and going. Messages about it stop until it is steady or becomes worse."


@dataclass(slots=True)
class Call:
    """Hold one alarm that people are being told of.

    `step` counts those of the order who were called, `stepped` is when the last was, `told` are the persons told so far
    (or whose message waits), `event`, `stage` and `text` what the next one is told. `open`: nobody has answered.
    """

    subject: str
    kind: str
    event: int
    stage: Stage
    priority: Priority
    title: str
    body: str
    stepped: Moment
    step: int = 0
    told: list[str] = field(default_factory=list)
    open: bool = True


@dataclass(slots=True)
class Held:
    """Hold one notice until a wall stamp (ms): the end of a person's quiet hours."""

    notice: Notice
    until: int


@dataclass(slots=True)
class Calls:
    """Hold what the teller must not forget over a restart. `raised` are the wall stamps (ms) of an alarm's spells."""

    calls: dict[str, Call] = field(default_factory=dict)
    held: list[Held] = field(default_factory=list)
    raised: dict[str, list[int]] = field(default_factory=dict)


@dataclass(slots=True)
class Told:
    """Hold what was decided: notices to send, and why."""

    notices: list[Notice] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)


class Teller:
    """Decide who is told of what."""

    def __init__(self, house: House, calls: Calls | None = None) -> None:
        """Take the house and what was known before."""
        self.house = house
        self.calls = calls or Calls()
        self._out = Told()

    # -- events --------------------------------------------------------------------------------------------

    def hear(self, event: Event, asks: bool, standing: Standing) -> Told:  # noqa: FBT001 - a property of its kind
        """Take one event and return what is told of it now. `asks` says that the alarm wants an answer."""
        self._out = Told()
        reason = decide(event, standing)
        key = f"{event.subject} {event.kind}"
        match event.what:
            case What.RAISED | What.WORSE | What.REPEATED if reason in STAGES:
                self._begin(event, reason, key, asks=asks)
            case What.OVER:
                self._over(event, reason, key)
            case What.ACKNOWLEDGED:
                self._answered(event, key)
            case What.NOTED if reason is Reason.NOTE:
                self._all(event, reason, self._wanting(event))
            case What.CLOSED | What.SHELVED | What.SUPPRESSED | What.OUT_OF_SERVICE:
                self._drop(event, key, reason)
            case _:
                self._quiet(event, reason)
        return self._out

    def _begin(self, event: Event, reason: Reason, key: str, *, asks: bool) -> None:
        if event.priority is Priority.LOW and not self._wanting(event):
            self._quiet(event, Reason.LOW)
            return
        text = word(event, self.house)
        if event.what is What.RAISED and event.priority < Priority.HIGH:
            count = self._often(event, key)
            if count > OFTEN:
                self._quiet(event, Reason.KEEPS_COMING)
                return
            if count == OFTEN:
                text = text[0], text[1] + KEEPS
        before = self.calls.calls.get(key)
        if event.what is What.WORSE:
            self._release(key, event, Reason.WORSE_BEFORE_MORNING)
        if event.kind in WARM:
            self._outdo(event)
        stage = STAGES[reason]
        call = Call(event.subject, event.kind, event.number, stage, event.priority, *text, stepped=event.at)
        self.calls.calls[key] = call
        if not asks or event.priority is Priority.LOW:
            call.open = False
            self._call(call, self._wanting(event), reason, event.at)
            return
        if event.what is What.REPEATED and before is not None:
            call.step = before.step
            known = [person for person in self._wanting(event) if person.id in before.told]
            self._call(call, known, reason, event.at)
        self._step(call, event.at)

    def _outdo(self, event: Event) -> None:
        """Let a warm alarm speak for the milder one of its freezer that went before: nobody is called for that now."""
        for kind in MILDER.get(event.kind, ()):
            key = f"{event.subject} {kind}"
            call = self.calls.calls.get(key)
            gone = self._release(key, event, Reason.WORSE_BEFORE_MORNING)
            if call is not None:
                call.open = False
                call.told = [who for who in call.told if who not in gone]

    def _often(self, event: Event, key: str) -> int:
        """Count this spell and those of the last hours before it."""
        stamps = [wall for wall in self.calls.raised.get(key, []) if 0 <= event.at.wall - wall < WITHIN]
        self.calls.raised[key] = [*stamps, event.at.wall]
        return len(stamps) + 1

    def _over(self, event: Event, reason: Reason, key: str) -> None:
        call = self.calls.calls.get(key)
        if reason is not Reason.OVER:
            if reason is not Reason.STILL_WARM:
                self.calls.calls.pop(key, None)
            self._quiet(event, reason)
            return
        self.calls.calls.pop(key, None)
        waited = self._release(key, event, Reason.OVER_BEFORE_MORNING)
        told = list(call.told) if call else []
        if event.kind == "high":  # the end of the milder alarm is the end of both
            worse = self.calls.calls.pop(f"{event.subject} highhigh", None)
            told += worse.told if worse else []
        for other in self._covered(event):
            told += [person for person in other if person not in told]
        people = [p for p in self.house.people.values() if p.id in told or p.id in waited]
        if not people:
            self._quiet(event, Reason.LOW if event.priority is Priority.LOW else Reason.NOT_TOLD_BEFORE)
            return
        self._all(event, Reason.OVER, people)

    def _covered(self, event: Event) -> Iterable[list[str]]:
        """Yield who was told of the rising that an ended warmth began with."""
        if event.kind in ("high", "highhigh"):
            rising = self.calls.calls.pop(f"{event.subject} rising", None)
            if rising is not None:
                yield rising.told

    def _answered(self, event: Event, key: str) -> None:
        call = self.calls.calls.get(key)
        if call is None or not call.open:
            self._quiet(event, Reason.BY_A_PERSON)
            return
        call.open = False
        held = self._release(key, event, Reason.ANSWERED_BEFORE_MORNING)
        call.told = [who for who in call.told if who not in held]
        others = [
            p
            for p in self.house.people.values()
            if p.id in call.told and event.who.casefold() not in (p.id.casefold(), p.name.casefold())
        ]
        if len(call.told) > 1 and others:
            self._all(event, Reason.ANSWERED, others)
        else:
            self._quiet(event, Reason.BY_A_PERSON)

    def _drop(self, event: Event, key: str, reason: Reason) -> None:
        if self.calls.calls.pop(key, None) is not None:
            self._release(key, event, reason)
        self._quiet(event, reason)

    # -- order and quiet hours -----------------------------------------------------------------------------

    def _step(self, call: Call, at: Moment) -> None:
        """Call the next of the order: the first, the second, then all the rest."""
        order = [p for p in self._order(call.priority) if p.id not in call.told]
        if not order:
            if call.step == 0 and not call.told:
                self._decide(call.event, "", Reason.NO_ROUTE, at)
            call.open = False if not call.told else call.open
            call.step += 1
            return
        first, second = call.step == 0, call.step == 1
        people = order[:1] if first or second else order
        reason = Reason.FIRST if first else Reason.NEXT_PERSON if second else Reason.ALL
        if call.stage is Stage.WORSE and first:
            reason = Reason.WORSE
        call.step += 1
        call.stepped = at
        self._call(call, people, reason, at)

    def _order(self, priority: Priority) -> list[Person]:
        return [p for p in self.house.people.values() if p.routes and priority >= p.told_from]

    def _call(self, call: Call, people: list[Person], reason: Reason, at: Moment) -> None:
        before = [self.house.people[who].name for who in call.told if who in self.house.people]
        silent = ""
        if before and reason in (Reason.NEXT_PERSON, Reason.ALL):
            was = "was" if len(before) == 1 else "were"
            has = "has" if len(before) == 1 else "have"
            silent = f"\n\n{' and '.join(before)} {was} told before and {has} not answered."
        for person in people:
            notice = Notice(
                event=call.event, person=person.id, stage=call.stage, priority=call.priority, title=call.title,
                body=call.body + silent, made=at, routes=person.routes, subject=call.subject, kind=call.kind,
            )  # fmt: skip
            self._send(notice, person, reason, at)
            call.told.append(person.id)

    def _all(self, event: Event, reason: Reason, people: list[Person]) -> None:
        """Tell people of an event that nobody needs to answer."""
        if not people:
            self._quiet(event, Reason.NO_ROUTE)
            return
        title, body = word(event, self.house)
        for person in people:
            notice = Notice(
                event=event.number, person=person.id, stage=STAGES[reason], priority=event.priority, title=title,
                body=body, made=event.at, routes=person.routes, subject=event.subject, kind=event.kind,
            )  # fmt: skip
            self._send(notice, person, reason, event.at)

    def _send(self, notice: Notice, person: Person, reason: Reason, at: Moment) -> None:
        until = quiet_until(person.quiet, self.house.zone, at.wall) if notice.priority < Priority.HIGH else None
        if until is None:
            self._out.notices.append(notice)
            self._decide(notice.event, person.id, reason, at)
            return
        # a repeat replaces what waits already: one message in the morning says how it stands
        self.calls.held = [h for h in self.calls.held if not _same(h.notice, notice)]
        self.calls.held.append(Held(notice, until))
        self._decide(notice.event, person.id, Reason.WAITS_FOR_MORNING, at, until)

    def _release(self, key: str, event: Event, reason: Reason) -> list[str]:
        """Drop what waits for the morning about one alarm; return whose it was."""
        gone = [h for h in self.calls.held if f"{h.notice.subject} {h.notice.kind}" == key]
        if gone:
            self.calls.held = [h for h in self.calls.held if h not in gone]
        for held in gone:
            self._decide(held.notice.event, held.notice.person, reason, event.at)
        return [held.notice.person for held in gone]

    # -- time ----------------------------------------------------------------------------------------------

    def next_wake(self, now: Moment) -> int | None:
        """Return the steady time (ms) at which somebody is due, None if nobody is."""
        wakes = [now.steady + held.until - now.wall for held in self.calls.held]
        wakes += [self._due_at(call, now) for call in self.calls.calls.values() if self._goes_on(call)]
        return min(wakes, default=None)

    def _goes_on(self, call: Call) -> bool:
        return call.open and any(p.id not in call.told for p in self._order(call.priority))

    def _due_at(self, call: Call, now: Moment) -> int:
        if call.stepped.boot != now.boot:  # after another boot the wait begins anew
            call.stepped = now
        return call.stepped.steady + self.house.telling.next_after

    def due(self, now: Moment) -> Told:
        """Return what is due by now: the next of an order, and what waited for the end of the quiet hours."""
        self._out = Told()
        for call in self.calls.calls.values():
            while self._goes_on(call) and (due := self._due_at(call, now)) <= now.steady:
                self._step(call, now.later(due - now.steady))
        ready = [held for held in self.calls.held if held.until <= now.wall]
        if ready:
            self.calls.held = [held for held in self.calls.held if held.until > now.wall]
        for held in ready:
            self._out.notices.append(replace(held.notice, made=now, body=self._since(held.notice)))
            self._decide(held.notice.event, held.notice.person, Reason.MORNING, now)
        return self._out

    def _since(self, notice: Notice) -> str:
        """Say when a message that waited was written; its figures are of then."""
        at = clock(notice.made.wall, notice.made.wall, self.house.zone)
        return f"(Written at {at}; it waited for the end of your quiet hours.)\n\n{notice.body}"

    def forget(self, subject: str, kind: str) -> None:
        """Forget an alarm whose subject left the settings."""
        key = f"{subject} {kind}"
        self.calls.calls.pop(key, None)
        self.calls.held = [h for h in self.calls.held if (h.notice.subject, h.notice.kind) != (subject, kind)]

    # -- decisions -----------------------------------------------------------------------------------------

    def _wanting(self, event: Event) -> list[Person]:
        return self._order(event.priority)

    def _quiet(self, event: Event, reason: Reason) -> None:
        self._decide(event.number, "", reason, event.at)

    def _decide(self, event: int, person: str, reason: Reason, at: Moment, until: int | None = None) -> None:
        self._out.decisions.append(Decision(event, person, reason.name, at, until))


def _same(one: Notice, other: Notice) -> bool:
    return (one.person, one.subject, one.kind) == (other.person, other.subject, other.kind)
