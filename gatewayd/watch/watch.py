"""The watch: one input and the time in, effects out. Pure and synchronous; it composes the pure steps.

Timers are deadlines in steady time on a lazy heap: `next_wake` says when it next wants a tick, and a tick that comes
early or late changes nothing, since every deadline is judged as of its own moment.
"""

from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from gatewayd.alarm.engine import HOUSE
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import CLOCK_UNSET, KINDS, MAINS_OUT, TEST
from gatewayd.alarm.lid import Lid
from gatewayd.alarm.life import Life
from gatewayd.alarm.neighbour import Pulse
from gatewayd.alarm.source import Link
from gatewayd.alarm.table import LONGEST_SHELF, Shelf
from gatewayd.decode.frame import Opener
from gatewayd.message.teller import Told
from gatewayd.model.chore import Kind as Work
from gatewayd.model.effect import Effects, Restamp
from gatewayd.model.given import (
    Aside,
    Beat,
    Calibrated,
    Chored,
    ClockStep,
    Condition,
    Fitted,
    Given,
    Order,
    Played,
    Recalled,
    Remark,
    Rewired,
    SourceNews,
    Start,
    Stocked,
    Tick,
)
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.reading import Heard, Quantity
from gatewayd.watch.aside import set_aside
from gatewayd.watch.orders import OF_DEFROSTS, OF_TESTS, carry_out
from gatewayd.watch.post import Post, lasted
from gatewayd.watch.restamp import shift
from gatewayd.watch.turns import CLOCK_AFTER, LOOK, Turns

HOST_MAINS = "mains"  # the condition by which the gateway tells of its own supply


class Watch(Turns):
    """Watch one house."""

    def __init__(self, house: House, now: Moment, *, pictured: bool = True) -> None:
        """Begin with nothing known; `restore` adds what a former run knew.

        `pictured` says whether it is to be seen what the temperatures mean: a year is rehearsed sooner without.
        """
        super().__init__(house, now, pictured=pictured)
        self.alarms.present = self._present
        self.alarms.meaning = self._meaning
        self._wire(house, now)

    def step(self, given: Given, now: Moment) -> Effects:
        """Take one input and return what follows."""
        self._out = Effects()
        self._now = now
        # at a start nobody has looked yet: what passed meanwhile is judged once it is known whether it was dark
        if self._heap and self._heap[0][0] <= now.steady and not isinstance(given, Start):
            self._fire(now)
        self._STEPS[type(given)](self, given, now)
        if self.mains.hiding and self._out.events:
            self.mains.suppress(self.alarms, now)  # what cleared is hidden again while the mains is out
        if self.tests and self._out.events:
            for who in self.tests:
                self._hold_alarms(who, now)
        if self.defrosts and self._out.events:
            for who in self.defrosts:
                self._hold_for_defrost(who, now)
        return self._out

    # -- news ----------------------------------------------------------------------------------------------

    def _start(self, given: Start, now: Moment) -> None:
        self.trusted = given.trusted
        self.close_gone(now)
        if given.alive is not None:
            self.trusted = given.trusted and now.wall >= given.alive.wall
            self._go_dark(given.alive, now)
        self.orderly = None
        self.mains.look(now, self.alarms)
        self._carry_over(now)
        self._carry_tests(now)
        self._carry_defrosts(now)
        self._want_past()
        if given.alive is not None and given.alive.boot == now.boot and not self.trusted and self.pictured:
            self._out.recall = True  # of this boot the stamps agree among themselves; the rest waits for a right clock
        self.alarms.note(self.house.id, "start", now, {"text": "gatewayd started watching"})
        self._look_at_clock(now)

    def _carry_over(self, now: Moment) -> None:
        """Fit the timers of alarms to this boot: re-alarms wait anew, shelvings end at their time by the wall clock.

        Where that cannot be known, since the clock is not trusted, a shelving ends now (OPC 10000-9, 5.8.17).
        """
        for alarm in list(self.alarms.all.values()):
            if alarm.again_from is not None and alarm.again_from.boot != now.boot:
                alarm.again_from = now
            until = alarm.shelved_until
            if alarm.shelf is not Shelf.NONE and until is not None and until.boot != now.boot:
                left = until.wall - now.wall
                if self.trusted and 0 < left <= LONGEST_SHELF:
                    alarm.shelved_until = now.later(left)
                else:
                    self.alarms.unshelve(alarm, now, HOUSE, "its time was over after the restart", expired=True)
            self._arm_alarm(alarm)

    def _tick(self, given: Tick, now: Moment) -> None:
        in_the_past = self.dark is not None and now.wall < self.dark.alive.wall
        self.trusted = given.trusted and not in_the_past
        self._look_at_clock(now)
        self._want_past()

    def _want_past(self) -> None:
        """Ask once for the stored past, as soon as it is known when it was: by a clock that is right."""
        if self.trusted and self.pictured and not self.recalled:
            self.recalled = self._out.recall = True

    def _look_at_clock(self, now: Moment) -> None:
        if not self.trusted:
            if self.unset is None:
                self.unset = now
                self._arm(now.steady + CLOCK_AFTER, "clock", "")
        elif self.unset is not None:
            self.unset = None
            alarm = self.alarms.get(self.house.id, CLOCK_UNSET)
            self.alarms.clear(alarm, now, {"lasted": lasted(alarm, now)})

    def _source(self, given: SourceNews, now: Moment) -> None:
        link = self.links.get(given.source)
        if link is None:
            return
        link.news(up=given.up, reason=given.reason, now=now)
        due = link.due(self.alarms)
        if due is not None:
            self._arm(due, "source", given.source)

    def _beat(self, given: Beat, now: Moment) -> None:
        pulse = self.pulses.get(given.neighbour)
        if pulse is not None:
            pulse.beat(now, self.alarms, up=given.up)
            self._arm_pulse(pulse)

    def _clock_step(self, given: ClockStep, now: Moment) -> None:
        """Re-stamp what was certainly stamped wrong; the alarms count on steady time and do not notice."""
        before = now.wall - given.delta
        if not (given.trusted and self.trusted):
            self._out.restamp = Restamp(now.boot, 0, before, given.delta)
        elif given.delta < 0:  # only stamps that now lie in the future are known to be wrong
            self._out.restamp = Restamp(now.boot, now.wall + 1, before, given.delta)
        if self._out.restamp is not None:
            shift(self, self._out.restamp)
        self.alarms.note(self.house.id, "clock", now, {"moved": given.delta})
        self._tell(Told(), now)  # what waits for the morning has another way to go

    def _calibrated(self, given: Calibrated, _now: Moment) -> None:
        if given.sensor in self.posts:
            self.posts[given.sensor].offsets[given.quantity] = given.offset

    def _aside(self, given: Aside, now: Moment) -> None:
        post = self.posts.get(given.sensor)
        if post is not None:
            post.aside = set_aside(post.aside, given, now)
            if post.aside is not None and post.judge is not None:
                post.judge.leave_out(given.sensor, now.steady)

    def _chored(self, given: Chored, now: Moment) -> None:
        self.chored, new = given, given.new
        if new is not None and new.kind is Work.BATTERY and new.subject in self.posts:
            self.posts[new.subject].new_battery(now, self.alarms)

    def _condition(self, given: Condition, now: Moment) -> None:
        if given.kind == HOST_MAINS:
            self.mains.host(not given.on, now)
            self._arm_mains()
            return
        alarm = self.alarms.get(self.house.id, KINDS[given.kind])
        if given.on:
            self.alarms.raise_(alarm, now, now, {"text": given.text})
        else:
            self.alarms.clear(alarm, now, {"text": given.text, "lasted": lasted(alarm, now)})

    def _remark(self, given: Remark, now: Moment) -> None:
        self.alarms.note(given.subject, given.kind, now, {"text": given.text}, given.priority)

    def _order(self, given: Order, now: Moment) -> None:
        if given.verb in OF_TESTS:
            self._out.answer = self._test_order(given, now)
        elif given.verb in OF_DEFROSTS:
            self._out.answer = self._defrost_order(given, now)
        else:
            self._out.answer = carry_out(given, self.alarms, self.house, now)
        test = self.alarms.get(self.house.id, TEST)
        if test.standing and not self.alarms.unseen(test):  # somebody tapped: the test is over
            self.alarms.clear(test, now, {"answered": True})
            self.weeks.missed = False

    # -- wiring --------------------------------------------------------------------------------------------

    def _rewired(self, given: Rewired, now: Moment) -> None:
        self._wire(given.house, now)
        self.close_gone(now)
        self.mains.look(now, self.alarms)
        self.arm_all()

    def _wire(self, house: House, now: Moment) -> None:
        """Fit judges, links and posts to a house; what goes by the same id goes on."""
        self.house, self.alarms.settings, self.teller.house = house, house.version, house
        self.alarms.priorities = {
            (who, kind): priority
            for f in house.freezers.values()
            for kind, priority in f.alarms.items()
            for who in (f.others if kind == MAINS_OUT.name else (f.id,))  # that alarm goes by the sensor in its plug
        }
        self.links = {s: self.links.get(s) or Link(s, now) for s in house.sources}
        judges = {}
        for freezer in house.freezers.values():
            found = self.judges.get(freezer.id) or Judge(freezer, now.steady)
            found.freezer, found.zone = freezer, house.zone
            found.contact = any(house.sensors[s].measures is Quantity.LID for s in freezer.others if s in house.sensors)
            for gone in set(found.warmth) - set(freezer.sensors):
                found.leave_out(gone, now.steady)
            judges[freezer.id] = found
        self.judges = judges
        watched = [f.id for f in house.freezers.values() if f.sensors]
        self.mains.fit(watched, house.sensors)
        self.lids = {f: self.lids.get(f) or Lid(f) for f in judges}
        self.pulses = {n.id: self._pulse(n.id, n.silent_after, now) for n in house.neighbours.values()}
        self.tests = {who: test for who, test in self.tests.items() if who in judges}
        self.defrosts = {who: session for who, session in self.defrosts.items() if who in judges}
        self.thawed = {who: spell for who, spell in self.thawed.items() if who in judges}
        self._man(house, now)
        self._fit_pictures(house)
        self.arm_all()

    def _pulse(self, neighbour: str, silent_after: int, now: Moment) -> Pulse:
        pulse = self.pulses.get(neighbour) or Pulse(neighbour, now, silent_after)
        pulse.silent_after = silent_after
        return pulse

    def _man(self, house: House, now: Moment) -> None:
        """Give each sensor its post."""
        thermometer = {s: self.judges[f.id] for f in house.freezers.values() for s in f.sensors}
        owner = thermometer | {s: self.judges[f.id] for f in house.freezers.values() for s in f.others}
        posts = {}
        for sensor in house.sensors.values():
            post = self.posts.get(sensor.id) or Post(sensor, Life(now.steady), changed=now.steady)
            if (post.sensor.channel, post.sensor.payload) != (sensor.channel, sensor.payload):
                post.counter = None  # another device, or another way to speak: its count is its own
            post.sensor, post.life.told = sensor, sensor.reports_every
            post.measures, post.life.irregular = sensor.measures, post.life.irregular or post.irregular
            post.judge, post.owner = thermometer.get(sensor.id), owner.get(sensor.id)
            posts[sensor.id] = post
        self.posts = posts

    def unlock(self, openers: Mapping[str, Opener], counters: Mapping[str, int]) -> None:
        """Hand in what opens the frames of encrypted sensors, and the last counters that were kept of them."""
        for who, post in self.posts.items():
            post.opener = openers.get(who)
            if post.counter is None:
                post.counter = counters.get(post.counted_as)

    def close_gone(self, now: Moment) -> None:
        """End the alarms of what is no longer in the house, and void their unsent notices."""
        known = {*self.judges, *self.posts, *self.links, *self.pulses, self.house.id}
        for alarm in list(self.alarms.all.values()):
            if alarm.subject not in known:
                if alarm.listed:
                    self._out.dropped.append(alarm.first)
                self.alarms.close(alarm, now, "removed")
                self.teller.forget(alarm.subject, alarm.kind)

    def arm_all(self) -> None:
        """Set every deadline anew from what is known."""
        self._heap, self._ring = [], None
        now = self._now
        for post in self.posts.values():
            self._arm_silent(post)
        for who, found in self.judges.items():
            self._arm(found.good_at + found.freezer.limits.unwatched, "unwatched", who)
            due = self.lids[who].due(found.freezer.limits, self.alarms)
            if due is not None:
                self._arm(due, "lid", who)
        for who in self.pictures:
            self._arm((now.steady // MINUTE + 1) * MINUTE, "picture", who)
        self._arm_work(now)
        for who, link in self.links.items():
            due = link.due(self.alarms)
            if due is not None:
                self._arm(due, "source", who)
        for pulse in self.pulses.values():
            self._arm_pulse(pulse)
        for alarm in self.alarms.all.values():
            self._arm_alarm(alarm)
        self._arm_mains()
        wake = self.teller.next_wake(now)
        if wake is not None:
            self._ring = wake
            self._arm(wake, "tell", "")
        self._arm(now.steady + LOOK, "look", "")
        self._arm(now.steady + MINUTE, "calendar", "")
        test = self.alarms.get(self.house.id, TEST)
        if test.standing:
            self._arm(now.steady + MINUTE, "test", "")
        if self.unset is not None:
            self._arm(self.unset.steady + CLOCK_AFTER, "clock", "")
        if self.dark is not None:
            self._arm(self.dark.back.steady + MINUTE, "dark", "")

    def _arm_work(self, now: Moment) -> None:
        """Look at once at what people carry out; each arms its own next deadline."""
        for who in self.tests:
            self._arm(now.steady, "switchoff", who)
        for who in self.defrosts:
            self._arm(now.steady, "defrost", who)

    def unsettled(self) -> bool:
        """Return whether something runs that a crash should not forget: a spell or a delay."""
        return any(j.high.began or j.highhigh.began for j in self.judges.values())

    _STEPS: ClassVar[dict[type, Callable[["Watch", Any, Moment], None]]] = {
        Heard: Turns._hear,  # noqa: SLF001 - its own base
        Tick: _tick,
        Start: _start,
        SourceNews: _source,
        ClockStep: _clock_step,
        Order: _order,
        Rewired: _rewired,
        Calibrated: _calibrated,
        Aside: _aside,
        Chored: _chored,
        Condition: _condition,
        Remark: _remark,
        Beat: _beat,
        Played: Turns._played,  # noqa: SLF001 - its own base
        Fitted: Turns._fitted,  # noqa: SLF001 - its own base
        Recalled: Turns._recalled,  # noqa: SLF001 - its own base
        Stocked: Turns._stocked,  # noqa: SLF001 - its own base
    }
