"""The yearly defrost: when it is due and why, a good day for it, and its steps in order.

Pure. The steps follow the extension pages named beside them; the maker's manual comes before all of them.
"""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from gatewayd.model.house import Freezer, Kind
from gatewayd.model.moment import DAY, MINUTE, from_wall, to_wall
from gatewayd.upkeep.frost import DUE_MM, OVERDUE_MM, Growth, reach, show_thickness

YEAR = 365 * DAY  # "at least once a year": So Easy to Preserve, University of Georgia; University of Missouri Extension
LATE = 60 * DAY  # behind the year before it counts as overdue. Our choice: a yearly chore waits for a good week
REST = 182 * DAY  # a day so soon after the last defrost is wasted work unless ice was measured. Our choice: half a year
# The period of the cycles grows by 23 to 72 % in six weeks where a freezer frosts up, and by 5 % at most where it does
# not: method, measured on simulated freezers. From 20 % on it is a hint, no more: the door's habits move it too.
PERIOD_HINT = 0.20
NEAR = 30 * DAY  # a hint asks for a look with a ruler within so long. Our choice


class Reason(Enum):
    """Name what says that a defrost is due."""

    YEAR = "year"
    FROST = "frost"
    TREND = "trend"


@dataclass(frozen=True, slots=True)
class Due:
    """Hold when a defrost is due and overdue (wall ms), what says so, and that in words. `early`, `late`: how unsure.

    `overdue` None: it never becomes so by itself, as with a mere hint.
    """

    by: int
    overdue: int | None
    why: Reason
    words: str
    early: int | None = None
    late: int | None = None


def due(
    freezer: Freezer,
    now: int,
    known: int | None,
    defrosted: Sequence[int] = (),
    grown: Growth | None = None,
    period: float | None = None,
) -> list[Due]:
    """Return what says when `freezer` is to be defrosted, the overdue, then the earliest first; else nothing.

    `known` is since when (wall ms) it is known, which counts where no defrost is; `defrosted` are those that are.
    `grown` is its frost log's growth, `period` the change of its cycles in six weeks (0.2 = +20 %). A freezer that
    defrosts itself is due by its frost only.
    """
    found = []
    last = max((at for at in defrosted if at <= now), default=None)
    if freezer.kind is not Kind.UPRIGHT_AUTO_DEFROST:
        begin = known if last is None else last
        if begin is not None:
            over = begin + YEAR <= now
            if last is not None:
                words = "the last defrost is more than a year ago" if over else "a year after the last defrost"
            else:
                words = NEVER + ("" if over else ", so a year after it became known")
            found.append(Due(begin + YEAR, begin + YEAR + LATE, Reason.YEAR, words))
        if period is not None and period >= PERIOD_HINT:
            words = f"its compressor's cycles grew {period:.0%} longer in six weeks, as frost makes them: measure it"
            found.append(Due(now + NEAR, None, Reason.TREND, words))
    by_frost = None if grown is None else _by_frost(grown, now)
    if by_frost is not None:
        found.append(by_frost)
    return sorted(found, key=lambda each: (each.overdue is None or each.overdue > now, each.by))


def earliest(found: Sequence[Due], defrosted: Sequence[int], now: int) -> int | None:
    """Return before when (wall ms) no day is proposed: REST after the last defrost; None where frost says sooner."""
    last = max((at for at in defrosted if at <= now), default=None)
    if last is None or any(each.why is Reason.FROST and each.by < last + REST for each in found):
        return None
    return last + REST


def _by_frost(grown: Growth, now: int) -> Due | None:
    thin, thick = reach(grown, DUE_MM), reach(grown, OVERDUE_MM)
    if thin.likely is None:
        return None
    seen = "" if grown.measured is None else f", last measured {show_thickness(grown.measured)}"
    if thin.likely <= now:
        words = f"its frost is {show_thickness(DUE_MM)} or more by now{seen}"
    else:
        pace = f"{grown.rate * 30:.1f} mm a month"
        words = f"its frost grows by about {pace}{seen}; it is due at {show_thickness(DUE_MM)}"
    return Due(thin.likely, thick.likely, Reason.FROST, words, thin.early, thin.late)


# -- a good day --------------------------------------------------------------------------------------------

AHEAD = 365  # days that are looked at
FULL_IS_LIKE = 10.0  # K: a full freezer is as bad as a room so much warmer. Our choice
FEWEST_DAYS = 15  # of a month, or its mean is the weather's. Our choice
WINTER = {True: (12, 1, 2), False: (6, 7, 8)}  # by whether the household's clocks are those of the north


@dataclass(frozen=True, slots=True)
class Day:
    """Hold a day proposed for a defrost (wall ms of its noon), and why this one, in words."""

    at: int
    words: str


def good_day(
    now: int,
    by: int | None,
    zone: dt.tzinfo,
    room: Mapping[int, Sequence[float]],
    weights: Mapping[int, float] | None = None,
    holds: float | None = None,
    begin: int | None = None,
) -> Day:
    """Propose the Saturday from now on to `by` (wall ms) in the month that is best, or the next one where it is late.

    `room` maps a month (1 to 12) to daily means (°C) of its room in the past year, `weights` to the weight (kg) that
    was in the freezer then; `holds` is what is in it now. The colder the room and the emptier the freezer, the better:
    the food keeps longer outside. How the two are weighed: FULL_IS_LIKE. No day is before `begin` (wall ms).
    """
    first = _saturday(from_wall(max(now, begin or now)).astimezone(zone).date() + dt.timedelta(days=1))
    last = first if by is None else from_wall(by).astimezone(zone).date()
    days = [first + dt.timedelta(days=7 * week) for week in range(AHEAD // 7)]
    open_days = [day for day in days if day <= last] or days[:1] if by is not None else days
    means = {month: sum(row) / len(row) for month, row in room.items() if len(row) >= FEWEST_DAYS}
    stock = weights or {}
    reasons = []
    if means:
        coldest = min(means, key=lambda month: means[month])
        reasons.append(
            f"the colder the room the better; it was coldest in {_MONTHS[coldest - 1]} ({means[coldest]:.0f} °C)"
        )
    else:
        winter = _winter(zone, now)
        named = (
            "in the cold season" if winter is None else f"from {_MONTHS[winter[0] - 1]} to {_MONTHS[winter[-1] - 1]}"
        )
        reasons.append(f"the colder the room the better, as a rule {named}; no sensor has told of the room for long")
        means = {month: 0.0 if month in (winter or ()) else 10.0 for month in range(1, 13)}
    if stock:
        emptiest = min(stock, key=lambda month: stock[month])
        reasons.append(f"it held least in {_MONTHS[emptiest - 1]} ({stock[emptiest]:.0f} kg)")
    if holds is not None:
        reasons.append(f"there are {holds:.0f} kg in it now" if holds else "it is empty now")
    fullest = max([*stock.values(), holds or 0.0, 1.0])
    known = max(means.values())

    def cost(day: dt.date) -> tuple[float, dt.date]:
        kg = stock.get(day.month, holds or 0.0)
        return means.get(day.month, known) + FULL_IS_LIKE * kg / fullest, day

    best = min(open_days, key=cost)
    noon = dt.datetime.combine(best, dt.time(12), tzinfo=zone)
    return Day(to_wall(noon), "; ".join(reasons))


def _saturday(day: dt.date) -> dt.date:
    return day + dt.timedelta(days=(5 - day.weekday()) % 7)  # two people have time then. Our choice


def _winter(zone: dt.tzinfo, now: int) -> tuple[int, ...] | None:
    """Return the winter months by the household's clocks: they are put forward in summer. None where they never are."""
    year = from_wall(now).year
    january, july = (dt.datetime(year, month, 15, tzinfo=zone).utcoffset() for month in (1, 7))
    if january is None or july is None or january == july:
        return None
    return WINTER[january < july]


_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

# -- the session -------------------------------------------------------------------------------------------

FOOD_OUT, LID, ICE, SWITCHED_ON, FOOD_BACK = "food-out", "lid", "ice", "on", "food-back"
ICE_SOON, ICE_LATE = 10 * MINUTE, 15 * MINUTE  # in which ice loosens with a fan: common practice
CREW = "Two people and 20 cubic feet take 35 to 45 minutes (common practice)."
UNTOUCHED = ICE_SOON  # who finishes sooner, with no step done, did nothing
NEVER = "no defrost of it is written down"
NOT_DUE = "nothing says that it is due"


@dataclass(frozen=True, slots=True)
class Step:
    """Hold one step: its name, what to do, and what to mind, each in a sentence or two."""

    key: str
    do: str
    mind: str = ""


# The maker first: So Easy to Preserve (University of Georgia), Washington State University. Two hours, the wash, cold
# before the food returns: University of Missouri Extension. No metal: Missouri, Washington State. Water and
# electricity: safety pages of utilities (MidAmerican Energy, Idaho Power, LADWP). The propped lid: common safety rule.
# No page of an extension service endorses hair dryers. 10 to 15 min with a fan, 35 to 45 in all: common practice.
STEPS = (
    Step(
        "manual",
        "Read what its maker's manual says of defrosting. It comes before this list.",
        "Some makers allow pans of hot water, others forbid them: pressure can build up and it may not start again.",
    ),
    Step(
        "ready",
        "Have ready: cool boxes, or boxes lined with newspaper; towels; a scraper of wood or plastic; a fan; a helper.",
    ),
    Step(
        FOOD_OUT,
        "Take the food out, pack it close and cover it. Two hours at most: from now on it is timed.",
        "Is there another freezer with room? Put what thaws first in there.",
    ),
    Step(
        "unplug",
        "Unplug it, or switch it off at the wall.",
        "With dry hands, from a dry floor. Keep plug and cord where no water runs.",
    ),
    Step(
        LID,
        "Open it wide and prop or tie the lid or door, so that it cannot fall shut.",
        "Keep children away: nobody must be able to climb in and be shut inside.",
    ),
    Step(
        ICE,
        "Lay towels in the bottom and let the fan blow in. Ice loosens in 10 to 15 minutes; lift off what is loose.",
        "No knife, no ice pick, no metal: the walls and the cooling lines behind them are pierced easily. No hair "
        "dryer, no heater; hot water only if the maker allows it. The fan stands dry, and its cord out of the water.",
    ),
    Step(
        "wash",
        "Wash it with baking soda, a tablespoon to a quart of water (15 mL to a litre); rinse, and dry it completely.",
        "Water that stays behind is the next ice. Look at the gasket while you are there.",
    ),
    Step(
        SWITCHED_ON,
        "SWITCH IT BACK ON, shut the lid, and hear that it runs.",
        "Dry hands, dry floor. gatewayd watches from now on whether it cools.",
    ),
    Step(
        FOOD_BACK,
        "Put the food back when it is cold, at 0 °F (−18 °C) or colder if there is time; after two hours in any case.",
        "Food that still has ice crystals, or is at 4.4 °C (40 °F) or colder, may be refrozen. When in doubt, throw it "
        "out. Mark what was outside, and use it first.",
    ),
)
KEYS = tuple(step.key for step in STEPS)


def next_step(done: Mapping[str, int]) -> Step | None:
    """Return the first step after the last that is done, None after the last of all."""
    last = max((KEYS.index(key) for key in done if key in KEYS), default=-1)
    return STEPS[last + 1] if last + 1 < len(STEPS) else None


def upcoming(done: Collection[str]) -> Step | None:
    """Return the step to be shown next, None after the last of all; food that is back early ends nothing else."""
    known = [KEYS.index(key) for key in done if key in KEYS and key != FOOD_BACK]
    left = STEPS[max(known, default=-1) + 1 :]
    return next((step for step in left if step.key not in done), None)


def told_day(when: dt.datetime, why: str) -> str:
    """Say which day is proposed, and why that."""
    return f"A good day: {when:%A} {when.day} {when:%B %Y}, for {why}."


def switch_unsaid(done: Collection[str], lasted: int) -> bool:
    """Return whether who finishes must be asked if the freezer is on again: steps `done`, begun `lasted` ms ago."""
    return SWITCHED_ON not in done and (bool(done) or lasted >= UNTOUCHED)


def told_step(step: Step) -> str:
    """Say a step for people: its number and name, what to do, what to mind."""
    number = KEYS.index(step.key) + 1
    return f"Step {number} of {len(KEYS)}, {step.key}: {step.do}" + (f"\n  Mind: {step.mind}" if step.mind else "")
