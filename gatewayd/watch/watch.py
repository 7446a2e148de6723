"""The watch: one input and the time in, effects out. Pure and synchronous; it composes the pure steps.

Timers are deadlines in steady time on a lazy heap: `next_wake` says when it next wants a tick, and a tick that comes
early or late changes nothing, since every deadline is judged as of its own moment.
"""

import heapq
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from gatewayd.alarm.dark import Dark
from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import DARK_LEAST, KINDS, SILENT, SOURCE_DOWN, STUCK, STUCK_AFTER, UNWATCHED
from gatewayd.alarm.life import Life
from gatewayd.alarm.source import Link
from gatewayd.decode.bthome import REPEATED
from gatewayd.decode.frame import Opener, decode_frame
from gatewayd.decode.plausible import Trail, judge
from gatewayd.decode.tlm import ADDRESS, CHANGING, IDENTITY
from gatewayd.message.plan import Reason, decide, notices
from gatewayd.message.wording import word
from gatewayd.model.effect import Effects, Restamp
from gatewayd.model.event import Event, Fact
from gatewayd.model.given import (
    Calibrated,
    ClockStep,
    Condition,
    Given,
    Order,
    Remark,
    Rewired,
    SourceNews,
    Start,
    Tick,
)
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Heard, Quantity, Reading, Undecodable, Value
from gatewayd.watch.orders import carry_out
from gatewayd.watch.post import Post, when, why_silent
from gatewayd.watch.restamp import shift

BESIDE = (ADDRESS, CHANGING, IDENTITY)  # what a beacon also says between its readings; no fault


class Watch:
    """Watch one house."""

    def __init__(self, house: House, now: Moment) -> None:
        """Begin with nothing known; `restore` adds what a former run knew."""
        self.alarms = Alarms(self._write)
        self.posts: dict[str, Post] = {}
        self.judges: dict[str, Judge] = {}
        self.links: dict[str, Link] = {}
        self.dark: Dark | None = None
        self.trusted = True
        self.since = now
        self._out = Effects()
        self._heap: list[tuple[int, int, str, str]] = []
        self._turns = 0
        self.house = house
        self._wire(house, now)

    # -- one step ------------------------------------------------------------------------------------------

    def step(self, given: Given, now: Moment) -> Effects:
        """Take one input and return what follows."""
        self._out = Effects()
        if self._heap and self._heap[0][0] <= now.steady:
            self._fire(now)
        self._STEPS[type(given)](self, given, now)
        return self._out

    def next_wake(self) -> int | None:
        """Return the steady time (ms) of the next deadline, None if there is none."""
        return self._heap[0][0] if self._heap else None

    def _write(self, event: Event) -> None:
        out = self._out
        out.events.append(event)
        reason = decide(event, self._standing)
        if reason is not Reason.LOW:
            out.notices.extend(notices(event, self.house, reason, word(event, self.house)))

    def _standing(self, subject: str, kind: str) -> bool:
        alarm = self.alarms.all.get((subject, kind))
        return alarm is not None and alarm.standing

    # -- what is heard -------------------------------------------------------------------------------------

    def _hear(self, heard: Heard, now: Moment) -> None:
        post = self.posts.get(heard.sensor)
        if post is None:
            return
        post.health.arrived(heard.arrival, now, heard.signal)
        found = decode_frame(post.sensor.payload, heard.payload, post.opener, post.counter)
        if isinstance(found, Undecodable):
            if found == REPEATED:
                post.health.repeats += 1
            elif found not in BESIDE:
                post.health.could_not_read(found.reason)
            return
        if heard.arrival is Arrival.LIVE:
            if post.known(found):
                return
            if found.secured and found.counter is not None:
                self._out.counters[post.counted_as] = found.counter
        post.health.read(found)
        post.life.irregular = found.irregular
        for value in found.values:
            self._take(post, value, heard, now)

    def _take(self, post: Post, value: Value, heard: Heard, now: Moment) -> None:
        arrival, first, last = when(value, heard, now, trusted=self.trusted)
        live = arrival is Arrival.LIVE
        warm = value.quantity is Quantity.TEMPERATURE
        if live and warm:
            if post.repeats(value):
                return
            self._sign_of_life(post, now)
        quality = judge(value.quantity, value.value, post.trail if live else Trail(), now.steady)
        offset = post.offsets.get(value.quantity, 0.0)
        calibrated = value.value + offset
        reading = Reading(heard.sensor, value.quantity, calibrated, now, first, last, arrival, quality, offset)
        post.health.took(reading)
        if arrival is Arrival.RETAINED:
            post.retained = reading
            return
        kept: list[Reading] = []
        if live:
            post.newest[value.quantity] = reading
            if value.quantity in (Quantity.BATTERY, Quantity.VOLTAGE):
                post.follow_battery(reading)
            if warm:
                self._check_stuck(post, value.value, now)
                if reading.good and post.judge is not None:
                    kept = post.judge.take(reading, post.life.longest_gap(), self.alarms)
        if post.due_row(reading, self.house.keep_every) and reading not in kept:
            kept.append(reading)
        self._out.rows.extend(kept)

    def _sign_of_life(self, post: Post, now: Moment) -> None:
        post.life.sign(now.steady)
        post.health.lived(now)
        if post.life.silent_at() < post.armed:  # the interval turned out shorter than was armed for
            self._arm_silent(post)
        if post.ailing:
            alarm = self.alarms.get(post.sensor.id, SILENT)
            if alarm.standing:
                self.alarms.clear(alarm, now, {"lasted": _lasted(alarm, now)})
                self._arm_silent(post)
            post.ailing = self._standing(post.sensor.id, STUCK.name)

    def _check_stuck(self, post: Post, value: float, now: Moment) -> None:
        if value != post.value:
            post.value, post.changed = value, now.steady
            if post.ailing:
                self.alarms.clear(self.alarms.get(post.sensor.id, STUCK), now, {"value": value})
        elif now.steady - post.changed >= STUCK_AFTER and not self._standing(post.sensor.id, STUCK.name):
            facts: dict[str, Fact] = {"value": value, "lasted": now.steady - post.changed}
            began = now.later(post.changed - now.steady)
            self.alarms.raise_(self.alarms.get(post.sensor.id, STUCK), now, began, facts)
            post.ailing = True

    # -- deadlines -----------------------------------------------------------------------------------------

    def _arm(self, due: int, what: str, who: str) -> None:
        self._turns += 1
        heapq.heappush(self._heap, (due, self._turns, what, who))

    def _arm_silent(self, post: Post) -> None:
        post.armed = post.life.silent_at()
        self._arm(post.armed, "silent", post.sensor.id)

    def _fire(self, now: Moment) -> None:
        if now.steady - self._heap[0][0] > DARK_LEAST:  # overslept: nobody was looking, so nothing was silent
            self._go_dark(now.later(self._heap[0][0] - now.steady), now)
        while self._heap and self._heap[0][0] <= now.steady:
            due, _, what, who = heapq.heappop(self._heap)
            self._DEADLINES[what](self, who, now.later(due - now.steady))

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

    # -- news ----------------------------------------------------------------------------------------------

    def _start(self, given: Start, now: Moment) -> None:
        self.trusted = given.trusted
        self.close_gone(now)
        if given.alive is not None:
            self.trusted = given.trusted and now.wall >= given.alive.wall
            self._go_dark(given.alive, now)
        self.alarms.note(self.house.id, "start", now, {"text": "gatewayd started watching"})

    def _go_dark(self, alive: Moment, back: Moment) -> None:
        spell = Dark(alive, back)
        if spell.short(trusted=self.trusted):
            return
        self.dark = spell
        for found in self.judges.values():
            found.dark(back)
        for post in self.posts.values():
            post.life.last, post.life.heard, post.changed = back.steady, False, back.steady
        self._arm(back.steady + MINUTE, "dark", "")

    def _tick(self, given: Tick, now: Moment) -> None:
        in_the_past = self.dark is not None and now.wall < self.dark.alive.wall
        self.trusted = given.trusted and not in_the_past

    def _source(self, given: SourceNews, now: Moment) -> None:
        link = self.links.get(given.source)
        if link is None:
            return
        link.news(up=given.up, reason=given.reason, now=now)
        due = link.due(self.alarms)
        if due is not None:
            self._arm(due, "source", given.source)

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

    def _calibrated(self, given: Calibrated, _now: Moment) -> None:
        if given.sensor in self.posts:
            self.posts[given.sensor].offsets[given.quantity] = given.offset

    def _condition(self, given: Condition, now: Moment) -> None:
        alarm = self.alarms.get(self.house.id, KINDS[given.kind])
        if given.on:
            self.alarms.raise_(alarm, now, now, {"text": given.text})
        else:
            self.alarms.clear(alarm, now, {"text": given.text, "lasted": _lasted(alarm, now)})

    def _remark(self, given: Remark, now: Moment) -> None:
        self.alarms.note(given.subject, given.kind, now, {"text": given.text}, given.priority)

    def _order(self, given: Order, now: Moment) -> None:
        self._out.answer = carry_out(given, self.alarms, self.house, now)

    # -- wiring --------------------------------------------------------------------------------------------

    def _rewired(self, given: Rewired, now: Moment) -> None:
        self._wire(given.house, now)
        self.close_gone(now)
        self.arm_all()

    def _wire(self, house: House, now: Moment) -> None:
        """Fit judges, links and posts to a house; what goes by the same id goes on."""
        self.house, self.alarms.settings = house, house.version
        self.links = {s: self.links.get(s) or Link(s, now) for s in house.sources}
        judges = {}
        for freezer in house.freezers.values():
            found = self.judges.get(freezer.id) or Judge(freezer, now.steady)
            found.freezer = freezer
            found.warmth = {s: w for s, w in found.warmth.items() if s in freezer.sensors}
            judges[freezer.id] = found
        owner = {sensor: judges[f.id] for f in house.freezers.values() for sensor in f.sensors}
        posts = {}
        for sensor in house.sensors.values():
            post = self.posts.get(sensor.id) or Post(sensor, Life(now.steady), changed=now.steady)
            if (post.sensor.channel, post.sensor.payload) != (sensor.channel, sensor.payload):
                post.counter = None  # another device, or another way to speak: its count is its own
            post.sensor, post.life.told, post.judge = sensor, sensor.reports_every, owner.get(sensor.id)
            posts[sensor.id] = post
        self.judges, self.posts = judges, posts
        self.arm_all()

    def unlock(self, openers: Mapping[str, Opener], counters: Mapping[str, int]) -> None:
        """Hand in what opens the frames of encrypted sensors, and the last counters that were kept of them."""
        for who, post in self.posts.items():
            post.opener = openers.get(who)
            if post.counter is None:
                post.counter = counters.get(post.counted_as)

    def close_gone(self, now: Moment) -> None:
        """End the alarms of what is no longer in the house, and void their unsent notices."""
        known = {*self.judges, *self.posts, *self.links, self.house.id}
        for alarm in list(self.alarms.all.values()):
            if alarm.subject not in known:
                if alarm.listed:
                    self._out.dropped.append(alarm.first)
                self.alarms.close(alarm, now, "removed")

    def arm_all(self) -> None:
        """Set every deadline anew from what is known."""
        self._heap = []
        for post in self.posts.values():
            self._arm_silent(post)
        for who, found in self.judges.items():
            self._arm(found.good_at + found.freezer.limits.unwatched, "unwatched", who)
        for who, link in self.links.items():
            due = link.due(self.alarms)
            if due is not None:
                self._arm(due, "source", who)
        if self.dark is not None:
            self._arm(self.dark.back.steady + MINUTE, "dark", "")

    def unsettled(self) -> bool:
        """Return whether something runs that a crash should not forget: a spell or a delay."""
        return any(j.high.began or j.highhigh.began for j in self.judges.values())

    _DEADLINES: ClassVar[dict[str, Callable[["Watch", str, Moment], None]]] = {
        "silent": _silent_due,
        "unwatched": _unwatched_due,
        "source": _source_due,
        "dark": _dark_due,
    }
    _STEPS: ClassVar[dict[type, Callable[["Watch", Any, Moment], None]]] = {
        Heard: _hear,
        Tick: _tick,
        Start: _start,
        SourceNews: _source,
        ClockStep: _clock_step,
        Order: _order,
        Rewired: _rewired,
        Calibrated: _calibrated,
        Condition: _condition,
        Remark: _remark,
    }


def _lasted(alarm: Alarm, now: Moment) -> int:
    began = alarm.began or now
    return now.steady - began.steady if began.boot == now.boot else now.wall - began.wall
