"""A planned test switch-off: somebody switches a freezer off for some hours, so that the gateway learns how it warms.

The alarms that follow from it are held, up to HighHigh, which never is. The test ends by itself, early where the air
becomes too warm or is not heard any more, and then somebody is told to switch the freezer on again. Until it is seen to
cool the held alarms stay held, for 20 minutes at most; a freezer that does not cool by then is an urgent alarm.
"""

from collections.abc import Iterable

from gatewayd.alarm.engine import Alarm
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import HIGH, LID_OPEN, MAINS_OUT, NOT_COOLING, RISING, UNWATCHED, WARM_LONG, Kind
from gatewayd.alarm.mains import CHILDREN
from gatewayd.message.words import clock, name
from gatewayd.model.effect import Answer
from gatewayd.model.event import Fact
from gatewayd.model.given import Order
from gatewayd.model.moment import HOUR, MINUTE, Moment, between
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Quantity
from gatewayd.watch.hindrance import shut, warming
from gatewayd.watch.thermal import Thermal
from gatewayd.watch.trial import SwitchOff

BEGIN = "test switch-off"
NOTE = "test-off"  # the kind of its lines in the log
LASTS = 3 * HOUR  # method: a switch-off of 3 h halves the error of the forecast, measured on simulated freezers
# The air is some K warmer than the food then, whose warmest layer lies at about -13 °C after so short a time (simulated
# freezers): no food comes to harm. The keeper's own HighHigh is kept clear of by 2 K, so that it is never passed.
TOO_WARM = -9.0
BELOW_HIGHHIGH = 2.0
ROOM_TO_WARM = 4.0  # K below that at the begin, or there is nothing to learn from
BLIND = 30 * MINUTE  # a freezer that is switched off and not heard for so long is not left alone; our choice
GRACE = 20 * MINUTE  # a compressor that is switched on cools its air within minutes; one that just ran waits up to 10
AGAIN = 5 * MINUTE  # how often one that was not warm at the end is looked at until it is seen to cool
FELL = 0.5  # K below the warmest since: more than noise of a probe, as for any turn of the air
HELD = (HIGH, RISING, LID_OPEN, WARM_LONG)


class SwitchingOff(Thermal):
    """Carry out planned test switch-offs."""

    def _test_order(self, given: Order, now: Moment) -> Answer:
        freezer = self.house.freezers.get(given.subject)
        if freezer is None:
            known = ", ".join(self.house.freezers) or "none"
            return Answer(done=False, text=f"There is no freezer {given.subject!r}; there are: {known}.", key=given.key)
        done, text = (self._begin_test if given.verb == BEGIN else self._end_test)(given, now)
        return Answer(done=done, text=text, key=given.key)

    def _begin_test(self, given: Order, now: Moment) -> tuple[bool, str]:
        who, called = given.subject, name(given.subject, self.house)
        stands = None if who in self.tests or who in self.defrosts else warming(self, who)
        if stands is not None:
            return False, f"{shut(stands, self, now)} Nothing changed."
        problem = self._unfit(who, now)
        if problem:
            return False, f"{called} is left on: {problem}. Nothing changed."
        test = self.tests[who] = SwitchOff(given.who, now, now.later(LASTS))
        picture = self.pictures.get(who)
        if picture is not None:
            picture.kept.test_from, picture.kept.test_until = now.steady // MINUTE, None
        self._hold_alarms(who, now)
        self._arm(min(test.until.steady, self.judges[who].good_at + BLIND), "switchoff", who)
        until = clock(test.until.wall, now.wall, self.house.zone)
        self._note_test(who, "begun", now, {"until": test.until.wall})
        return True, (
            f"Switch {called} off now, at its plug or its own switch, and leave the lid shut. The test ends at "
            f"{until}; you are told to switch it on again, earlier if the air becomes warmer than "
            f"{self.house.units.show(self._too_warm(self.judges[who]))}. "
            f"To end it yourself: gatewayd freezer test-off {who} --end"
        )

    def _unfit(self, who: str, now: Moment) -> str:
        """Say why a test cannot begin now, nothing if it can."""
        found = self.judges[who]
        if who in self.tests:
            return self._under_test(self.tests[who], now)
        if who in self.defrosts:
            return "it is being defrosted"
        other = next(iter(self.tests), None)
        if other is not None:
            return f"{name(other, self.house)} is being tested, and one at a time is enough"
        if found.value is None or not found.since_start or now.steady - found.good_at > BLIND:
            return "its thermometer is not heard"
        kinds = (*HELD, UNWATCHED)
        standing = next((kind for kind in kinds if self.alarms.standing(who, kind)), None)
        out = self._mains_out(who) or any(self.alarms.get(who, kind).suppressed for kind in kinds)
        if out or standing is not None or found.high.began is not None or found.highhigh.active:
            return "it is not in order now, and a test would hide that"
        limit = self._too_warm(found) - ROOM_TO_WARM
        if found.value > limit:
            show = self.house.units.show
            return f"its air is at {show(found.value)}, and a test begins at {show(limit)} or colder"
        return ""

    def _under_test(self, test: SwitchOff, now: Moment) -> str:
        """Say how far a test is that stands in the way of another."""
        if test.ended is None:
            return f"it is being tested already, until {clock(test.until.wall, now.wall, self.house.zone)}"
        again = test.ended.wall + GRACE
        text = "its last test is still being watched until it cools"
        return f"{text}; try again after {clock(again, now.wall, self.house.zone)}" if again > now.wall else text

    def _too_warm(self, found: Judge) -> float:
        """Return the air temperature (°C) at which a test of this freezer ends."""
        return min(TOO_WARM, found.freezer.limits.highhigh - BELOW_HIGHHIGH)

    def _end_test(self, given: Order, now: Moment) -> tuple[bool, str]:
        test, called = self.tests.get(given.subject), name(given.subject, self.house)
        if test is None:
            return False, f"{called} is not being tested; nothing changed."
        if test.ended is not None:
            return False, f"The test of {called} is over already, and watched until it cools; nothing changed."
        self._close_test(given.subject, test, now, "ended", Priority.LOW, given.who)
        return True, (
            f"The test of {called} is over. If it is still off, switch it on now; you are told if it does not cool "
            f"within {GRACE // MINUTE} minutes."
        )

    # -- while it runs -------------------------------------------------------------------------------------

    def _test_air(self, found: Judge, now: Moment) -> None:
        """Take a good reading of a freezer that is tested: it may be too warm, or cool again."""
        test, value = self.tests.get(found.freezer.id), found.value
        if test is None or value is None:
            return
        if test.ended is None:
            if value > self._too_warm(found):
                self._close_test(found.freezer.id, test, now, "too-warm", Priority.HIGH)
            return
        if test.peak is None or value > test.peak:
            test.peak = value
        elif value <= test.peak - FELL:
            self._cools_again(found, test, now)

    def _switchoff_due(self, who: str, at: Moment) -> None:
        """End a test whose time is over, or look whether the freezer cools after it."""
        test, found = self.tests.get(who), self.judges.get(who)
        if test is None or found is None:
            return
        if test.ended is None:
            blind = found.good_at + BLIND
            if test.until.steady <= at.steady or blind <= at.steady:
                self._close_test(who, test, at, "switch-on", Priority.HIGH)
            else:
                self._arm(min(test.until.steady, blind), "switchoff", who)
        elif at.steady - test.ended.steady >= GRACE and not self.alarms.standing(who, NOT_COOLING):
            self._does_not_cool(found, test, at)

    def _close_test(self, who: str, test: SwitchOff, at: Moment, stage: str, priority: Priority, by: str = "") -> None:
        test.ended, test.peak = at, None
        picture = self.pictures.get(who)
        if picture is not None:
            picture.kept.test_until = at.steady // MINUTE
        facts: dict[str, Fact] = {"value": self.judges[who].value, "until": test.until.wall}
        facts["lasted"] = between(test.began, at)
        self._note_test(who, stage, at, facts, priority, by)
        self._arm(at.steady + GRACE, "switchoff", who)

    def _cools_again(self, found: Judge, test: SwitchOff, now: Moment) -> None:
        who = found.freezer.id
        del self.tests[who]
        alarm = self.alarms.get(who, NOT_COOLING)
        over: dict[str, Fact] = {"value": found.value, "lasted": between(test.ended or now, now)}
        self.alarms.clear(alarm, now, over)
        self.alarms.clear(self.alarms.get(who, RISING), now, over)  # which would take minutes more to see it
        self._let_go(who, now, HELD)

    def _does_not_cool(self, found: Judge, test: SwitchOff, at: Moment) -> None:
        who, ended = found.freezer.id, test.ended or at
        if self._as_always(found, at):  # it was never warm enough to have to cool: an ordinary rest, perhaps
            test.held = False
            self._let_go(who, at, HELD)
            self._arm(at.steady + AGAIN, "switchoff", who)
            return
        test.held = False
        facts: dict[str, Fact] = {
            "value": found.value,
            "since": ended.wall,
            "lasted": at.steady - ended.steady,
            "speed": found.trend.speed(),
        }
        self.alarms.raise_(self.alarms.get(who, NOT_COOLING), at, ended, facts)
        self._let_go(who, at, [kind for kind in HELD if kind is not RISING])  # that says the same

    def _as_always(self, found: Judge, at: Moment) -> bool:
        """Return whether the air is heard, and no warmer than in the freezer's ordinary running."""
        ceiling = found.signs.rising.ceiling()
        heard = at.steady - found.good_at <= GRACE and found.value is not None
        return heard and ceiling is not None and found.value is not None and found.value <= ceiling + FELL

    def _note_test(
        self, who: str, stage: str, at: Moment, facts: dict[str, Fact], priority: Priority = Priority.LOW, by: str = ""
    ) -> None:
        test = self.tests[who]
        self.alarms.note(who, NOTE, at, {"stage": stage, "who": by or test.who, **facts}, priority)

    def _carry_tests(self, now: Moment) -> None:
        """Fit the tests to this boot; one of which it is not known how long it has run ends now."""
        for who, test in list(self.tests.items()):
            if test.ended is not None and test.ended.boot != now.boot:
                test.ended, test.peak = now, None
                self._arm(now.steady + GRACE, "switchoff", who)
            elif test.ended is None and test.until.boot != now.boot:
                left = test.until.wall - now.wall
                if self.trusted and 0 < left <= LASTS:
                    test.until = now.later(left)
                    self._arm(test.until.steady, "switchoff", who)
                else:
                    self._close_test(who, test, now, "switch-on", Priority.HIGH)

    # -- holding alarms ------------------------------------------------------------------------------------

    def _holds(self, who: str, test: SwitchOff) -> list[Alarm]:
        """Return the alarms that a test holds; after it, those that the alarm of its end speaks for."""
        held = [self.alarms.get(who, kind) for kind in (HELD if test.held else (RISING,))]
        if test.held:
            mains = (Quantity.MAINS, Quantity.POWER)
            others = self.house.freezers[who].others
            plugs = [s for s in others if s in self.house.sensors and self.house.sensors[s].measures in mains]
            held += [self.alarms.get(plug, MAINS_OUT) for plug in plugs]
        return held

    def _hold_alarms(self, who: str, now: Moment) -> None:
        """Hold what follows from the test; what cleared meanwhile is held again."""
        for alarm in self._holds(who, self.tests[who]):
            if not alarm.suppressed:
                self.alarms.suppress(alarm, now, who)

    def _let_go(self, who: str, now: Moment, kinds: Iterable[Kind]) -> None:
        """Show the held alarms again, or leave them to an outage that stands."""
        parent = next(
            (
                a.subject
                for a in self.alarms.all.values()
                if a.kind == MAINS_OUT.name
                and a.standing
                and not a.hidden
                and who in str(a.facts.get("covers")).split(",")
            ),
            None,
        )
        plugs = [a for a in self.alarms.all.values() if a.kind == MAINS_OUT.name]
        for alarm in [*(self.alarms.get(who, kind) for kind in kinds), *plugs]:
            if not alarm.suppressed or alarm.suppressed_by != who:
                continue
            if parent is not None and alarm.kind in _CHILDREN:
                self.alarms.suppress(alarm, now, parent)
            else:
                self.alarms.unsuppress(alarm, now)


_CHILDREN = frozenset(kind.name for kind in CHILDREN)
