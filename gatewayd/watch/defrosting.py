"""A defrost that people carry out: its alarms are held, its food is timed, and somebody must see that it cools again.

All alarms of the freezer's warmth are held, HighHigh too, since the food is outside. The quiet has an end of its own,
whatever anybody does or forgets: the planned time and an hour, and never more than four hours. A freezer that does not
cool 20 minutes after it should be on again is an urgent alarm. The defrost ends by itself when the freezer is cold.
"""

from dataclasses import replace

from gatewayd.alarm.engine import HOUSE, Alarm
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import (
    CHATTERING,
    HIGH,
    HIGHHIGH,
    LID_OPEN,
    MAINS_OUT,
    NOT_COOLING,
    RISING,
    TOO_COLD,
    WARM_LONG,
)
from gatewayd.message.words import clock, listed, name
from gatewayd.model.chore import Chore, Kind
from gatewayd.model.effect import Answer
from gatewayd.model.event import Fact
from gatewayd.model.given import Order, Recalled
from gatewayd.model.moment import HOUR, MINUTE, Moment, between
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Quantity
from gatewayd.model.units import show_span
from gatewayd.upkeep.defrost import FOOD_BACK, FOOD_OUT, KEYS, STEPS, SWITCHED_ON, UNTOUCHED, next_step, told_step
from gatewayd.watch.hindrance import ANYWAY, hindrance
from gatewayd.watch.session import Session, unclear
from gatewayd.watch.switchoff import GRACE, SwitchingOff

BEGIN_DEFROST, STEP_DEFROST, END_DEFROST = "begin defrost", "defrost step", "end defrost"
DEFROST_NOTE = "defrost"  # the kind of its lines in the log
# It is to be finished in 1 to 2 h (So Easy to Preserve, University of Georgia); who knows better says so.
PLANNED = 90 * MINUTE
PLANNED_LEAST, PLANNED_MOST = 15 * MINUTE, 3 * HOUR  # our choice: nothing thaws in less; the food waits 2 h at most
# Quiet after the planned end: an emptied freezer needs about an hour to be cold again. Never longer than the job's 2 h
# and as long again: what is wrong then has to be told. Our choice.
MARGIN, QUIET_MOST = HOUR, 4 * HOUR
CANCEL = "cancel"  # the step that ends it, and nothing is counted
FOOD_SOON, FOOD_NOW = 105 * MINUTE, 2 * HOUR  # out for 2 h at most (University of Missouri Extension); a word before
MELTS = 0.0  # °C; where the air was never above it no ice went
AS_BEFORE = 2.0  # K above the air at the begin: as cold as it was, within the swing of its cycles. Our choice
# A lid that is shut alone makes the air fall by some K within minutes, and then by 0.4 K at most from the 12th to the
# 20th; with the compressor it falls by 1.9 K and more: measured on a simulated chest of 300 L, 20 to 90 min open.
SETTLES = 12 * MINUTE
COOLS = 0.8  # K
FALLING = 0.3  # K an hour; faster than a probe's step shows, as for any trend
OF_DEFROST = (HIGH, HIGHHIGH, RISING, LID_OPEN, WARM_LONG, TOO_COLD, CHATTERING)
UNHEARD = "Its thermometer is not heard: nobody here sees whether it cools again. Set a timer of your own."
_STANDS = (HIGH, HIGHHIGH, RISING, LID_OPEN)  # while one of these stands it is not over


class Defrosting(SwitchingOff):
    """Carry out defrosts."""

    def _defrost_order(self, given: Order, now: Moment) -> Answer:
        who = given.subject
        if not who and given.verb != BEGIN_DEFROST and len(self.defrosts) == 1:
            who = next(iter(self.defrosts))  # it is clear which one is meant
            given = replace(given, subject=who)
        if who not in self.house.freezers:
            text = unclear(who, list(self.house.freezers), list(self.defrosts), begins=given.verb == BEGIN_DEFROST)
            return Answer(done=False, text=text, key=given.key)
        session = self.defrosts.get(who)
        if given.verb == BEGIN_DEFROST:
            done, text = self._begin_defrost(given, session, now)
        elif session is None:
            done, text = self._not_defrosted(given, now)
        elif session.ended is not None:
            text = (
                f"The defrost of {name(who, self.house)} is finished; only waiting until it is cold. Nothing changed."
            )
            done = False
        elif given.verb == STEP_DEFROST and given.why.strip() == CANCEL:
            done, text = self._cancel_defrost(given, session, now)
        elif given.verb == STEP_DEFROST:
            done, text = self._step_defrost(given, session, now)
        else:
            done, text = self._end_defrost(given, session, now)
        return Answer(done=done, text=text, key=given.key)

    def _begin_defrost(self, given: Order, session: Session | None, now: Moment) -> tuple[bool, str]:
        """Begin a defrost; give one that runs another planned end."""
        who, called, span = given.subject, name(given.subject, self.house), given.span or PLANNED
        if not PLANNED_LEAST <= span <= PLANNED_MOST:
            allowed = f"{show_span(PLANNED_LEAST)} to {show_span(PLANNED_MOST)}"
            return False, f"A defrost is planned for {allowed}, and not for {show_span(span)}. Nothing changed."
        if who in self.tests:
            return False, (
                f"{called} is in a test switch-off. End that first. The command: gatewayd freezer test-off {who} --end"
            )
        if session is not None and (session.ended is not None or not session.held):
            return False, f"The defrost of {called} is not over yet: it is not cold again. Nothing changed."
        anyway = given.why.strip() == ANYWAY
        if session is None and not anyway and (problem := hindrance(self, who, now)):
            return False, problem
        if session is None:
            value = self.judges[who].value
            session = Session(given.who, now, now, now, before=value)
            self.defrosts[who] = session
        left = QUIET_MOST - between(session.began, now)
        session.until = now.later(min(span, max(0, left)))
        session.limit = now.later(max(0, min(span + MARGIN, left)))
        session.asked, session.falls, session.settled = None, False, False
        self._hold_for_defrost(who, now)
        self._arm_defrost(who)
        said: dict[str, Fact] = {"span": span, "step": ANYWAY if anyway else None}  # so it is played again as it was
        self._note_defrost(who, session, "begun", now, said, by=given.who)
        return True, self._begun(who, session, now)

    def _not_defrosted(self, given: Order, now: Moment) -> tuple[bool, str]:
        """Answer where none runs: it may have ended by itself, and then the ice is still worth a line."""
        who, called, ice = given.subject, name(given.subject, self.house), given.why.strip()
        if given.verb == END_DEFROST and ice:
            facts: dict[str, Fact] = {"note": f"ice removed: {ice}"}
            self._out.chores.append(Chore(0, who, Kind.NOTE, now.wall, given.who, facts))
            return True, f"{called} is not being defrosted any more. The ice is written down."
        return False, f"{called} is not being defrosted, or it is cold again and that ended it. Nothing changed."

    def _begun(self, who: str, session: Session, now: Moment) -> str:
        text = (
            f"{name(who, self.house)} is being defrosted, planned until {self._hour(session.until, now)}. Its alarms "
            f"are held until it is cold again, until {self._hour(session.limit, now)} at the latest. You are told when "
            f"the food must go back, and if it does not cool in the end.\n\n{told_step(STEPS[0])}"
        )
        if not self._seen(who, now):
            text += f"\n\n{UNHEARD}"
        return text

    def _step_defrost(self, given: Order, session: Session, now: Moment) -> tuple[bool, str]:
        key, who = given.why.strip(), given.subject
        following = next_step(session.steps)
        if not key and following is not None:
            key = following.key
        if key not in KEYS:
            return False, f"There is no step {key!r}; there are, in order: {listed(list(KEYS))}. Nothing changed."
        session.steps[key] = now.wall
        if key == FOOD_OUT:
            session.out, session.told = now, 0
        elif key == FOOD_BACK:
            session.back = now
        elif key == SWITCHED_ON:
            self._ask(session, now)
        self._arm_defrost(who)
        self._note_defrost(who, session, "step", now, {"step": key}, by=given.who)
        following = next_step(session.steps)  # a step left out is taken as done
        if following is None:
            return True, f"That was the last step. Say that it is done. The command: gatewayd defrost finish {who}"
        return True, told_step(following)

    def _end_defrost(self, given: Order, session: Session, now: Moment) -> tuple[bool, str]:
        who, called = given.subject, name(given.subject, self.house)
        if not session.steps and between(session.began, now) < UNTOUCHED:
            done, text = self._cancel_defrost(given, session, now)
            return done, f"No step was done and it began only just now, so that counts as cancelled. {text}"
        session.ended, session.ended_by, session.ice = now, given.who, given.why.strip()
        session.back = session.back or now
        session.steps.setdefault(SWITCHED_ON, now.wall)
        self._note_defrost(who, session, "ended", now, {"ice": session.ice}, by=given.who)
        if not session.held or not self.judges[who].freezer.sensors or self._cold(self.judges[who], session):
            self._close_defrost(who, session, now)
            return True, f"The defrost of {called} is over and written down. See that it runs."
        self._ask(session, now)
        self._arm_defrost(who)
        return True, (
            f"Well done. See that {called} is switched on and runs. You are told if it does not cool within "
            f"{GRACE // MINUTE} minutes; its alarms are held until it is cold, until "
            f"{self._hour(session.limit, now)} at the latest."
        )

    def _cancel_defrost(self, given: Order, session: Session, now: Moment) -> tuple[bool, str]:
        """End a defrost that came to nothing: alarms count again, and none is written down."""
        who = given.subject
        self._note_defrost(who, session, "step", now, {"step": CANCEL}, by=given.who)
        self._close_defrost(who, session, now, counts=False)
        return True, (
            f"The defrost of {name(who, self.house)} is cancelled: none is written down, and its alarms count again "
            "from now on. See that it is switched on and shut, and that its food is in."
        )

    def _hour(self, moment: Moment, now: Moment) -> str:
        return clock(moment.wall, now.wall, self.house.zone)

    def _seen(self, who: str, now: Moment) -> bool:
        found = self.judges[who]
        return found.value is not None and found.since_start > 0 and now.steady - found.good_at <= GRACE

    # -- while it runs -------------------------------------------------------------------------------------

    def _take_air(self, found: Judge, now: Moment) -> None:
        """Let nothing be learnt of a freezer that stands open and empty."""
        session = self.defrosts.get(found.freezer.id)
        if session is None:
            super()._take_air(found, now)
        else:
            self._defrost_air(found, session, now)

    def _recalled(self, given: Recalled, now: Moment) -> None:
        """Leave out of the stored past what was heard while a freezer was being defrosted."""
        spells = self.thawed | {who: (session.began.wall, now.wall) for who, session in self.defrosts.items()}
        readings = dict(given.readings)
        for who, (first, last) in spells.items():
            for sensor in self.house.freezers[who].sensors:
                past = readings.get(sensor, ())
                readings[sensor] = [(wall, value) for wall, value in past if not first <= wall <= last]
        super()._recalled(Recalled(readings), now)

    def _meaning(self, alarm: Alarm, at: Moment) -> dict[str, Fact]:
        """Add nothing to what is said of a freezer that is being defrosted: its food is elsewhere."""
        return {} if alarm.subject in self.defrosts else super()._meaning(alarm, at)

    def _defrost_air(self, found: Judge, session: Session, now: Moment) -> None:
        value, who = found.value, found.freezer.id
        if value is None:
            return
        session.warmest = value if session.warmest is None else max(session.warmest, value)
        if session.asked is not None and not session.settled:
            session.settled = between(session.asked, now) >= SETTLES
        if not session.settled or session.top is None or value > session.top:
            session.top = value
        elif session.asked is not None and value <= session.top - COOLS:
            session.falls = True
            self.alarms.clear(
                self.alarms.get(who, NOT_COOLING),
                now,
                {"value": value, "lasted": between(session.asked, now), "after": DEFROST_NOTE},
            )
        may_end = session.ended is not None or session.asked is not None or session.warmest > MELTS
        if may_end and self._cold(found, session):
            self._close_defrost(who, session, now)

    def _cold(self, found: Judge, session: Session) -> bool:
        """Return whether it is cold again: as cold as before, or below its limit and falling, and no alarm stands."""
        if found.value is None or any(self.alarms.standing(found.freezer.id, kind) for kind in _STANDS):
            return False
        if session.before is not None and found.value <= session.before + AS_BEFORE:
            return True
        speed = found.trend.speed()
        return found.value < found.freezer.limits.high and speed is not None and speed <= -FALLING

    def _ask(self, session: Session, now: Moment) -> None:
        """From now on it has to cool."""
        session.asked, session.top, session.falls, session.settled = now, None, False, False

    def _defrost_due(self, who: str, at: Moment) -> None:
        """Do what is due of one defrost: words about the food, its planned end, whether it cools, the end of quiet."""
        session, found = self.defrosts.get(who), self.judges.get(who)
        if session is None or found is None:
            return
        self._food_due(who, session, at)
        if session.asked is None and session.until.steady <= at.steady:
            self._ask(session, at)
            if session.ended is None:
                facts: dict[str, Fact] = {"value": found.value, "until": session.until.wall}
                self._note_defrost(who, session, "over", at, facts, Priority.MEDIUM)
        if session.asked is not None and self._cools_from(session) <= at.steady:
            self._look_whether_it_cools(who, session, found, at)
        if session.held and session.limit.steady <= at.steady:
            session.held = False
            self._let_go(who, at, OF_DEFROST)
        if session.held or found.freezer.sensors:
            self._arm_defrost(who)
        else:
            self._close_defrost(who, session, at)  # nobody can see when it is cold

    def _food_due(self, who: str, session: Session, at: Moment) -> None:
        if session.back is not None or session.ended is not None or session.told >= 2:
            return
        since = session.out or session.began
        lasted = at.steady - since.steady
        facts: dict[str, Fact] = {"lasted": lasted, "since": since.wall}
        if lasted >= FOOD_NOW:
            session.told = 2
            self._note_defrost(who, session, "food-now", at, facts, Priority.HIGH)
        elif lasted >= FOOD_SOON and session.told < 1:
            session.told = 1
            self._note_defrost(who, session, "food-soon", at, facts, Priority.MEDIUM)

    def _cools_from(self, session: Session) -> int:
        """Return when it must have been seen to cool (steady ms); a watch that has just started looks first."""
        asked = session.asked.steady if session.asked is not None else self._now.steady
        return max(asked, self.since.steady) + GRACE

    def _look_whether_it_cools(self, who: str, session: Session, found: Judge, at: Moment) -> None:
        if not found.freezer.sensors:
            session.asked = at
            return
        asked = session.asked or at
        if session.falls or (self._seen(who, at) and self._cold(found, session)):
            session.asked, session.top, session.falls = at, None, False  # well so far; looked at again until it is cold
            return
        facts: dict[str, Fact] = {
            "value": found.value,
            "since": asked.wall,
            "lasted": between(asked, at),
            "after": DEFROST_NOTE,
        }
        self.alarms.raise_(self.alarms.get(who, NOT_COOLING), at, asked, facts)
        session.asked = at

    def _arm_defrost(self, who: str) -> None:
        """Arm the next of its deadlines."""
        session = self.defrosts[who]
        dues = [session.limit.steady] if session.held else []
        if session.back is None and session.ended is None and session.told < 2:
            since = session.out or session.began
            dues.append(since.steady + (FOOD_NOW if session.told else FOOD_SOON))
        dues.append(session.until.steady if session.asked is None else self._cools_from(session))
        self._arm(min(dues), "defrost", who)

    def _close_defrost(self, who: str, session: Session, at: Moment, *, counts: bool = True) -> None:
        """End it: alarms count as always again, and what was done is written down if it `counts`."""
        value = self.judges[who].value
        lasted = between(session.began, session.ended or at)
        facts: dict[str, Fact] = {"value": value, "lasted": lasted, "warmest": session.warmest}
        melted = counts and (session.ended is not None or (session.warmest is not None and session.warmest > MELTS))
        if melted:
            self._out.chores.append(session.chore(who, value, lasted, at))
        told = Priority.MEDIUM if session.back is None and melted else Priority.LOW
        self._note_defrost(who, session, "cold" if melted else "nothing", at, facts, told)
        del self.defrosts[who]
        self.thawed[who] = session.began.wall, at.wall
        alarm = self.alarms.get(who, NOT_COOLING)
        self.alarms.clear(alarm, at, {"value": value, "lasted": between(alarm.began or at, at), "after": DEFROST_NOTE})
        high = self.alarms.get(who, HIGHHIGH)
        if counts and high.latched and high.began is not None and between(session.began, high.began) >= 0:
            why = "its food was out while it was defrosted"
            if self.alarms.unseen(high):
                self.alarms.acknowledge(high, at, HOUSE, why)
            self.alarms.reset(high, at, HOUSE, why)
        self._let_go(who, at, OF_DEFROST)

    def _note_defrost(
        self,
        who: str,
        session: Session,
        stage: str,
        at: Moment,
        facts: dict[str, Fact],
        priority: Priority = Priority.LOW,
        by: str = "",
    ) -> None:
        until: dict[str, Fact] = {"until": session.until.wall, "limit": session.limit.wall}
        self.alarms.note(who, DEFROST_NOTE, at, {"stage": stage, "who": by or session.who, **until, **facts}, priority)

    # -- over a restart, and holding -----------------------------------------------------------------------

    def _carry_defrosts(self, now: Moment) -> None:
        """Fit the defrosts to this boot; where it is not known how long one has run, its time is over now."""
        for who, session in list(self.defrosts.items()):
            if session.limit.boot == now.boot:
                continue
            past = session.began.wall <= now.wall
            for field in session.moments():
                moment: Moment | None = getattr(session, field)
                if moment is not None:
                    setattr(session, field, now.later(moment.wall - now.wall) if self.trusted and past else now)
            if session.asked is not None:
                self._ask(session, now)  # nobody looked in between
            if not (self.trusted and past):
                session.out = replace(now, steady=now.steady - FOOD_NOW) if session.back is None else session.out
                session.limit = now.later(GRACE)
            self._arm_defrost(who)

    def _hold_for_defrost(self, who: str, now: Moment) -> None:
        """Hold what follows from a defrost; what cleared meanwhile is held again."""
        if not self.defrosts[who].held:
            return
        mains = (Quantity.MAINS, Quantity.POWER)
        others = self.house.freezers[who].others
        plugs = [s for s in others if s in self.house.sensors and self.house.sensors[s].measures in mains]
        for alarm in [*(self.alarms.get(who, k) for k in OF_DEFROST), *(self.alarms.get(p, MAINS_OUT) for p in plugs)]:
            if not alarm.suppressed:
                self.alarms.suppress(alarm, now, who)
