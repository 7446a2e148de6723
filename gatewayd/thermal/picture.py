"""The thermal picture of one freezer: its course, its habit, why it warms, what its food has, how long it holds.

`take` is called with each good reading, `look` once a minute; both are cheap. What costs more (the fit, the habit of
days) is asked for by `wanted`, computed by `compute` in a worker from a copy, and handed back to `fitted`.
"""

from dataclasses import dataclass, field, replace
from math import isnan

from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.outlook import Cause, Cycles, Label, Outlook, Span, Sure, Where
from gatewayd.thermal.ageing import Day
from gatewayd.thermal.cause import Holding, Judged, judge
from gatewayd.thermal.computing import Fitted, Wanted
from gatewayd.thermal.course import Course
from gatewayd.thermal.cycles import cycles
from gatewayd.thermal.drift import Drift, drift, elsewhere
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.habit import Habit
from gatewayd.thermal.holdover import Frame
from gatewayd.thermal.observer import Food, Observer
from gatewayd.thermal.prior import FULL, Belief
from gatewayd.thermal.turning import SHARE, SWING
from gatewayd.thermal.warming import STEP, Walk

DAY = 1440  # min
FIT_EVERY, REST_EVERY = 10, 60  # min between fits while warming, and of the standing reserve. Method
HABIT_EVERY = 360  # min; a habit of three days moves slowly
GAP = 15  # min without a reading, after which the early end is never moved later again
LESSON = 120  # min without cooling that teach: below, a fit moves little but noise (our choice)
DAYS_KEPT = 70  # daily summaries: six weeks' trend, and a month to look back
AS_USUAL, WARMING, COOLING_DOWN, NOT_HEARD = "as usual", "warming", "cooling down", "not heard"
WARMED_UNHEARD = "warming when last heard"
UNHEARD = 35  # min: what was seen of a warming stays seen while nothing is heard; the slowest sensor takes 30
EXCURSIONS = (Label.POWER, Label.LID_OR_LOAD, Label.ROOM_AIR)  # move the mean of hours, as a drift does
LID_BEFORE = 120  # min: a lid that was left ajar so soon after the move began is what moved it. Our choice
FRESH = 30  # min: a reading older than that is no present reading


@dataclass(frozen=True, slots=True)
class Lesson:
    """Hold what this freezer has learnt from: an outage or a test, and when (wall ms)."""

    how: str
    at: int


@dataclass(slots=True)
class Kept:
    """Hold all that must outlive a restart. Slots are minutes of `boot`; `wall` is the wall minute of its slot 0."""

    belief: Belief = field(default_factory=Belief)
    habit: Habit | None = None
    habit_at: int = -HABIT_EVERY
    days: list[Day] = field(default_factory=list)
    holding: Holding = field(default_factory=Holding)
    food: Food = field(default_factory=Food)
    lessons: list[Lesson] = field(default_factory=list)
    told: dict[str, float] = field(default_factory=dict)  # "where level" -> slot of the last "early" of this warming
    caps: dict[str, float] = field(default_factory=dict)  # the same, from before a gap: "early" stays before it
    test_from: int | None = None
    test_until: int | None = None
    boot: str = ""
    wall: int = 0

    def shift(self, slots: int) -> None:
        """Move all slots, for those of another boot count from another zero."""
        self.habit_at += slots
        self.holding.shift(slots)
        self.caps = {key: at + slots for key, at in self.caps.items()}
        self.told = {key: at + slots for key, at in self.told.items()}
        if self.habit is not None and self.habit.defrosted is not None:
            self.habit.defrosted += slots
        self.test_from = None if self.test_from is None else self.test_from + slots
        self.test_until = None if self.test_until is None else self.test_until + slots


class Picture:
    """Hold the picture of one freezer.

    `others_turned` says that another freezer left its habit at the same time, `mains_out` and `lid_open` what sensors
    say (None: there is none); they outrank the shape. `warm` is since which slot it has not cooled.
    """

    def __init__(self, facts: Facts, seed: int = 1, kept: Kept | None = None) -> None:
        """Begin with nothing seen, or with what a former run kept."""
        self.facts = facts
        self.seed = seed
        self.kept = kept or Kept()
        self.course = Course()
        self.cause = Cause()
        self.cycles: Cycles | None = None
        self.outlook: Outlook | None = None
        self.others_turned = False
        self.mains_out: bool | None = None
        self.lid_open: bool | None = None
        self.trusted = True  # whether the wall clock is right, by which days are counted
        self.drift: Drift | None = None
        self._observer = Observer(facts, self.kept.belief, self.kept.food)
        habit = self.kept.habit
        self._walk = Walk(max(SWING, SHARE * habit.span) if habit else SWING, habit)
        self._walked: int | None = None  # the slot from which the next five minutes are walked
        self._judged = self._asked = -HABIT_EVERY
        self._hour = -1
        self._heard = -HABIT_EVERY  # the last slot in which its air was heard
        self._disturbed = 0
        self._running = False
        self._lesson: tuple[int, int] | None = None  # first and last slot of a warming that is over and can teach
        self._followed: int | None = None
        self._stopped = False  # while it warms: that looked last like a stop of cooling

    # -- what comes in -------------------------------------------------------------------------------------

    def take(self, minute: int, air: float | None, room: float | None = None) -> None:
        """Take a reading (°C) heard in the slot `minute`."""
        if air is not None:
            self._heard = minute
        self.course.take(minute, air, room)

    def tell(self, facts: Facts) -> None:
        """Take new facts: contents or volume have changed; the next fit goes by them."""
        if facts != self.facts:
            self.facts = facts
            self._observer = Observer(facts, self.kept.belief, self.kept.food)
            self._asked = -HABIT_EVERY

    def look(self, now: Moment) -> None:
        """Do what is due: each minute the food, the turn of the air and the cause, each hour what moves over days."""
        minute = now.steady // MINUTE
        self._fit_boot(now)
        if not len(self.course):
            return
        self._follow(minute)
        self._walk_to(minute)
        if minute != self._judged:
            self._judged = minute
            self._judge(minute, now)
            if self._hour != minute // 60:
                self._hour = minute // 60
                self._move(minute, now)

    def _fit_boot(self, now: Moment) -> None:
        wall = now.wall // MINUTE - now.steady // MINUTE
        if self.kept.boot and self.kept.boot != now.boot:
            self.kept.shift(self.kept.wall - wall)
        self.kept.boot, self.kept.wall = now.boot, wall

    def _follow(self, minute: int) -> None:
        """Let the food follow what was read since the last look."""
        course = self.course
        begin = course.first if self._followed is None else max(self._followed, course.first)
        waited = 1
        for slot in range(begin, min(minute, course.end)):
            value = course.air[slot - course.first]
            if isnan(value):
                waited += 1
                continue
            self._observer.take(value, waited, warming=self._walk.beyond)
            waited = 1
            self._followed = slot + 1

    def _walk_to(self, minute: int) -> None:
        course = self.course
        if self._walked is None:
            self._walked = course.first
        while self._walked + STEP <= minute:
            mean = course.mean(self._walked, self._walked + STEP)
            if not isnan(mean):
                was = self._walk.beyond
                self._walk.step(self._walked, mean)
                if was and not self._walk.beyond:
                    self._cooled()
            self._walked += STEP

    def _judge(self, minute: int, now: Moment) -> None:
        if self.beyond and minute - self._heard > UNHEARD:
            return
        room = self.course.room_mean(minute - 60, minute)
        instant = judge(self.course, minute, self.kept.habit, self.facts.room if isnan(room) else room, self.facts.kind)
        found = self.kept.holding.step(
            instant, minute, others_turned=self.others_turned, mains_out=self.mains_out, lid_open=self.lid_open
        )
        since = now.later((found.began - minute) * MINUTE)
        self.cause = Cause(found.label, found.sure, found.held, found.held_20, since)
        if self.drift is not None and not self._explained(found, self.drift):
            since = now.later((self.drift.began - minute) * MINUTE)
            self.cause = Cause(Label.DRIFT, Sure.LIKELY, held=True, held_20=True, since=since)
        if found.held and self.beyond and found.label not in (Label.NORMAL, Label.OPENED, Label.CANNOT_TELL):
            self._stopped = found.label is Label.POWER
        excursion = found.held and found.label in EXCURSIONS and self.drift is None
        if excursion or self.kept.habit is None or self.beyond:
            self._disturbed = minute

    def _explained(self, found: Judged, moved: Drift) -> bool:
        """Return whether what the shape says explains the move better: an opened lid or a probe in the room does."""
        if found.label is Label.ROOM_AIR:
            return True
        return found.held and found.label is Label.LID_OR_LOAD and found.began <= moved.began + LID_BEFORE

    def calm(self, minute: int) -> int:
        """Return for how many minutes it has run as always, or drifted, before slot `minute`."""
        return minute - self._disturbed

    def _move(self, minute: int, now: Moment) -> None:
        """See whether the thermostat drifts, and sum up a day of ordinary running."""
        calm, habit = self.calm(minute), self.kept.habit
        moved = drift(self.course, minute) if habit is not None else None
        away = habit is not None and moved is not None and elsewhere(self.course, minute, habit, moved.moved)
        self.drift = moved if away else None
        days, day = self.kept.days, now.wall // (DAY * MINUTE)
        if calm < DAY or not self.trusted or (days and days[-1].day >= day):
            return
        run = cycles(self.course, minute)
        air, room = self.course.mean(minute - DAY, minute), self.course.room_mean(minute - DAY, minute)
        if run is not None and not isnan(air):
            known = None if isnan(room) else round(room, 2)
            days.append(Day(day, round(run.duty, 4), round(run.period, 1), round(air, 2), known, round(run.starts, 2)))
            del days[:-DAYS_KEPT]

    # -- what is known -------------------------------------------------------------------------------------

    @property
    def warm(self) -> int | None:
        """Return the slot since which it has not cooled, None while it cools."""
        return self._walk.since

    @property
    def beyond(self) -> bool:
        """Return whether it has warmed longer and higher than in any pause."""
        return self._walk.beyond

    @property
    def food(self) -> tuple[float, float] | None:
        """Return °C of the warmest layer and of the bulk as followed from the air; to about 0.8 K (simulated)."""
        return self._observer.temperatures

    @property
    def full(self) -> float | None:
        """Return how full it is by weight, 0 to 1; None where nobody said."""
        return min(1.0, self.facts.weight / (FULL * self.facts.volume)) if self.facts.told else None

    def state(self, minute: int) -> str:
        """Say in a word how it is: not heard, warming (or was, when last heard), cooling down, or as usual."""
        now = self.course.mean(minute - FRESH, minute + 1)
        if isnan(now):
            return WARMED_UNHEARD if self.beyond else NOT_HEARD
        if self.beyond:
            return WARMING
        habit = self.kept.habit
        if habit is not None and now > habit.top + 2 * habit.span + 1.0:
            return COOLING_DOWN if self.warm is None else WARMING
        return AS_USUAL

    # -- fits ----------------------------------------------------------------------------------------------

    def wanted(self, now: Moment) -> Wanted | None:
        """Return the inputs of a computation that is due, None where none is or one is running."""
        minute = now.steady // MINUTE
        if self._running or not len(self.course):
            return None
        if self._lesson is not None:
            self._running = True
            return self.lesson()
        if minute - self._asked < (FIT_EVERY if self.beyond else REST_EVERY):
            return None
        if self._heard <= self._asked:  # nothing new: what was told stays, and its hours are counted off
            return None
        self._asked, self._running = minute, True
        return self.ask(minute)

    def ask(self, minute: int, *, whole: bool = False) -> Wanted:
        """Return the inputs of a computation as of slot `minute`; the `whole` one has the cycles at any time."""
        frame = Frame(self.facts, self.kept.belief, self.course.copy(), self.warm, minute, self.seed)
        due = not self.beyond and (minute - self.kept.habit_at >= HABIT_EVERY or self.kept.habit is None)
        standing = whole or not self.beyond or self.outlook is None
        return Wanted(frame, self.beyond, standing, coming=whole or self.beyond, learn=due or whole)

    def lesson(self) -> Wanted | None:
        """Return the inputs of what an outage that is over can teach, None where there is none."""
        lesson, self._lesson = self._lesson, None
        if lesson is None:
            return None
        since, end = lesson
        return Wanted(Frame(self.facts, self.kept.belief, self.course.copy(), since, end, self.seed), True, lesson=True)

    def fitted(self, result: Fitted, now: Moment) -> None:
        """Take what a computation found."""
        self._running = False
        frame = result.wanted.frame
        if result.wanted.lesson:
            self._taught(result)
            return
        if result.cycles is not None:
            self.cycles = result.cycles
        if result.wanted.learn and not result.wanted.beyond:
            self.kept.habit_at = frame.end
            self.know(result.habit)
        at = now.later((frame.end - now.steady // MINUTE) * MINUTE)
        since = None if frame.since is None else at.later((frame.since - frame.end) * MINUTE)
        # while it warms the reserve stays as it stood: an outage tells nothing of ordinary days
        before = self.outlook.reserve if self.outlook is not None and result.wanted.beyond else ()
        spans = self._capped(result, frame)
        self.outlook = Outlook(at, before or result.reserve, spans, since, self.kept.belief.lessons > 0, self.full)
        if result.wanted.beyond and self.beyond and result.top is not None and result.bulk is not None:
            self._observer.put(result.top, result.bulk)

    def know(self, habit: Habit | None) -> None:
        """Take what is learnt of its ordinary running; None leaves what was known."""
        if habit is not None:
            self.kept.habit = self._walk.habit = habit
            self._walk.swing = max(SWING, SHARE * habit.span)

    def failed(self) -> None:
        """Forget a computation that came to nothing; the next is asked for when it is due."""
        self._running = False

    def _capped(self, result: Fitted, frame: Frame) -> tuple[Span, ...]:
        """Return the forecast; after a gap within one warming "early" is never later than it was before the gap."""
        if not result.wanted.beyond:
            return result.forecast or result.reserve
        kept = self.kept
        if self.outlook is None or self._gap(frame):
            kept.caps = {key: min(kept.caps.get(key, at), at) for key, at in kept.told.items()}
        spans = []
        for span in result.forecast:
            key = f"{span.where.value} {span.level:g}"
            early = span.early
            if key in kept.caps:
                left = max(0.0, round((kept.caps[key] - frame.end) / 60, 2))
                early = left if early is None else min(left, early)
            if early is not None:
                kept.told[key] = frame.end + early * 60
            spans.append(replace(span, early=early))
        return tuple(spans)

    def _gap(self, frame: Frame) -> bool:
        """Return whether nothing was heard for long since the last forecast."""
        last = self.outlook.at.steady // MINUTE if self.outlook is not None else frame.end
        silent = 0
        for slot in range(max(last - GAP, frame.course.first), min(frame.end, frame.course.end)):
            silent = silent + 1 if isnan(frame.course.air[slot - frame.course.first]) else 0
            if silent > GAP:
                return True
        return frame.end - frame.course.end > GAP

    def _cooled(self) -> None:
        """Learn from a warming that is over, if it was one without cooling."""
        self.kept.caps.clear()
        self.kept.told.clear()
        since, end = self._walk.ended or (0, 0)
        tested = self.kept.test_from is not None and abs(self.kept.test_from - since) < DAY
        if end - since >= LESSON and (tested or self._stopped or self.mains_out):
            self._lesson = (since, end)
        self._stopped = False

    def _taught(self, result: Fitted) -> None:
        since = result.wanted.frame.since or 0
        tested = self.kept.test_from is not None and abs(self.kept.test_from - since) < DAY
        self.kept.belief = result.taught
        self.kept.lessons.append(Lesson("test" if tested else "outage", (self.kept.wall + since) * MINUTE))
        self._observer = Observer(self.facts, self.kept.belief, self.kept.food)
        self._asked = -HABIT_EVERY


def row(spans: tuple[Span, ...], where: Where, level: float) -> Span | None:
    """Return the span of one level, None where there is none."""
    return next((s for s in spans if s.where is where and s.level == level), None)
