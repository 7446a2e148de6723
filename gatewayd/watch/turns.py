"""What happens when a time is up: silence, re-alarm, the end of a shelving, the note of the week."""

import heapq
from collections.abc import Callable
from typing import ClassVar

from gatewayd.alarm.dark import Dark
from gatewayd.alarm.engine import HOUSE, Alarm
from gatewayd.alarm.kinds import CLOCK_UNSET, DARK_LEAST, HIGH, HIGHHIGH, SILENT, SOURCE_DOWN, TEST, UNWATCHED
from gatewayd.alarm.neighbour import Pulse
from gatewayd.alarm.table import Shelf
from gatewayd.message.calendar import next_monthly, next_weekly
from gatewayd.message.wording import word
from gatewayd.model.event import Event, Fact, Stage, What
from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.watch.hearing import Hearing
from gatewayd.watch.post import lasted, why_silent
from gatewayd.watch.report import note

CLOCK_AFTER = HOUR  # a router and its time server need minutes after a power cut; an hour without them is a fault
TEST_ANSWER = DAY  # who has not tapped within a day has not seen it
LOOK = HOUR  # sensors' batteries and signals move over days; an hour is often enough
# The calendar runs on wall time, so its deadlines are never armed further ahead: a clock that is set is noticed.
CALENDAR_STEP = HOUR


class Turns(Hearing):
    """Do what is due."""

    def _fire(self, now: Moment) -> None:
        if now.steady - self._heap[0][0] > DARK_LEAST:  # overslept: nobody was looking, so nothing was silent
            self._go_dark(now.later(self._heap[0][0] - now.steady), now)
        while self._heap and self._heap[0][0] <= now.steady:
            due, what, who = heapq.heappop(self._heap)
            self._DEADLINES[what](self, who, now.later(due - now.steady))

    def _go_dark(self, alive: Moment, back: Moment) -> None:
        spell = Dark.begin(alive, back, self.orderly, self.judges.values())
        if spell.short(trusted=self.trusted):
            return
        self.dark = spell
        for found in self.judges.values():
            found.dark(back)
        for post in self.posts.values():
            post.life.last, post.life.heard, post.changed = back.steady, False, back.steady
        for lid in self.lids.values():
            lid.dark(back)
        for pulse in self.pulses.values():
            pulse.dark(back)
            self._arm_pulse(pulse)
        self.mains.dark(back)
        self._arm_mains()
        self._arm(back.steady + MINUTE, "dark", "")

    def _arm_pulse(self, pulse: Pulse) -> None:
        due = pulse.due(self.alarms)
        if due is not None:
            self._arm(due, "pulse", pulse.neighbour)

    # -- sensors and sources -------------------------------------------------------------------------------

    def _silent_due(self, who: str, at: Moment) -> None:
        post = self.posts.get(who)
        if post is None or at.steady != post.armed or self._standing(who, SILENT.name):
            return  # armed anew since, or told already
        if post.life.silent_at() > at.steady:
            self._arm_silent(post)
            return
        alarm = self.alarms.get(who, SILENT)
        if post.judge is not None and self._standing(post.judge.freezer.id, UNWATCHED.name):
            self.alarms.suppress(alarm, at, post.judge.freezer.id)
        elif self._standing(post.sensor.source, SOURCE_DOWN.name):
            self.alarms.suppress(alarm, at, post.sensor.source)
        facts: dict[str, Fact] = {
            "lasted": at.steady - post.life.last,
            "why": why_silent(post, self.links[post.sensor.source], self.house),
        }
        self.alarms.raise_(alarm, at, at.later(post.life.last - at.steady), facts)
        post.ailing = True

    def _unwatched_due(self, who: str, at: Moment) -> None:
        found = self.judges.get(who)
        if found is None or not found.freezer.sensors:
            return
        posts = [self.posts[s] for s in found.freezer.sensors if s in self.posts]
        alarm = self.alarms.get(who, UNWATCHED)
        down = bool(posts) and all(not self.links[p.sensor.source].up for p in posts)
        due = found.unwatched_high_at() if alarm.standing else found.unwatched_at(down=down)
        if due <= at.steady and not alarm.standing:
            reasons = [why_silent(post, self.links[post.sensor.source], self.house) for post in posts]
            found.unwatch(at, next((reason for reason in reasons if reason), ""), self.alarms)
            for post in posts:
                self.alarms.suppress(self.alarms.get(post.sensor.id, SILENT), at, who)
            due = found.unwatched_high_at()
        elif due <= at.steady:
            found.still_unwatched(at, self.alarms)
        # a freezer that stays unwatched is looked at again when a fresh wait would be over
        self._arm(due if due > at.steady else at.steady + found.freezer.limits.unwatched, "unwatched", who)

    def _source_due(self, who: str, at: Moment) -> None:
        link = self.links.get(who)
        due = link.due(self.alarms) if link else None
        if link is None or due is None:
            return
        if due > at.steady:
            self._arm(due, "source", who)
            return
        link.turn(at, self.alarms)
        if link.up:
            for post in self.posts.values():
                if post.sensor.source == who and post.ailing:
                    self.alarms.unsuppress(self.alarms.get(post.sensor.id, SILENT), at)

    def _look_due(self, _who: str, at: Moment) -> None:
        """Look at what moves over days, batteries and signals, and tidy the mains."""
        self.mains.look(at, self.alarms)
        for post in self.posts.values():
            post.look(at, self.since.steady, self.alarms)
        self._arm(at.steady + LOOK, "look", "")

    # -- lids, mains, neighbours ---------------------------------------------------------------------------

    def _lid_due(self, who: str, at: Moment) -> None:
        lid, found = self.lids.get(who), self.judges.get(who)
        due = lid.due(found.freezer.limits, self.alarms) if lid and found else None
        if lid is None or found is None or due is None:
            return
        if due > at.steady:
            self._arm(due, "lid", who)
        else:
            lid.turn(at, self.alarms)

    def _mains_due(self, _who: str, at: Moment) -> None:
        due = self.mains.due(self.alarms)
        if due is None:
            return
        if due <= at.steady:
            self.mains.turn(at, self.alarms)
        self._arm_mains()

    def _pulse_due(self, who: str, at: Moment) -> None:
        pulse = self.pulses.get(who)
        due = pulse.due(self.alarms) if pulse else None
        if pulse is None or due is None:
            return
        if due > at.steady:
            self._arm(due, "pulse", who)
        else:
            pulse.turn(at, self.alarms)

    # -- alarms that stand ---------------------------------------------------------------------------------

    def _again_due(self, who: str, at: Moment) -> None:
        alarm = self._alarm(who)
        if alarm is None or alarm.again_from is None or self._again_at(alarm) != at.steady:
            return
        back = self._clearing(alarm)
        if back is None:
            self.alarms.re_alarm(alarm, at, self._present(alarm, at))
        else:
            alarm.again_from = alarm.again_from.later(back)
            self._arm_alarm(alarm)

    def _clearing(self, alarm: Alarm) -> int | None:
        """Return the off-delay (ms) of a limit that is not passed now, and ends unless it turns: no time to tell."""
        judge = self.judges.get(alarm.subject)
        limit = None if judge is None else {HIGH.name: judge.high, HIGHHIGH.name: judge.highhigh}.get(alarm.kind)
        if judge is None or limit is None:
            return None
        threshold = judge.freezer.limits.high if alarm.kind == HIGH.name else judge.freezer.limits.highhigh
        if limit.cleared is None and (judge.value is None or judge.value > threshold):
            return None
        return max(MINUTE, judge.freezer.limits.off_delay)

    def _present(self, alarm: Alarm, at: Moment) -> dict[str, Fact]:
        """Return how things are now with an alarm that stands."""
        facts: dict[str, Fact] = {**alarm.facts, "lasted": lasted(alarm, at)}
        if alarm.acknowledged_by:
            facts["acknowledged_by"] = alarm.acknowledged_by
        judge = self.judges.get(alarm.subject)
        if judge is not None and judge.value is not None and "value" in facts:
            facts |= {"value": judge.value, "speed": judge.trend.speed()}
        return facts

    def _shelf_due(self, who: str, at: Moment) -> None:
        alarm = self._alarm(who)
        if alarm is None or alarm.shelf is Shelf.NONE or alarm.shelved_until is None:
            return
        if alarm.shelved_until.steady <= at.steady:
            self.alarms.unshelve(alarm, at, HOUSE, "its time is over", expired=True)

    def _tell_due(self, _who: str, at: Moment) -> None:
        self._ring = None
        for call in self.teller.calls.calls.values():  # who is told later is told how it is then
            alarm = self.alarms.all.get((call.subject, call.kind))
            if call.open and alarm is not None and alarm.standing:
                what = {Stage.WORSE: What.WORSE, Stage.REPEAT: What.REPEATED}.get(call.stage, What.RAISED)
                facts = {**self._present(alarm, at), **self._meaning(alarm, at)}
                event = Event(
                    call.event, at, call.subject, call.kind, what, alarm.priority, alarm.occurrence, alarm.first,
                    facts=facts,
                )  # fmt: skip
                call.title, call.body = word(event, self.house)
        self._tell(self.teller.due(at), at)

    # -- the watcher itself --------------------------------------------------------------------------------

    def _dark_due(self, _who: str, at: Moment) -> None:
        if self.dark is None:
            return
        if self.dark.short(trusted=self.trusted):
            self.dark = None
        elif self.dark.ready(self.judges.values(), at, trusted=self.trusted):
            facts = self.dark.facts(self.judges.values(), trusted=self.trusted)
            self.dark = None
            self.alarms.note(self.house.id, "dark", at, facts, Priority.MEDIUM)
        else:
            self._arm(at.steady + MINUTE, "dark", "")

    def _clock_due(self, _who: str, at: Moment) -> None:
        if self.unset is None or at.steady < self.unset.steady + CLOCK_AFTER:
            return
        facts: dict[str, Fact] = {"lasted": at.steady - self.unset.steady}
        self.alarms.raise_(self.alarms.get(self.house.id, CLOCK_UNSET), at, self.unset, facts)

    def _calendar_due(self, _who: str, at: Moment) -> None:
        """Send what the calendar wants, and look again when the next is due, in an hour at the latest."""
        telling, zone = self.house.telling, self.house.zone
        dues = []
        if telling.note is not None:
            due = next_weekly(telling.note, zone, self.weeks.noted)
            if due <= at.wall and self.trusted:
                self._send_note(at)
                due = next_weekly(telling.note, zone, at.wall)
            dues.append(due)
        if telling.test is not None:
            due = next_monthly(telling.test, zone, self.weeks.tested)
            if due <= at.wall and self.trusted:
                self._send_test(at)
                due = next_monthly(telling.test, zone, at.wall)
            dues.append(due)
        wait = min((max(MINUTE, due - at.wall) for due in dues), default=CALENDAR_STEP)
        self._arm(at.steady + min(CALENDAR_STEP, wait), "calendar", "")

    def _send_note(self, at: Moment) -> None:
        title, text = note(self, at)
        self.weeks.noted = at.wall
        self.weeks.spans.clear()
        self.alarms.note(self.house.id, "week", at, {"title": title, "text": text}, Priority.MEDIUM)

    def _send_test(self, at: Moment) -> None:
        self.weeks.tested = at.wall
        self.alarms.raise_(self.alarms.get(self.house.id, TEST), at, at, {})
        self._arm(at.steady + TEST_ANSWER, "test", "")

    def _test_due(self, _who: str, at: Moment) -> None:
        """End a test that nobody answered, and say so once, not every month to a house that is away."""
        alarm = self.alarms.get(self.house.id, TEST)
        if not alarm.standing:
            return
        left = TEST_ANSWER - lasted(alarm, at)
        if left > 0:
            self._arm(at.steady + left, "test", "")
            return
        began = alarm.began.wall if alarm.began else at.wall
        self.alarms.clear(alarm, at, {"answered": False})
        if not self.weeks.missed:
            self.weeks.missed = True
            self.alarms.note(self.house.id, "test", at, {"since": began}, Priority.MEDIUM)

    _DEADLINES: ClassVar[dict[str, Callable[["Turns", str, Moment], None]]] = {
        "silent": _silent_due,
        "unwatched": _unwatched_due,
        "source": _source_due,
        "look": _look_due,
        "lid": _lid_due,
        "mains": _mains_due,
        "pulse": _pulse_due,
        "again": _again_due,
        "shelf": _shelf_due,
        "tell": _tell_due,
        "dark": _dark_due,
        "clock": _clock_due,
        "calendar": _calendar_due,
        "test": _test_due,
        "picture": Hearing._picture_due,  # noqa: SLF001 - its own base
        "switchoff": Hearing._switchoff_due,  # noqa: SLF001 - its own base
        "defrost": Hearing._defrost_due,  # noqa: SLF001 - its own base
    }
