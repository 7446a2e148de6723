"""Which package to use first, and why: by the share of its storage life that it has used where it really lay.

Quality, not safety: food kept frozen at 0 °F (-18 °C) stays safe (USDA FSIS, "Freezing and Food Safety"). What was
frozen again after a warm spell comes first, for it is no longer as good (USDA FSIS chart of frozen food).
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from gatewayd.food.exposure import Course, Sums, effective, table
from gatewayd.food.life import DAYS, Keeping, Pace, keeping, thaws
from gatewayd.food.lives import STATUS
from gatewayd.food.row import Food
from gatewayd.food.table import find
from gatewayd.model.contents import Group
from gatewayd.model.moment import DAY, HOUR, from_wall
from gatewayd.model.stock import Package
from gatewayd.model.units import MINUS, show_span

QUALITY = f"This is about quality, not safety: food kept frozen at 0 °F ({MINUS}18 °C) stays safe."
AFTER_WARM = "After a warm spell go by the published chart, not by this list."
HONEST = f"A guide, no measurement: the shorter of the published months counts, and {STATUS}."

RUNS_WARM = 1.15  # times the ageing at -18 °C; below it the freezer's own warmth is not worth a word (our choice)
GUESSED = 12 * HOUR  # ms of not hearing; less is not worth a word (our choice)
MONTHS_SAID = 2  # months in which warm spells are named; more make no one wiser (our choice)
FAR = 3.0  # times its published keeping; beyond that a figure says nothing more (our choice)
MARGIN = DAY  # ms; a day of freezing is written as its noon


@dataclass(frozen=True, slots=True)
class Stay:
    """Hold that a package was in `freezer` (an id, empty for none) from `since` (wall ms; None: from the first on)."""

    freezer: str
    since: int | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """Hold a package and where it was: its stays, the oldest first, the last is where it is.

    `refrozen` says that it was frozen again after a warm spell, `fresh` that it was not frozen when it came in first.
    """

    package: Package
    stays: tuple[Stay, ...]
    box: str = ""  # its name
    refrozen: bool = False
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Use:
    """Hold one line of the list.

    `used` is the share of the shorter published time, 1 or more: past its best; None: nobody knows since when it is
    frozen. `months` is what it has used, in months at -18 °C. `reason` says it in words, `doubts` what was taken for
    granted.
    """

    kept: Kept
    food: Food | None
    keeps: Keeping
    used: float | None
    months: float | None
    reason: str
    doubts: tuple[str, ...] = ()


def chosen(kept: Iterable[Kept], freezer: str = "", group: Group | None = None) -> list[Kept]:
    """Return what lies in one freezer and is of one group; empty and None are all. Unknown food is of no group."""
    found = []
    for one in kept:
        if freezer and one.stays[-1].freezer != freezer:
            continue
        food = find(one.package.food) if group is not None else None
        if group is None or (food is not None and food.group is group):
            found.append(one)
    return found


def first(kept: Sequence[Kept], courses: Mapping[str, Course], now: int, zone: tzinfo) -> list[Use]:
    """Return the packages, what to use first at the top.

    Refrozen food leads; then by the share used; what nobody knows the age of stands where its time is just over.
    `courses` are those of the freezers that are watched, `now` in wall ms, months are named in `zone`.
    """
    foods: dict[str, Food | None] = {}
    by_pace: dict[Pace, list[tuple[Kept, Food | None, Keeping]]] = {}
    for one in kept:
        text = one.package.food
        if text not in foods:
            foods[text] = find(text)
        keeps = keeping(foods[text])
        by_pace.setdefault(keeps.pace, []).append((one, foods[text], keeps))
    shared = _Shared(courses, now, zone)
    found = []
    for pace, those in by_pace.items():
        ageing = _Ageing(pace, shared)  # its running sums are let go with it: one pace at a time in memory
        found += [ageing.use(*one) for one in those]
    return sorted(found, key=_rank)


def _rank(use: Use) -> tuple[bool, float, int]:
    return not use.kept.refrozen, -(1.0 if use.used is None else use.used), use.kept.package.id


class _Shared:
    """Hold what is the same for all paces."""

    def __init__(self, courses: Mapping[str, Course], now: int, zone: tzinfo) -> None:
        self.courses, self.now, self.zone = courses, now, zone
        self.thawed = {key: course.sums(table(thaws)) for key, course in courses.items()}
        self.guessed = {key: course.guesses() for key, course in courses.items()}
        self.spells = {key: course.spells() for key, course in courses.items()}
        self._months: dict[int, str] = {}

    def month(self, wall: int) -> str:
        """Return the month and year of a stamp."""
        day = wall // DAY
        if day not in self._months:
            self._months[day] = f"{from_wall(wall).astimezone(self.zone):%B %Y}"
        return self._months[day]


@dataclass(slots=True)
class _Spent:
    """Hold what a package has been through so far."""

    days: float = 0.0  # at -18 °C
    heard: float = 0.0  # days that were heard where it is known to have lain
    aged: float = 0.0  # of `days`, what those count for
    thawed: float = 0.0  # days above -5 °C
    guessed: float = 0.0  # days not heard
    unwatched: float = 0.0  # days in a freezer before it was watched, or without a sensor
    elsewhere: float = 0.0  # days before it came here
    spells: list[int] = field(default_factory=list)


class _Ageing:
    """Judge the packages of one pace."""

    def __init__(self, pace: Pace, shared: _Shared) -> None:
        self._pace, self._shared = pace, shared
        self._sums: dict[str, Sums] = {}
        self._heard: dict[str, Sums] = {}
        self._worths = table(pace.rate)

    def use(self, kept: Kept, food: Food | None, keeps: Keeping) -> Use:
        """Return the line of one package."""
        now, frozen = self._shared.now, _frozen(kept)
        here = kept.stays[0].since
        begin = frozen if frozen is not None else here
        doubts = _of_food(food, keeps)
        if begin is None:
            return Use(kept, food, keeps, None, None, _refrozen(kept, f"{kept.package.food}: {_AGELESS}"), doubts)
        spent = self._spent(kept, begin)
        thawed = 0.0 if keeps.thawed is None else spent.thawed / keeps.thawed
        share = spent.days / keeps.days + thawed
        used: float | None = share
        if frozen is None and share < 1:
            # its age is not known, and what is known of it says nothing yet
            since = f"on the list since {self._shared.month(begin)}"
            reason, used = f"{kept.package.food}: {_AGELESS} ({since})", None
        else:
            reason = self._reason(kept, keeps, share, (begin, spent))
        if begin > now + MARGIN:
            doubts = (*doubts, "its date lies in the future: look whether it is right")
        if frozen is None and used is not None:
            doubts = (*doubts, "nobody wrote when it was frozen: counted from when it came onto the list")
        months = None if used is None else used * keeps.least
        return Use(kept, food, keeps, used, months, _refrozen(kept, reason), doubts + _of_course(spent))

    def _spent(self, kept: Kept, begin: int) -> _Spent:
        spent, now = _Spent(), self._shared.now
        stays = kept.stays
        entered = stays[0].since
        if entered is not None and entered > begin:
            spent.elsewhere = (min(entered, now) - begin) / DAY
        for number, stay in enumerate(stays):
            since = max(begin, stay.since or begin)
            until = now if number == len(stays) - 1 else min(now, stays[number + 1].since or now)
            if until > since:
                self._add(spent, stay.freezer, since, until)
                self._hear(spent, stay.freezer, since, until)
        if spent.elsewhere:
            # where it was then is not known, and what the freezers here did is not to be charged to it; but what is
            # gained by cold since must not make up for what nobody saw
            spent.days = max(spent.days + spent.elsewhere, (now - begin) / DAY)
        return spent

    def _add(self, spent: _Spent, freezer: str, since: int, until: int) -> None:
        shared = self._shared
        course = shared.courses.get(freezer)
        if course is None:
            spent.days += (until - since) / DAY
            spent.unwatched += (until - since) / DAY
            return
        if freezer not in self._sums:
            self._sums[freezer] = course.sums(self._worths)
        sums = self._sums[freezer]
        spent.days += sums.between(since, until)
        spent.thawed += shared.thawed[freezer].between(since, until)
        spent.guessed += shared.guessed[freezer].between(since, until)
        spent.unwatched += max(0, min(until, sums.since) - since) / DAY
        spells = shared.spells[freezer]
        spent.spells += spells[bisect_left(spells, since) : bisect_left(spells, until)]

    def _hear(self, spent: _Spent, freezer: str, since: int, until: int) -> None:
        """Add what was heard, which alone may be said of how warm it was."""
        course = self._shared.courses.get(freezer)
        if course is None:
            return
        begin = max(since, self._sums[freezer].since)
        guessed = self._shared.guessed[freezer].between(begin, until)
        if guessed and freezer not in self._heard:
            self._heard[freezer] = course.heard(self._worths)
        spent.heard += max(0, until - begin) / DAY - guessed
        spent.aged += (self._heard if guessed else self._sums)[freezer].between(begin, until)

    def _reason(self, kept: Kept, keeps: Keeping, used: float, past: tuple[int, _Spent]) -> str:
        begin, spent = past
        package, now, frozen = kept.package, self._shared.now, _frozen(kept)
        said, parts = f"{_span(keeps, used)} keeping used", []
        if used >= FAR:
            said = f"far beyond its keeping of {_published(keeps)}"
        elif used >= 1:
            parts.append("past its best" if used * keeps.least < keeps.most else "well past its best")
        if frozen is not None and frozen <= now + MARGIN:
            parts.append(f"frozen {'about ' if package.about else ''}{self._shared.month(frozen)}")
        if spent.spells:
            parts.append(f"warmed {self._spells(spent.spells)}")
        else:
            parts += self._warmth(spent, (now - begin) / DAY)
        return f"{package.food}, {said}" + (f": {', '.join(parts)}" if parts else "")

    def _warmth(self, spent: _Spent, age: float) -> list[str]:
        """Say how warm it was kept where that is worth a word, of the time that was heard and no other."""
        if spent.heard < 1 or spent.aged / spent.heard <= RUNS_WARM:
            return []
        mean = effective(spent.aged / spent.heard, self._worths)
        when = "on the whole" if age - spent.heard < 1 else f"in the {spent.heard:.0f} days that are known"
        return [f"kept as warm as {mean:.0f} °C {when}".replace("-", MINUS)]

    def _spells(self, spells: Sequence[int]) -> str:
        """Say how often it was warm and in which months, this year's without the year."""
        shared = self._shared
        counts = Counter(shared.month(spell) for spell in spells)
        year = f" {shared.month(shared.now).split()[1]}"
        named = sorted(counts, key=lambda month: -counts[month])[:MONTHS_SAID]
        said = [f"{_times(counts[month])} in {month.removesuffix(year)}" for month in counts if month in named]
        rest = sum(counts.values()) - sum(counts[month] for month in named)
        return " and ".join(said) + (f", and {_times(rest)} more" if rest else "")


_AGELESS = "nobody wrote when it was frozen; look at it, and use it soon"


def _frozen(kept: Kept) -> int | None:
    """Return when it was frozen: as written, or when it came in fresh; None if nobody knows."""
    if kept.package.frozen is not None or not kept.fresh:
        return kept.package.frozen
    return kept.stays[0].since


def _refrozen(kept: Kept, reason: str) -> str:
    return f"{reason}; frozen again after a warm spell: use it first" if kept.refrozen else reason


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


WEEKS = DAYS / 7  # in a month


def _span(keeps: Keeping, used: float) -> str:
    """Say how much of its time is used: "5 of 6 months'", "1 of 2 to 3 months'", "1 of 2 weeks'"."""
    if keeps.least < 1:
        return f"{used * keeps.least * WEEKS:.1f} of {_published(keeps)}'"
    return f"{_plain(used * keeps.least)} of {_published(keeps)}'"


def _published(keeps: Keeping) -> str:
    """Say how long it keeps: "2 to 3 months", "2 weeks"."""
    if keeps.least < 1:
        return f"{_range(keeps.least * WEEKS, keeps.most * WEEKS)} weeks"
    return f"{_range(keeps.least, keeps.most)} months"


def _range(least: float, most: float) -> str:
    low, high = f"{least:.0f}", f"{most:.0f}"
    return low if low == high else f"{low} to {high}"


def _plain(months: float) -> str:
    return f"{months:.1f}".removesuffix(".0")


def _of_food(food: Food | None, keeps: Keeping) -> tuple[str, ...]:
    """Return what was taken for granted of the food itself."""
    if food is None:
        return (f"not in the food table: counted as if it kept {keeps.least:.0f} months",)
    if not keeps.known:
        return (f"the charts would not freeze it: counted as if it kept {keeps.least:.0f} months",)
    return ()


def _of_course(spent: _Spent) -> tuple[str, ...]:
    """Return what was taken for granted of its past."""
    found = []
    if spent.guessed * DAY > GUESSED:
        lasted = show_span(round(spent.guessed * DAY))
        found.append(f"not heard for {lasted}: counted as warm as the warmest reading at either end")
    if spent.unwatched >= 1:
        found.append(
            f"{spent.unwatched:.0f} days without a sensor: how warm it was is not known; counted as 0 °F "
            f"({MINUS}18 °C), or as the freezer ordinarily ran later if that is warmer"
        )
    if spent.elsewhere >= 1:
        found.append(f"{spent.elsewhere:.0f} days before it came here: counted as no colder than 0 °F ({MINUS}18 °C)")
    return tuple(found)
