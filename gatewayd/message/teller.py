"""Tell people in the way a household works: one after the other until somebody answers, and quietly at night.

The order of people in the settings is the order of telling. The first is told at once, the next when nobody has
answered for a while, then all. Low and medium news waits for the end of a person's quiet hours, high news never does.
Each decision, to tell or to stay quiet, is a value with a named reason.

What is due is done as of its own moment, before any later event, so that being called early or late changes nothing.
"""

import heapq
from dataclasses import dataclass, field, replace

from gatewayd.message.calendar import quiet_until
from gatewayd.message.call import Call, Held, Often
from gatewayd.message.plan import STAGES, WARMTH, Reason, Standing, decide
from gatewayd.message.wording import word
from gatewayd.message.words import at as at_time
from gatewayd.message.words import clock, listed
from gatewayd.model.event import Decision, Event, Notice, Stage, What
from gatewayd.model.house import House, Person
from gatewayd.model.moment import DAY, HOUR, SECOND, Moment
from gatewayd.model.priority import Priority

# An alarm that comes for the third time within six hours is a thing for daylight and a screwdriver, not for a fourth
# message: on- and off-delay let one come and go hourly. Our choice, on the criterion of three (ISA-18.2, secondary).
OFTEN, WITHIN = 3, 6 * HOUR
KEEPS = "\n\nIt keeps coming and going. Messages about it stop until it is steady or becomes worse."
LONGEST_QUIET = DAY + HOUR  # on the night the clocks are put back; a longer wait means the clock was set back: it ends
SLEW = SECOND  # wall against steady time moves by a hair all the time; a step is more (our choice)

_ENDS = (What.CLOSED, What.SHELVED, What.SUPPRESSED, What.OUT_OF_SERVICE)  # whatever stands, it is told no more


@dataclass(slots=True)
class Calls:
    """Hold what the teller must not forget over a restart, each by subject and kind."""

    calls: dict[str, Call] = field(default_factory=dict)
    held: dict[str, list[Held]] = field(default_factory=dict)
    often: dict[str, Often] = field(default_factory=dict)


@dataclass(slots=True)
class Told:
    """Hold what was decided: notices to send, and why."""

    notices: list[Notice] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)


Due = tuple[int, str, str, int]  # steady ms, alarm; person and wall ms of a message that waits, else "" and 0


class Teller:
    """Decide who is told of what."""

    def __init__(self, house: House, calls: Calls | None = None) -> None:
        """Take the house and what was known before; both may be replaced."""
        self.house = house
        self.calls = calls or Calls()
        self._out = Told()
        self._dues: list[Due] = []  # a heap; what no longer holds is left in it and passed over
        self._basis: tuple[Calls, House, str, int] | None = None  # what the heap was made for

    # -- events --------------------------------------------------------------------------------------------

    def hear(self, event: Event, asks: bool, standing: Standing) -> Told:  # noqa: FBT001 - a property of its kind
        """Take one event and return what is told of it now. `asks` says that the alarm wants an answer."""
        self._out = Told()
        self._pass(event.at)
        reason = decide(event, standing)
        match event.what:
            case What.RAISED | What.WORSE | What.REPEATED if reason in STAGES:
                self._begin(event, reason, asks=asks)
            case What.OVER:
                self._over(event, reason, standing)
            case What.ACKNOWLEDGED:
                self._answered(event)
            case What.NOTED if reason is Reason.NOTE:
                self._unwanted(event)
                self._all(event, reason, self._order(event.priority))
            case what:
                call = self.calls.calls.get(_key(event))
                gone = call is not None and call.open and not standing(event.subject, event.kind)
                if what in _ENDS or gone:
                    self.calls.calls.pop(_key(event), None)
                    self._release(_key(event), Reason.SHELVED if what is What.SHELVED else reason, event.at)
                self._decide(event.number, "", reason, event.at)
        return self._out

    def _begin(self, event: Event, reason: Reason, *, asks: bool) -> None:
        key, people = _key(event), self._order(event.priority)
        if event.priority is Priority.LOW and not people:
            self._decide(event.number, "", Reason.LOW, event.at)
            return
        title, body = word(event, self.house)
        if event.what is What.REPEATED:
            self.calls.often.pop(key, None)  # it has stood for hours: that is no coming and going
        elif event.what is What.RAISED and event.number == event.first and event.priority < Priority.HIGH:
            was, often = self._count(key, event.at.wall)
            if was:
                self._decide(event.number, "", Reason.KEEPS_COMING, event.at)
                return
            body += KEEPS if often else ""
        before = self.calls.calls.get(key)
        told = list(before.told) if before else []
        if event.what is What.WORSE:
            unaware = self._release(key, Reason.WORSE_BEFORE_MORNING, event.at)
            told = [who for who in told if who not in unaware]
        call = Call(
            event.subject, event.kind, event.number, STAGES[reason], event.priority, title, body, event.at, told=told
        )
        self.calls.calls[key] = call
        self._speak_for_milder(event)
        if event.what is not What.REPEATED:
            self._unwanted(event)
        if not asks or event.priority is Priority.LOW:
            call.open = False
            self._call(call, people, reason, event.at)
            return
        if event.what is What.REPEATED and before is not None:
            call.step = before.step
            self._call(call, [person for person in people if person.id in told], reason, event.at)
        self._step(call, event.at)

    def _speak_for_milder(self, event: Event) -> None:
        """Call nobody for a milder alarm of the same warmth; who was told of it hears of its end all the same."""
        for kind in WARMTH[: WARMTH.index(event.kind)] if event.kind in WARMTH else ():
            call = self.calls.calls.get(f"{event.subject} {kind}")
            if call is not None:
                unaware = self._release(f"{event.subject} {kind}", Reason.WORSE_STANDS, event.at)
                call.open, call.told = False, [who for who in call.told if who not in unaware]

    def _count(self, key: str, now: int) -> tuple[bool, bool]:
        """Count a spell that begins; return whether the alarm was muted before, and whether it is from now on."""
        often = self.calls.often.setdefault(key, Often())
        if not 0 <= now - often.last < WITHIN:
            often.began, often.muted = [], False
        often.last, was = now, often.muted
        often.began = [*(wall for wall in often.began if 0 <= now - wall < WITHIN), now][-OFTEN:]
        often.muted = was or len(often.began) >= OFTEN
        return was, often.muted

    def _over(self, event: Event, reason: Reason, standing: Standing) -> None:
        key, call = _key(event), self.calls.calls.get(_key(event))
        often = self.calls.often.get(key)
        if often is not None:
            often.last = event.at.wall
        waited = self._release(key, Reason.OVER_BEFORE_MORNING, event.at)
        if reason in (Reason.STILL_WARM, Reason.WORSE_STANDS):
            if call is not None:
                call.open = False  # who was told of it hears of the end of the other one
            self._decide(event.number, "", reason, event.at)
            return
        self.calls.calls.pop(key, None)
        told = set(waited) | set(call.told if call else ()) if reason is Reason.OVER else set()
        told |= self._covered(event, standing)
        people = [person for person in self.house.people.values() if person.id in told]
        muted = often is not None and often.muted
        if not people:
            if reason is Reason.OVER:
                low = Reason.LOW if event.priority is Priority.LOW else Reason.NOT_TOLD_BEFORE
                reason = Reason.KEEPS_COMING if muted else low
            self._decide(event.number, "", reason, event.at)
            return
        self._all(event, Reason.OVER, people, KEEPS if muted else "")
        for person in self._order(event.priority):
            if person.id not in told:
                self._decide(event.number, person.id, Reason.NOT_TOLD_BEFORE, event.at)

    def _covered(self, event: Event, standing: Standing) -> set[str]:
        """Return who was told of the same warmth in milder or graver words, whose end this is as well."""
        told: set[str] = set()
        for kind in WARMTH if event.kind in WARMTH else ():
            key = f"{event.subject} {kind}"
            if key in self.calls.calls and not standing(event.subject, kind):
                told |= set(self.calls.calls.pop(key).told)
                self._release(key, Reason.OVER_BEFORE_MORNING, event.at)
        return told

    def _answered(self, event: Event) -> None:
        """Stop the calling; the others who were told hear who is on it."""
        call = self.calls.calls.get(_key(event))
        if call is None or not call.open:
            self._decide(event.number, "", Reason.BY_A_PERSON, event.at)
            return
        call.open = False
        waited = self._release(_key(event), Reason.ANSWERED_BEFORE_MORNING, event.at)
        who = event.who.casefold()
        others = [
            person
            for person in self.house.people.values()
            if person.id in call.told and who not in (person.id.casefold(), person.name.casefold())
        ]
        if len(call.told) > 1 or set(waited) & {person.id for person in others}:
            self._all(event, Reason.ANSWERED, others)
        else:
            self._decide(event.number, "", Reason.BY_A_PERSON, event.at)

    # -- order and quiet hours -----------------------------------------------------------------------------

    def _step(self, call: Call, at: Moment) -> None:
        """Call the next of the order: the first, the second, then all the rest."""
        order = [person for person in self._order(call.priority) if person.id not in call.round]
        if order:
            reasons = (Reason.WORSE if call.stage is Stage.WORSE else Reason.FIRST, Reason.NEXT_PERSON, Reason.ALL)
            people = order if call.step >= 2 else order[:1]
            reason = reasons[min(call.step, 2)]
            call.step, call.stepped = call.step + 1, at
            self._call(call, people, reason, at)
            self._plan(call, at)

    def _call(self, call: Call, people: list[Person], reason: Reason, at: Moment) -> None:
        body = call.body + (self._unanswered(call, at) if reason in (Reason.NEXT_PERSON, Reason.ALL) else "")
        for person in people:
            notice = Notice(
                event=call.event, person=person.id, stage=call.stage, priority=call.priority, title=call.title,
                body=body, made=at, routes=person.routes, subject=call.subject, kind=call.kind,
            )  # fmt: skip
            self._send(notice, person, reason, at)
            call.round[person.id] = at
            if person.id not in call.told:
                call.told.append(person.id)

    def _unanswered(self, call: Call, at: Moment) -> str:
        """Say who was told before and when, and who sleeps."""
        waits = {held.notice.person: held.until for held in self.calls.held.get(f"{call.subject} {call.kind}", ())}
        before = {who: told for who, told in call.round.items() if told != at and who in self.house.people}
        times: dict[str, list[str]] = {}
        said = []
        for who, told in before.items():
            name = self.house.people[who].name
            if who in waits:
                said.append(f"{name} is told {self._clock(waits[who], at)}, after the quiet hours.")
            else:
                times.setdefault(self._clock(told.wall, at), []).append(name)
        lines = [
            f"{listed(names)} {'was' if len(names) == 1 else 'were'} told {when} and "
            f"{'has' if len(names) == 1 else 'have'} not answered."
            for when, names in times.items()
        ]
        return "\n\n" + " ".join(lines + said) if lines or said else ""

    def _clock(self, wall: int, now: Moment) -> str:
        return at_time(clock(wall, now.wall, self.house.zone))

    def _all(self, event: Event, reason: Reason, people: list[Person], more: str = "") -> None:
        """Tell people of an event that nobody needs to answer."""
        title, body = word(event, self.house)
        for person in people:
            notice = Notice(
                event=event.number, person=person.id, stage=STAGES[reason], priority=event.priority, title=title,
                body=body + more, made=event.at, routes=person.routes, subject=event.subject, kind=event.kind,
            )  # fmt: skip
            self._send(notice, person, reason, event.at)

    def _send(self, notice: Notice, person: Person, reason: Reason, at: Moment) -> None:
        """Send now, or keep for the end of the person's quiet hours."""
        if not person.routes:
            self._decide(notice.event, person.id, Reason.NO_ROUTE, at)
            return
        key = f"{notice.subject} {notice.kind}"
        if reason is not Reason.NOTE:  # a newer one takes the place of what waits: it says how it stands
            self._release(key, Reason.REPLACED, at, person.id)
        until = quiet_until(person.quiet, self.house.zone, at.wall) if notice.priority < Priority.HIGH else None
        if until is None:
            self._out.notices.append(notice)
            self._decide(notice.event, person.id, reason, at)
            return
        self.calls.held.setdefault(key, []).append(Held(notice, until))
        self._push(key, person.id, until, at)
        self._decide(notice.event, person.id, Reason.WAITS_FOR_MORNING, at, until)

    def _release(self, key: str, reason: Reason, at: Moment, person: str = "") -> list[str]:
        """Drop what waits for the morning about one alarm, for one person or all; return whose it was."""
        waiting = self.calls.held.pop(key, [])
        kept = [held for held in waiting if person and held.notice.person != person]
        if kept:
            self.calls.held[key] = kept
        gone = [held.notice for held in waiting if held not in kept]
        for notice in gone:
            self._decide(notice.event, notice.person, reason, at)
        return [notice.person for notice in gone]

    # -- time ----------------------------------------------------------------------------------------------

    def next_wake(self, now: Moment) -> int | None:
        """Return the steady time (ms) at which somebody is due, None if nobody is."""
        self._fit(now)
        while self._dues and not self._holds(self._dues[0]):
            heapq.heappop(self._dues)
        return self._dues[0][0] if self._dues else None

    def due(self, now: Moment) -> Told:
        """Return what is due by now: the next of an order, and what waited for the end of the quiet hours."""
        self._out = Told()
        self._pass(now)
        return self._out

    def _pass(self, now: Moment) -> None:
        while (wake := self.next_wake(now)) is not None and wake <= now.steady:
            steady, key, person, until = heapq.heappop(self._dues)
            if not person:
                self._step(self.calls.calls[key], now.later(steady - now.steady))
            elif now.wall < until <= now.wall + LONGEST_QUIET:
                self._push(key, person, until, now)  # the wall clock is a hair behind
            else:
                self._wake_up(key, person, until, now)

    def _wake_up(self, key: str, person: str, until: int, now: Moment) -> None:
        """Tell a person what waited for the end of the quiet hours."""
        back = min(0, until - now.wall)
        at = now.later(back) if until <= now.wall and now.steady + back >= 0 else now
        waiting = self.calls.held.pop(key)
        ready = [held.notice for held in waiting if (held.notice.person, held.until) == (person, until)]
        kept = [held for held in waiting if held.notice not in ready]
        if kept:
            self.calls.held[key] = kept
        routes = self.house.people[person].routes if person in self.house.people else ()
        for notice in ready:
            if not routes:
                self._decide(notice.event, person, Reason.NO_ROUTE, at)
                continue
            written = f"(Written {self._clock(notice.made.wall, at)}; it waited for the end of your quiet hours.)"
            body = f"{written}\n\n{notice.body}"
            self._out.notices.append(replace(notice, made=at, body=body, routes=routes))
            self._decide(notice.event, person, Reason.MORNING, at)

    def _fit(self, now: Moment) -> None:
        """Make the heap anew where house, calls, boot or the wall clock are others than it was made for."""
        basis, offset = self._basis, now.wall - now.steady
        if (
            basis is not None
            and (basis[0] is self.calls and basis[1] is self.house)
            and (basis[2] == now.boot and abs(basis[3] - offset) <= SLEW)
        ):
            return
        self._basis, self._dues = (self.calls, self.house, now.boot, offset), []
        for call in self.calls.calls.values():
            if call.stepped.boot != now.boot:
                call.stepped = now  # steady times of two boots cannot be compared: the wait begins anew
            self._plan(call, now)
        for key, waiting in self.calls.held.items():
            for held in waiting:
                self._push(key, held.notice.person, held.until, now)

    def _plan(self, call: Call, now: Moment) -> None:
        if call.open and call.stepped.boot == now.boot and not self._exhausted(call):
            due = call.stepped.steady + self.house.telling.next_after
            heapq.heappush(self._dues, (due, f"{call.subject} {call.kind}", "", 0))

    def _push(self, key: str, person: str, until: int, now: Moment) -> None:
        wait = until - now.wall if until - now.wall <= LONGEST_QUIET else 0
        heapq.heappush(self._dues, (now.steady + wait, key, person, until))

    def _holds(self, due: Due) -> bool:
        """Return whether what was planned still is to be done."""
        steady, key, person, until = due
        if person:
            waiting = self.calls.held.get(key, ())
            return any((held.notice.person, held.until) == (person, until) for held in waiting)
        call = self.calls.calls.get(key)
        if call is None or not call.open or call.stepped.steady + self.house.telling.next_after != steady:
            return False
        return not self._exhausted(call)

    def _exhausted(self, call: Call) -> bool:
        return all(person.id in call.round for person in self._order(call.priority))

    def forget(self, subject: str, kind: str) -> None:
        """Forget an alarm whose subject left the settings."""
        for known in (self.calls.calls, self.calls.held, self.calls.often):
            known.pop(f"{subject} {kind}", None)

    # -- decisions -----------------------------------------------------------------------------------------

    def _order(self, priority: Priority) -> list[Person]:
        return [p for p in self.house.people.values() if p.routes and priority >= p.told_from]

    def _unwanted(self, event: Event) -> None:
        """Say of those who are not in the order why not."""
        if not self.house.people:
            self._decide(event.number, "", Reason.NO_ROUTE, event.at)
        for person in self.house.people.values():
            if not person.routes:
                self._decide(event.number, person.id, Reason.NO_ROUTE, event.at)
            elif event.priority < person.told_from:
                self._decide(event.number, person.id, Reason.NOT_WANTED, event.at)

    def _decide(self, event: int, person: str, reason: Reason, at: Moment, until: int | None = None) -> None:
        self._out.decisions.append(Decision(event, person, reason.name, at, until))


def _key(event: Event) -> str:
    return f"{event.subject} {event.kind}"
