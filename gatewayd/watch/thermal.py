"""What the temperatures of each freezer mean: its picture is fed, looked at each minute, and asked for forecasts.

A fit takes a tenth of a second and more, so it is not done here: it is asked for in the effects and comes back as an
input, whenever that may be. No message ever waits for one.
"""

from dataclasses import replace
from math import isnan

from gatewayd.alarm.engine import Alarm
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import (
    GAP_LEAST,
    HIGH,
    HIGHHIGH,
    LID_OPEN,
    MAINS_OUT,
    NOT_COOLING,
    RISING,
    UNWATCHED,
    WARM_LONG,
)
from gatewayd.alarm.mains import TOGETHER, How
from gatewayd.model.event import Fact
from gatewayd.model.given import Fitted, Recalled, Stocked
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment, between
from gatewayd.model.outlook import Label, Outlook, Sure
from gatewayd.model.priority import Priority
from gatewayd.thermal.ageing import WEEKS, ageing
from gatewayd.thermal.computing import Fitted as Result
from gatewayd.thermal.course import MINUTES, Course
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.picture import Kept, Picture
from gatewayd.watch.facts import facts
from gatewayd.watch.known import Known
from gatewayd.watch.left import left, why

# Alarms that a cause and a forecast belong to.
MEANT = frozenset(
    kind.name for kind in (HIGH, HIGHHIGH, RISING, UNWATCHED, MAINS_OUT, LID_OPEN, WARM_LONG, NOT_COOLING)
)
STOPPED = frozenset((RISING.name, NOT_COOLING.name))  # these say themselves since when it has not cooled
RENEWED = HOUR  # how often the room's mean is taken into the facts: it moves over days
SHORTEST = 10  # min: before, no warming shows what it is (method: nothing is said of a start within 10 min)
CARRIED = HOUR  # a warming that goes on over a restart is seen within so long; else it is over
DRIFTED = 9 * 60  # min since it began, and since an outage, until it is told: then six hours' mean is clear of both
AGEING_LOOK = 6 * HOUR  # weeks' trends move by the day
AGEING_AGAIN = 28 * DAY  # a gasket that leaks is not news again next week


class Thermal(Known):
    """Keep the pictures."""

    def _fit_pictures(self, house: House) -> None:
        """Fit the pictures to a house; one that goes by the same id goes on with what it knows."""
        self.rooms = {}
        pictures = {}
        for freezer in house.freezers.values() if self.pictured else ():
            if not freezer.sensors:
                continue
            picture = self.pictures.get(freezer.id)
            if picture is None:
                picture = Picture(self._facts(freezer))
            else:
                picture.tell(self._facts(freezer, picture.course))
            pictures[freezer.id] = picture
            if freezer.room in house.sensors:
                self.rooms.setdefault(freezer.room, []).append(freezer.id)
        self.pictures = pictures
        self.asked = {who: when for who, when in self.asked.items() if who in pictures}

    def _facts(self, freezer: Freezer, course: Course | None = None) -> Facts:
        return facts(freezer, self.house, course, self.stocked.get(freezer.id))

    def _stocked(self, given: Stocked, now: Moment) -> None:  # noqa: ARG002 - the contract of all steps
        """Take what the stock's list says; a picture whose freezer holds something else goes by that from now on."""
        self.stocked = given.contents
        for who, picture in self.pictures.items():
            picture.tell(self._facts(self.judges[who].freezer, picture.course))

    def recollect(self, who: str, kept: Kept) -> None:
        """Give a picture back what a former run had learnt."""
        if who in self.pictures:
            self.pictures[who] = Picture(self.pictures[who].facts, kept=kept)

    def outlooks(self) -> dict[str, Outlook]:
        """Return the last forecast of each freezer, for the next run."""
        made = {who: picture.outlook for who, picture in self.pictures.items() if picture.outlook is not None}
        return {**self.carried, **made}

    def _carry_on(self, who: str, picture: Picture, at: Moment) -> None:
        """Go on from the last forecast of the run before, as soon as it is known how long ago it was.

        Nobody saw what was between; so in the same warming food is never promised more time than it had before.
        """
        kept = self.carried.get(who)
        if kept is None or (kept.at.boot != at.boot and not self.trusted):
            return
        before = _placed(kept, at)
        if picture.outlook is None:
            picture.outlook = before
        if picture.beyond and before.since is not None:
            for span in before.forecast:
                if span.early is not None:
                    key = f"{span.where.value} {span.level:g}"
                    end = before.at.steady // MINUTE + span.early * 60
                    picture.kept.caps[key] = min(end, picture.kept.caps.get(key, end))
        if picture.beyond or at.steady - self.since.steady > CARRIED:
            del self.carried[who]

    # -- taking in -----------------------------------------------------------------------------------------

    def _take_air(self, found: Judge, now: Moment) -> None:
        """Take the warmest good probe of a freezer, as it is judged."""
        picture = self.pictures.get(found.freezer.id)
        if picture is not None:
            picture.take(now.steady // MINUTE, found.value)

    def _take_room(self, sensor: str, value: float, now: Moment) -> None:
        """Take a thermometer that stands in the room of freezers."""
        for who in self.rooms.get(sensor, ()):
            self.pictures[who].take(now.steady // MINUTE, None, value)

    def _recalled(self, given: Recalled, now: Moment) -> None:
        """Put the stored past before what was heard in this run; its place is found by the wall clock."""
        for who, picture in list(self.pictures.items()):
            freezer = self.judges[who].freezer
            past: dict[int, float] = {}
            for sensor in freezer.sensors:
                for wall, value in given.readings.get(sensor, ()):
                    minute = (now.steady - (now.wall - wall)) // MINUTE
                    past[minute] = max(value, past.get(minute, value))
            room = {
                (now.steady - (now.wall - wall)) // MINUTE: value
                for wall, value in given.readings.get(freezer.room, ())
            }
            course = picture.course
            lived = [(course.first + n, course.air[n], course.room[n]) for n in range(len(course))]
            first = course.first if lived else now.steady // MINUTE
            oldest = first - MINUTES + 1 if self.trusted else 0  # slots count from the boot on
            earlier = sorted(m for m in {*past, *room} if oldest <= m < first)
            if not earlier:
                continue
            refilled = Course()
            for minute in earlier:
                refilled.take(minute, past.get(minute), room.get(minute))
            for minute, air, about in lived:
                refilled.take(minute, None if isnan(air) else air, None if isnan(about) else about)
            if who not in self.tests:  # what it has taught is learnt; the walk over the past must not teach it again
                picture.kept.test_from = picture.kept.test_until = None
            anew = Picture(self._facts(freezer, refilled), kept=picture.kept)
            anew.course, anew.outlook, anew.cause = refilled, picture.outlook, picture.cause
            self.pictures[who] = anew
            anew.look(now)  # at its whole course again, so that it knows since when it warms; 30 ms, so one by one

    # -- looking -------------------------------------------------------------------------------------------

    def _picture_due(self, who: str, at: Moment) -> None:
        """Look at one freezer, as each minute."""
        picture, found = self.pictures.get(who), self.judges.get(who)
        if picture is None or found is None:
            return
        self._arm((at.steady // MINUTE + 1) * MINUTE, "picture", who)
        if at.steady % RENEWED < MINUTE and found.freezer.room in self.posts:
            picture.tell(self._facts(found.freezer, picture.course))
        if len(picture.course) >= SHORTEST:
            picture.others_turned = self._others_turned(who, found, at)
            picture.mains_out = self._mains_out(who)
            picture.lid_open = self._lid_open(who, found)
            picture.trusted = self.trusted
            picture.look(at)
        if self.carried:
            self._carry_on(who, picture, at)
        cause = picture.cause
        if cause.label is Label.POWER and cause.sure is Sure.SURE and cause.held_20:
            self._stopped(found, at)
        self._remark_on(who, picture, at)
        if self._may_ask(who, at):
            wanted = picture.wanted(at)
            if wanted is not None:
                self.asked[who] = at.steady
                self._out.fits.append((who, wanted))

    def _may_ask(self, who: str, at: Moment) -> bool:
        """Return whether a fit may be asked for now: a played house does with fewer."""
        if self.pace is None:
            return False
        before = self.asked.get(who)
        least = self.pace.warming if self.pictures[who].beyond else self.pace.calm
        return before is None or at.steady - before >= least

    def _stopped(self, found: Judge, at: Moment) -> None:
        """Let a cause that is sure and has held raise what the air alone would raise some minutes later."""
        if at.steady - found.good_at <= GAP_LEAST:
            found.stopped(at, self.alarms)

    def _others_turned(self, who: str, found: Judge, at: Moment) -> bool:
        """Return whether another freezer stopped cooling with this one."""
        own, minute = found.signs.turned, at.steady // MINUTE
        if own is None:
            return False
        if self.stopped[0] != minute:  # all of them are gone through once a minute, not once for each
            turned = [(other, j.signs.turned) for other, j in self.judges.items() if j.signs.sure]
            self.stopped = minute, [(other, moment) for other, moment in turned if moment is not None]
        return any(other != who and abs(between(moment, own)) <= TOGETHER for other, moment in self.stopped[1])

    def _mains_out(self, who: str) -> bool | None:
        """Return whether a sensor or the gateway's own supply says that it has no power, None: nobody says."""
        found: bool | None = None
        for line in self.mains.lines.values():
            speaks = line.how in (How.HOST, How.SENSOR) and (line.how is How.HOST or who in line.covers)
            if line.how is How.POWER and line.out and who in line.covers:
                return True
            if not speaks or (line.since is None and not line.out):
                continue
            if line.out:
                return True
            if line.on:
                found = False
        return found

    def _lid_open(self, who: str, found: Judge) -> bool | None:
        """Return whether a contact at the lid says that it is open, None where none says anything."""
        lid = self.lids.get(who)
        if not found.contact or lid is None or (lid.opened is None and lid.shut is None):
            return None
        return lid.opened is not None and lid.shut is None

    def _remark_on(self, who: str, picture: Picture, at: Moment) -> None:
        """Note what moves over days, once a day, and over weeks, once in four."""
        if at.steady % HOUR >= MINUTE:
            return
        moved = picture.drift
        minute = at.steady // MINUTE
        if moved is not None and min(minute - moved.began, picture.calm(minute)) < DRIFTED:
            moved = None
        if moved is not None and self._remarks("drift", who, DAY, at):
            began = at.wall - (at.steady // MINUTE - moved.began) * MINUTE
            facts: dict[str, Fact] = {"change": round(moved.moved, 1), "since": began, "value": self.judges[who].value}
            self.alarms.note(who, "drift", at, facts, Priority.MEDIUM)
        aged = ageing(picture.kept.days) if at.steady % AGEING_LOOK < MINUTE else None
        if aged is not None and aged.words and aged.run and self._remarks("ageing", who, AGEING_AGAIN, at):
            facts = {"change": round(aged.run, 3), "weeks": WEEKS, "text": " ".join(aged.words)}
            self.alarms.note(who, "ageing", at, facts, Priority.MEDIUM)

    def _remarks(self, kind: str, who: str, again: int, at: Moment) -> bool:
        """Return whether something may be noted now, and remember that it was."""
        key = f"{kind} {who}"
        before = self.remarked.get(key)
        if not self.trusted or (before is not None and 0 <= at.wall - before < again):
            return False
        self.remarked[key] = at.wall
        return True

    def _fitted(self, given: Fitted, now: Moment) -> None:
        picture = self.pictures.get(given.freezer)
        if picture is None:
            return
        if isinstance(given.result, Result):
            picture.fitted(given.result, now)
        else:
            picture.failed()

    # -- telling -------------------------------------------------------------------------------------------

    def _meaning(self, alarm: Alarm, at: Moment) -> dict[str, Fact]:
        """Return what is known beyond an alarm's own facts, when it is told."""
        if alarm.kind not in MEANT:
            return {}
        if alarm.kind == MAINS_OUT.name:
            return self._meaning_of_outage(alarm, at)
        picture = self.pictures.get(alarm.subject)
        if picture is None:
            return {}
        judge = self.judges.get(alarm.subject)
        stopped = alarm.began if alarm.kind in STOPPED else None
        facts = why(picture.cause, stopped or (judge.signs.turned if judge is not None else None))
        if picture.outlook is not None:
            facts |= left(picture.outlook, at)
        if self._mains_out(alarm.subject):
            facts["mains"] = "out"
        return facts

    def _meaning_of_outage(self, alarm: Alarm, at: Moment) -> dict[str, Fact]:
        """Return the shortest time left of the freezers without power, and which are much too warm already."""
        covers = str(alarm.facts.get("covers") or "").split(",")
        spans = [
            (who, left(picture.outlook, at))
            for who in covers
            if (picture := self.pictures.get(who)) is not None and picture.outlook is not None
        ]
        known = [(who, facts) for who, facts in spans if facts]
        found: dict[str, Fact] = {}
        if known:
            who, facts = min(known, key=lambda each: _early(each[1]))
            found = {**facts, "left_of": who}
        warm = [
            who
            for who in covers
            if (judge := self.judges.get(who)) is not None
            and judge.value is not None
            and judge.value > judge.freezer.limits.highhigh
        ]
        return found | ({"much_too_warm": ",".join(warm)} if warm else {})


def _placed(outlook: Outlook, now: Moment) -> Outlook:
    """Return a forecast with its moments in this boot, by the wall clock."""

    def here(moment: Moment) -> Moment:
        return moment if moment.boot == now.boot else now.later(moment.wall - now.wall)

    return replace(outlook, at=here(outlook.at), since=None if outlook.since is None else here(outlook.since))


def _early(facts: dict[str, Fact]) -> tuple[float, float]:
    level, early = facts.get("left_level"), facts.get("left_early")
    return (
        -float(level) if isinstance(level, float | int) else 0.0,
        float(early) if isinstance(early, float | int) else float("inf"),
    )
