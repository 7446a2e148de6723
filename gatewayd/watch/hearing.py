"""What is heard: bytes become readings, and readings move the alarms of their freezer, lid or mains."""

from gatewayd.alarm.kinds import SILENT, STUCK, STUCK_AFTER
from gatewayd.alarm.mains import Sign
from gatewayd.decode.bthome import REPEATED
from gatewayd.decode.frame import decode_frame
from gatewayd.decode.plausible import Trail, judge
from gatewayd.decode.tlm import ADDRESS, CHANGING, IDENTITY
from gatewayd.model.event import Fact
from gatewayd.model.given import Played
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Arrival, Heard, Quality, Quantity, Reading, Undecodable, Value
from gatewayd.watch.aside import SetAside
from gatewayd.watch.defrosting import Defrosting
from gatewayd.watch.post import Post, lasted, when

BESIDE = (ADDRESS, CHANGING, IDENTITY)  # what a beacon also says between its readings; no fault


class Hearing(Defrosting):
    """Take what is heard."""

    def _hear(self, heard: Heard, now: Moment) -> None:
        post = self.posts.get(heard.sensor)
        if post is None:
            return
        post.health.arrived(heard.arrival, now, heard.signal)
        found = decode_frame(post.sensor.payload, heard.payload, post.opener, post.counter)
        if isinstance(found, Undecodable):
            self._unreadable(post, found, heard, now)
            return
        if heard.arrival is Arrival.LIVE:
            if post.known(found):
                return
            if found.secured and found.counter is not None:
                self._out.counters[post.counted_as] = found.counter
        post.health.read(found)
        post.life.irregular = found.irregular or post.irregular
        for value in found.values:
            self._take(post, value, heard, now)

    def _unreadable(self, post: Post, found: Undecodable, heard: Heard, now: Moment) -> None:
        if found == REPEATED:
            post.health.repeats += 1
        elif found not in BESIDE:
            post.health.could_not_read(found.reason)
            if heard.arrival is Arrival.LIVE:
                post.fault.bad(now, found.reason, self.alarms)

    def _take(self, post: Post, value: Value, heard: Heard, now: Moment) -> None:
        arrival, first, last = when(value, heard, now, trusted=self.trusted)
        live = arrival is Arrival.LIVE
        if live and value.quantity is post.measures and post.repeats(value):
            return
        quality = judge(value.quantity, value.value, post.trail if live else Trail(), now.steady)
        offset = post.offsets.get(value.quantity, 0.0)
        calibrated = value.value + offset
        if post.aside is not None and live and value.quantity is Quantity.TEMPERATURE:
            quality = self._set_aside(post, post.aside, value.value, calibrated, quality, now)
        reading = Reading(heard.sensor, value.quantity, calibrated, now, first, last, arrival, quality, offset)
        self._use(post, reading, value.value)

    def _set_aside(
        self, post: Post, aside: SetAside, raw: float, value: float, quality: Quality, now: Moment
    ) -> Quality:
        """Judge a reading of a probe that is out of its place: its freezer is in order, for somebody works at it."""
        if quality not in (Quality.GOOD, Quality.JUMP):
            return quality
        high = None if post.judge is None else post.judge.freezer.limits.high
        if aside.over(value, high, now.steady):
            post.aside = None
            if post.judge is not None:
                post.judge.trend.begin_anew()  # a slope from another probe to this one is nobody's
            return quality
        if quality is Quality.GOOD:
            aside.take(raw, now.steady)
        if post.judge is not None:
            post.judge.good_at = now.steady
        return Quality.ASIDE

    def _played(self, given: Played, now: Moment) -> None:
        post = self.posts.get(given.reading.sensor)
        if post is not None:
            post.health.arrived(given.reading.arrival, now, None)
            self._use(post, given.reading, given.reading.value - given.reading.offset)

    def _use(self, post: Post, reading: Reading, raw: float) -> None:
        """Let a reading do what it may: a live one is life and moves alarms, any may be kept."""
        now, good = reading.heard, reading.quality is Quality.GOOD
        post.health.took(reading)
        if reading.arrival is not Arrival.LIVE and reading.good and post.irregular:
            self._beside(post, reading)  # a contact speaks when something changes: its last word is how it is now
        if reading.arrival is Arrival.RETAINED:
            post.retained = reading
            return
        kept: list[Reading] = []
        if reading.arrival is Arrival.LIVE:
            post.newest[reading.quantity] = reading
            if reading.quantity is post.measures:
                self._sign_of_life(post, now)
                if good:
                    post.fault.good(now, self.alarms)
                elif reading.quality is not Quality.ASIDE:
                    post.fault.bad(now, reading.quality.value, self.alarms)
            if reading.quantity is Quantity.TEMPERATURE:
                kept = self._warmth(post, reading, raw)
            elif good:
                self._beside(post, reading)
        if post.due_row(reading, self.house.keep_every) and reading not in kept:
            kept.append(reading)
        self._out.rows.extend(kept)

    def _warmth(self, post: Post, reading: Reading, raw: float) -> list[Reading]:
        now, found = reading.heard, post.judge
        if post.sensor.id not in self.rooms:  # a cellar's air may well stand for a day
            self._check_stuck(post, raw, now)
        if not reading.good:
            return []
        if found is None:
            if post.sensor.id in self.rooms:
                self._take_room(post.sensor.id, reading.value, now)
            return []
        kept = found.take(reading, post.life.longest_gap(), self.alarms)
        if found.value is not None:
            if found.freezer.id not in self.defrosts:  # which the week does not hold against it
                self.weeks.take(found.freezer.id, found.value)
            self._take_air(found, now)
            if self.tests:
                self._test_air(found, now)
        if found.signs.sure or (self.mains.lines and self.mains.inferring):
            self._turning(now)
        return kept

    def _turning(self, now: Moment) -> None:
        """Let the mains be judged by the freezers that no longer cool; heard anew with each of their readings."""
        signs = {
            who: Sign(j.freezer.place, j.signs.turned, sure=j.signs.sure, cools=j.signs.cools)
            for who, j in self.judges.items()
            if j.freezer.sensors and who not in self.defrosts
        }
        self.mains.turning(signs, now, self.alarms)

    def _beside(self, post: Post, reading: Reading) -> None:
        """Take what a sensor says beside a temperature: its battery, a lid, the mains."""
        now, owner = reading.heard, post.owner
        match reading.quantity:
            case Quantity.BATTERY | Quantity.VOLTAGE:
                post.follow_battery(reading)
            case Quantity.LID if owner is not None:
                self._lid(owner.freezer.id, now, is_open=reading.value > 0)
            case Quantity.MAINS:
                covers = (owner.freezer.id,) if owner is not None else self._covered(post.sensor.place)
                self.mains.sensor(post.sensor.id, covers, post.sensor.place, reading.value > 0, now)
                self._arm_mains()
            case Quantity.POWER if owner is not None:
                self.mains.power(post.sensor.id, owner.freezer.id, reading.value, now)
                self._arm_mains()
            case _:
                pass  # humidity and the like are kept and shown, and judged by nobody

    def _covered(self, place: str) -> tuple[str, ...]:
        return tuple(f.id for f in self.house.freezers.values() if not place or f.place == place)

    def _lid(self, freezer: str, now: Moment, *, is_open: bool) -> None:
        lid = self.lids[freezer]
        lid.news(is_open, now)
        due = lid.due(self.judges[freezer].freezer.limits, self.alarms)
        if due is not None:
            self._arm(due, "lid", freezer)

    def _arm_mains(self) -> None:
        due = self.mains.due(self.alarms)
        if due is not None:
            self._arm(due, "mains", "")

    def _sign_of_life(self, post: Post, now: Moment) -> None:
        post.life.sign(now.steady)
        post.health.lived(now)
        if post.life.silent_at() < post.armed:  # the interval turned out shorter than was armed for
            self._arm_silent(post)
        if post.ailing:
            alarm = self.alarms.get(post.sensor.id, SILENT)
            if alarm.standing:
                self.alarms.clear(alarm, now, {"lasted": lasted(alarm, now)})
                self._arm_silent(post)
            post.ailing = self._standing(post.sensor.id, STUCK.name)

    def _arm_silent(self, post: Post) -> None:
        post.armed = post.life.silent_at()
        self._arm(post.armed, "silent", post.sensor.id)

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
