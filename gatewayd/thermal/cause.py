"""Why a freezer warms, from the shape of the course. Physics only, nothing trained.

Air that meets the probe lifts it steeply; a stop of cooling lifts it as slowly as every pause does, only longer. What
falls back was an opening. Numbers without another source: method, measured on simulated freezers.
"""

from dataclasses import dataclass, field
from math import isnan, nan

from gatewayd.model.house import Kind
from gatewayd.model.outlook import Label, Sure
from gatewayd.thermal.course import Course
from gatewayd.thermal.habit import Habit
from gatewayd.thermal.turning import bridged

LOOK = 240  # min: method. An event that began before is sought in `FAR_LOOK`
FAR_LOOK = 1440  # min: whoever did not come home in a day learns no more from the start's shape. Our choice
OLD = 35  # min: nothing is said of a course whose newest reading is older; the slowest sensor speaks each half hour
STEEP = (0.5, 1.25)  # K in 5 min, or x the usual rise
BACK = 0.75  # of a start that fell back: closed
ABOVE = 0.4  # K above the usual restart level: the ceiling of ordinary running
OPEN_SHOWN = 30  # min after it came back that an opening is still named. Our choice
SETTLED = 30  # min: an opening falls back sooner; what lasts longer is over at the restart level. Our choice
ROOM_AIR = ((10, 0.62), (15, 0.82))  # (min, share of the way to the room's temperature) that only room air reaches
AHEAD = (4, 0.47)  # x the share of the last 5 min on top: so far it will be in 20 min if it goes on.
# Our choice: a freezer that stands open and off does so; a gap that a running compressor cools against does not
DECIDED = 20  # min: what it looked like then counts later too; a gap creeps that far in an hour. Our choice
KNEE = 0.25  # of the steepest minute: less is not yet the rise. Our choice
KEPT = 0.8  # of that share; less is coming back. Our choice
STILL = 8  # min: later than this an opening rises no more; a sensor's lag is 2 to 7 min
WAIT = 10  # min: before, no steep start can be told apart
DUE = 0.12  # of the learnt interval that a defrost comes early or late. Our choice
DEFROST_LASTS = 60  # min until an automatic defrost is over: heater of 15 to 30 min and recovery. From memory
OVERDUE = (1.15, 5.0)  # x the 95 % off time, and min on top: a pause longer than that is none
DIP, DIP_SHARE = 0.3, 0.1  # K, or of the rise: a course that never fell more than that is called rising
OPEN_TAIL = 20  # min after it came back that an opening still disturbs. Our choice
SHORT = 0.5  # x the 95 % off time: a shorter rise is rather the recovery from something. Our choice
CYCLE = 1.5  # x the 95 % off time: about a whole cycle, which must pass under the ceiling. Our choice
AGAIN = 2  # warm starts before this one, so that the third counts. Our choice
SHALLOW = 0.75  # of the way from low to top: so high a low between two steep starts is no ordinary cycle. Our choice
RISEN = (0.5, 0.2)  # K, or of the span, from the low: less is the wave on top of something else. Our choice
BARE = (180, 3.0)  # min and K of a steady rise that is no pause of any household freezer. Our choice


@dataclass(frozen=True, slots=True)
class Judged:
    """Hold what a course looks like, how sure that is, and the slot at which it began.

    `held` and `held_20` are as in `model.outlook.Cause`; only `Holding` sets them.
    """

    label: Label = Label.CANNOT_TELL
    sure: Sure = Sure.HINT
    began: int = 0
    held: bool = False
    held_20: bool = False


@dataclass(slots=True)
class _Start:
    """Hold one steep start: indices of its begin, peak and return, and its levels (°C)."""

    begin: int
    base: float
    peak: float
    peak_at: int
    closed: int | None = None


def judge(course: Course, end: int, habit: Habit | None, room: float, kind: Kind) -> Judged:
    """Return what the course before slot `end` looks like at this instant, in a room of `room` °C.

    Without a `habit` only room air, an opening and a rise over hours can be told.
    """
    air = _smooth(course, end - LOOK - 1, end)
    ceiling = habit.top + ABOVE if habit else nan
    if habit and all(isnan(v) or v > ceiling for v in air):
        air = _smooth(course, end - FAR_LOOK - 1, end)
    first = end - len(air)
    last = next((i for i in range(len(air) - 1, -1, -1) if not isnan(air[i])), -1)
    if last < WAIT or len(air) - 1 - last > OLD:
        return Judged(began=end)
    starts = _starts(air, habit, last)
    active = starts[-1] if starts and starts[-1].closed is None else None
    if habit and kind is Kind.UPRIGHT_AUTO_DEFROST and air[last] > ceiling:
        begin = active.begin if active else _low(air, last, starts)
        if _defrosts(habit, first + begin, last - begin, active):
            sure = Sure.HINT if habit.defrost is None else Sure.LIKELY
            if not (active and _is_room(air, active, room, last)):
                return Judged(Label.AUTO_DEFROST, sure, first + begin)
    if active:
        return _steep(air, active, habit, room, last, first, starts)
    return _slow(air, end, starts, habit, last)


def _smooth(course: Course, begin: int, end: int) -> list[float]:
    """Return means over 3 min, gaps bridged, nan where nothing was."""
    raw = bridged(course.air, begin - course.first, end - course.first)
    out = raw[:2]
    for a, b, c in zip(raw, raw[1:], raw[2:], strict=False):
        mean = (a + b + c) / 3
        out.append(c if isnan(mean) else mean)
    return out


def _starts(air: list[float], habit: Habit | None, last: int) -> list[_Start]:
    """Return the steep starts, oldest first; at most the newest has not come back."""
    limit = max(STEEP[0], STEEP[1] * habit.rise) if habit else 2 * STEEP[0]
    calm = habit.top if habit else 99.0
    found: list[_Start] = []
    now: _Start | None = None
    for i in range(5, last + 1):
        value = air[i]
        if now is None:
            if value - air[i - 5] > limit:
                begin = _knee(air, i)
                now = _Start(begin, air[begin], value, i)
                found.append(now)
        elif value > now.peak:
            now.peak, now.peak_at = value, i
        elif i - now.begin > SETTLED:
            if value <= calm:
                now.closed, now = i, None
        elif value <= now.base + (1 - BACK) * (now.peak - now.base):
            now.closed, now = i, None
    return found


def _knee(air: list[float], i: int) -> int:
    """Return the index at which the steep rise seen at `i` set in: the last before it that hardly rose."""
    steps = [air[k + 1] - air[k] for k in range(i - 5, i)]
    least = KNEE * max(steps)
    for k in range(i - 5 + steps.index(max(steps)), max(0, i - 15), -1):
        if not air[k] - air[k - 1] >= least:  # nan too
            return k
    return i - 5


def _share(air: list[float], start: _Start, room: float, at: int) -> float:
    """Return the share of the way from the start's base to the room's temperature at index `at`."""
    way = room - start.base
    return (air[at] - start.base) / way if way > 5 and not isnan(air[at]) else 0.0  # 5 K: else no freezer is left


def _is_room(air: list[float], start: _Start, room: float, last: int) -> bool:
    """Say whether the probe meets room air: lifted out, or the whole freezer stands open and off."""
    if last - start.begin < STILL:
        return False
    share = _share(air, start, room, last)
    if share > ROOM_AIR[0][1]:
        return True
    at = min(last, start.begin + DECIDED)
    then = _share(air, start, room, at)
    gain = then - _share(air, start, room, at - 5)
    lifted = any(start.begin + m <= last and _share(air, start, room, start.begin + m) > way for m, way in ROOM_AIR)
    return (lifted or then + AHEAD[0] * gain > AHEAD[1]) and share > KEPT * then


def _defrosts(habit: Habit, begin: int, age: int, active: _Start | None) -> bool:
    """Say whether an automatic defrost may be on: due by the learnt interval or, without one, a slow steep rise."""
    if habit.defrost is not None and habit.defrosted is not None and age <= DEFROST_LASTS:
        turn = (begin - habit.defrosted) / habit.defrost
        return round(turn) >= 1 and abs(turn - round(turn)) <= DUE
    return active is not None and age <= DEFROST_LASTS / 2 and active.peak_at - active.begin > STILL


def _steep(
    air: list[float], start: _Start, habit: Habit | None, room: float, last: int, first: int, starts: list[_Start]
) -> Judged:
    """Judge a steep start that has not come back."""
    began, age = first + start.begin, last - start.begin
    if _is_room(air, start, room, last):
        sure = Sure.SURE if age >= 20 and _share(air, start, room, last) > ROOM_AIR[1][1] else Sure.LIKELY
        return Judged(Label.ROOM_AIR, sure, began)
    if habit is None:
        return Judged(began=began)
    warm = air[last] > habit.top + ABOVE
    earlier = [s for s in starts if SETTLED < last - s.begin <= LOOK and s.peak > habit.top + ABOVE]
    if warm and len(earlier) >= AGAIN and start.base > habit.low + SHALLOW * (habit.top - habit.low):
        return Judged(Label.LID_OR_LOAD, Sure.HINT, first + earlier[0].begin)
    if age < WAIT:
        return Judged(began=began)
    if air[last] <= habit.top + ABOVE:
        back = start.peak - air[last] > 0.5 * (start.peak - start.base)
        return Judged(Label.OPENED if back else Label.NORMAL, Sure.HINT, began)
    before = air[last - 10]
    fall = before - air[last] if not isnan(before) else 0.0  # K in 10 min
    left = air[last] - (start.base + (1 - BACK) * (start.peak - start.base))
    if age < 15 or fall * 1.5 > left:  # it will be back within a quarter of an hour: rather an opening
        return Judged(began=began)
    return Judged(Label.LID_OR_LOAD, Sure.LIKELY if age >= 40 else Sure.HINT, began)


def _low(air: list[float], last: int, starts: list[_Start]) -> int:
    """Return the index of the low from which the air rises without falling back, or `last` where it does not rise.

    A dip is as much as noise and a room's night make; the bumps of openings that came back are passed over.
    """
    brief = [(s.begin, s.closed) for s in starts if s.closed is not None and s.closed - s.begin <= SETTLED]
    out = {k for begin, closed in brief for k in range(begin, closed + OPEN_TAIL)}
    low, lowest = last, air[last]
    for i in range(last - 1, -1, -1):
        if isnan(air[i]):
            continue
        if i not in out and air[i] > lowest + max(DIP, DIP_SHARE * (air[last] - lowest)):
            break
        if air[i] < lowest:
            low, lowest = i, air[i]
    return low


def _slow(air: list[float], end: int, starts: list[_Start], habit: Habit | None, last: int) -> Judged:
    """Judge a course without a steep start, or after one that came back."""
    first = end - len(air)
    warm = habit is not None and air[last] > habit.top + ABOVE
    if starts:
        newest = starts[-1]
        closed = newest.closed or 0
        shown = OPEN_SHOWN / 2 if warm else OPEN_SHOWN
        if closed - newest.begin <= SETTLED and last - closed <= shown:
            return Judged(Label.OPENED, Sure.LIKELY, first + newest.begin)
    low = _low(air, last, starts)
    rise, off = air[last] - air[low], last - low
    if habit is None:
        bare = off >= BARE[0] and rise > BARE[1]
        return Judged(Label.POWER, Sure.LIKELY, first + low) if bare else Judged(began=end)
    before = [s for s in starts if last - s.begin <= LOOK and s.peak > habit.top + ABOVE]
    if not warm:
        lasted = [s for s in before if last - s.begin > SETTLED]
        whole = round(CYCLE * (habit.off or 0.0))
        if lasted and any(v > habit.top + ABOVE for v in air[max(0, lasted[0].begin + SETTLED, last - whole) : last]):
            return Judged(began=first + lasted[0].begin)  # the ripple dips under the ceiling each time
        return Judged(Label.NORMAL, Sure.LIKELY, end)
    overdue = habit.off is not None and off > OVERDUE[0] * habit.off + OVERDUE[1]
    if before and not overdue:  # warm again though nobody opened it again: each pause ends warmer than usual
        return Judged(Label.LID_OR_LOAD, Sure.HINT, first + before[0].begin)
    if rise < max(RISEN[0], RISEN[1] * habit.span) or off < SHORT * (habit.off or 0.0):
        return Judged(began=first + low)
    sure = Sure.HINT
    if overdue:
        sure = Sure.SURE
    elif habit.off is None or off > habit.off:
        sure = Sure.LIKELY
    return Judged(Label.POWER, sure, first + low)


CHECK = 5  # min between the looks that must agree: method
PUBLISH = 2  # looks back that agree with this one, 10 min in all: method. Display only
ALARM = 4  # looks back, 20 min in all: method, for what sharpens an alarm
LOST = 60  # min of "cannot tell" until what was said is taken back: about a cycle. Our choice
TOGETHER = 60  # min: two steep starts within are rather a person who fills both freezers. Our choice


@dataclass(slots=True)
class Look:
    """Hold what a look in one slot said."""

    minute: int
    label: Label
    began: int


@dataclass(slots=True)
class Holding:
    """Hold a label back until it came out again and again, and keep it until another did.

    It may be stepped each minute: what counts are the looks 5, 10, 15 and 20 min before.
    """

    looks: list[Look] = field(default_factory=list)  # of the last 21 min
    knew: int | None = None  # the last slot in which something else than "cannot tell" came out
    said: Label | None = None
    said_sure: Sure = Sure.HINT
    said_began: int = 0
    said_20: bool = False

    def step(
        self,
        instant: Judged,
        minute: int,
        others_turned: bool = False,  # noqa: FBT001, FBT002 - the contract of the picture
        mains_out: bool | None = None,  # noqa: FBT001
        lid_open: bool | None = None,  # noqa: FBT001
    ) -> Judged:
        """Take the label of an instant at slot `minute`; return what may be said, or the instant one, not held.

        `others_turned`: another freezer left ordinary running within the same hour. `mains_out` and `lid_open` are a
        mains sensor's and a lid contact's word (None: there is none); they outrank the shape, and at once.
        """
        if mains_out:
            began = minute if instant.label in (Label.NORMAL, Label.OPENED) else instant.began
            return self._outranked(Label.POWER, began, minute)
        if lid_open and instant.label not in (Label.NORMAL, Label.OPENED):
            return self._outranked(Label.LID_OR_LOAD, instant.began, minute)
        if others_turned:
            instant = _together(instant, minute)
        self._look(instant, minute)
        if self.said is None:
            return instant
        sure = instant.sure if instant.label is self.said else self.said_sure
        return Judged(self.said, sure, self.said_began, held=True, held_20=self.said_20)

    def _look(self, instant: Judged, minute: int) -> None:
        """Take one look, and see how far back those before agree."""
        self.looks = [look for look in self.looks if minute - ALARM * CHECK - 1 <= look.minute < minute]
        if instant.label is Label.CANNOT_TELL:
            if self.knew is None or minute - self.knew >= LOST:
                self.said, self.said_20 = None, False
        else:
            self.knew = minute
            agreeing, began = self._agreeing(instant, minute)
            if agreeing >= PUBLISH:
                if self.said is not instant.label:
                    self.said, self.said_began, self.said_20 = instant.label, began, False
                self.said_sure = instant.sure
                self.said_20 = self.said_20 or agreeing >= ALARM
        self.looks.append(Look(minute, instant.label, instant.began))

    def _agreeing(self, instant: Judged, minute: int) -> tuple[int, int]:
        """Return how many looks back agree, each about 5 min before the next, and the beginning the first one saw."""
        began = instant.began
        for back in range(1, ALARM + 1):
            at = minute - back * CHECK
            there = [look for look in self.looks if at - 1 <= look.minute <= at]
            if not there:
                return back - 1, began
            nearest = there[-1]
            if nearest.label is not instant.label:
                return back - 1, began
            began = nearest.began
        return ALARM, began

    def shift(self, slots: int) -> None:
        """Move all slots, for those of another boot count from another zero."""
        self.looks = [Look(look.minute + slots, look.label, look.began + slots) for look in self.looks]
        self.knew = None if self.knew is None else self.knew + slots
        self.said_began += slots

    def _outranked(self, label: Label, began: int, minute: int) -> Judged:
        """Say `label` at once, for a sensor says so."""
        if self.said is not label or not self.said_20:
            self.said_began = began
        self.knew = minute
        self.looks = [Look(minute - k * CHECK, label, self.said_began) for k in range(ALARM, -1, -1)]
        self.said, self.said_sure, self.said_20 = label, Sure.SURE, True
        return Judged(label, Sure.SURE, self.said_began, held=True, held_20=True)


def _together(instant: Judged, minute: int) -> Judged:
    """Return what two freezers mean that leave ordinary running together: the power, unless somebody stands there."""
    if instant.label is Label.POWER:
        return Judged(Label.POWER, Sure.SURE, instant.began)
    lasting = instant.label is Label.LID_OR_LOAD and minute - instant.began > TOGETHER
    if lasting or (instant.label is Label.CANNOT_TELL and instant.began < minute):
        return Judged(Label.POWER, Sure.LIKELY, instant.began)
    return instant
