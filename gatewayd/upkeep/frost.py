"""The frost log: how thick the ice was when somebody measured it, how fast it grows, and when it is due.

Household frost is uneven and a ruler is coarse, so a line through few points is unsure; what former years showed of the
same freezer steadies it. Everything said of a day ahead carries how unsure it is.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from gatewayd.model.moment import DAY
from gatewayd.thermal.ageing import slope

MM_PER_INCH = 25.4  # exact: the international inch of 1959
DUE_MM = MM_PER_INCH / 4  # "more than 1/4 inch over a large area": So Easy to Preserve, University of Georgia
OVERDUE_MM = MM_PER_INCH / 2  # makers' usual wording is 1/4 to 1/2 inch: a how-to page, and from memory
THICKEST = 300.0  # mm; thicker ice than this leaves no room for food, so it is a slip of the pen. Our choice
RULER = 1.0  # mm; one sigma of a ruler on frost that is uneven by about so much. Our choice
# How much the growth of one season differs from that of another, as a part of it, until the log itself shows it: a
# humid summer and how often the lid is open change it. Our choice, on the safe side; with a log of two years the
# spread of the freezer's own seasons counts where it is wider.
SEASONS_DIFFER = 0.25
# However well a season is known, what is left of it lies in another part of the year. Our choice: asked at
# day 200 of 52 made-up seasons, 41 end between the days named; without it 40 do.
WEATHER = 0.2
LIKELY = 1.28  # sigmas: four of five between the early and the late day, were the errors normal
# A thickness below half of the two before it, and thinner than both by this much, means that somebody defrosted and did
# not write it down. Our choice: four sigmas of a ruler, and two readings, so that one slip of the pen is no defrost.
FELL_BY = 4.0  # mm
LEAST_SPAN = 10 * DAY  # a growth from two readings closer together is the ruler's, not the ice's. Our choice
HORIZON = 5 * 365  # days; a later day is no plan

_FRACTION = re.compile(r"(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)")
_WRITE = "write it like 5 mm, 0.5 cm or 1/4 in"


@dataclass(frozen=True, slots=True)
class Thickness:
    """Hold one line of the log: how thick (mm) the frost of a freezer was, when (wall ms), and who measured it."""

    freezer: str
    at: int
    mm: float
    who: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Growth:
    """Hold what is known of a freezer's frost: `now` mm at `at` (wall ms), growing by `rate` mm a day.

    `now_off` and `rate_off` are one sigma of each. `readings` counts those of this season, `seasons` the earlier ones
    that steady it. `measured` is the thickest of the newest readings' day, which needs no line: ice that is measured
    thick enough is due however fast it grew. Where nothing shows how fast, `rate` is 0 and `rate_off` without bound.
    """

    at: int
    now: float
    now_off: float
    rate: float
    rate_off: float
    readings: int
    seasons: int
    measured: float | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """Hold when a thickness is reached (wall ms): likely, and with four in five between `early` and `late`.

    None where it is not within five years.
    """

    likely: int | None
    early: int | None
    late: int | None


def parse_thickness(text: str, usual: str = "") -> float:
    """Read `5 mm`, `0.5 cm`, `1/4 in` or `1 1/2 inches` as mm; a bare number is in the unit `usual`, if there is one.

    Raise ValueError for what is no thickness of frost.
    """
    found = re.fullmatch(r"\s*([0-9./ ]*[0-9])\s*([A-Za-z\"]*)\s*", text)
    if found is None:
        raise ValueError(f"{text!r} is not a thickness; {_WRITE}")
    number, unit = found[1], found[2].lower() or usual
    fraction = _FRACTION.fullmatch(number)
    try:
        value = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3]) if fraction else float(number)
    except (ValueError, ZeroDivisionError) as wrong:
        raise ValueError(f"{text!r} is not a thickness; {_WRITE}") from wrong
    match unit:
        case "mm":
            mm = value
        case "cm":
            mm = value * 10
        case "in" | "inch" | "inches" | '"':
            mm = value * MM_PER_INCH
        case "":
            raise ValueError(f"{text!r} has no unit; {_WRITE}")
        case _:
            raise ValueError(f"{text!r} has an unknown unit {unit!r}; allowed are mm, cm and in")
    if mm > THICKEST:
        raise ValueError(f"{text!r} would be {mm:.0f} mm; at most {THICKEST:.0f} mm can be written down")
    return mm


def show_thickness(mm: float) -> str:
    """Write a thickness for people in both measures: `6.4 mm (1/4 in)`; inches in sixteenths, as on a ruler."""
    whole, rest = divmod(round(mm / MM_PER_INCH * 16), 16)
    parts = [str(whole)] if whole else []
    if rest:
        shared = math.gcd(rest, 16)
        parts.append(f"{rest // shared}/{16 // shared}")
    text = f"{mm:.1f}".removesuffix(".0") + " mm"
    return f"{text} ({' '.join(parts)} in)" if parts else f"{text} (under 1/16 in)"


def show_growth(now: float, month: float | None, off: float | None, *, inches: bool) -> str:
    """Say how thick the frost is by now (mm) and by how much it grows in a month (mm), with one sigma of that."""
    thick = f"About {show_thickness(max(0.0, now))} by now"
    if month is None or off is None:
        return f"{thick}. How fast it grows is not known yet: measure it again in a few weeks."
    unit, one, places = ("in", MM_PER_INCH, 2) if inches else ("mm", 1.0, 1)
    return f"{thick}, growing by {month / one:.{places}f} {unit} a month, give or take {off / one:.{places}f}."


Point = tuple[float, float]  # days since the season's first, mm


def seasons(log: Iterable[Thickness], defrosted: Iterable[int]) -> list[list[Thickness]]:
    """Return the log by seasons, from one defrost to the next; the last is the present one and may be empty.

    A defrost that is known (`defrosted`, wall ms) begins a season with a line of 0 mm. One that nobody wrote down is
    seen where the frost became much thinner, and begins one with the thin reading.
    """
    rows = sorted(log, key=lambda row: row.at)
    ends = sorted(defrosted)
    found: list[list[Thickness]] = [[]]
    for row in rows:
        while ends and ends[0] <= row.at:
            found.append([Thickness(row.freezer, ends.pop(0), 0.0)])
        thinnest = min((before.mm for before in found[-1][-2:]), default=0.0)
        if thinnest - row.mm >= FELL_BY and row.mm < thinnest / 2:
            found.append([])
        found[-1].append(row)
    found += [[Thickness(rows[-1].freezer if rows else "", end, 0.0)] for end in ends]
    return [season for season in found[:-1] if season] + found[-1:]


def growth(log: Sequence[Thickness], defrosted: Sequence[int], now: int) -> Growth | None:
    """Return how the frost of one freezer grows, None where neither this season nor a former one shows it.

    Frost whose newest reading is thick enough to be due is told of from its first reading on.

    The line is Theil-Sen's, through zero at a defrost that is known; readings after `now` (wall ms) do not count.
    """
    *former, present = seasons([r for r in log if r.at <= now], [at for at in defrosted if at <= now])
    rates = [rate for season in former if (rate := _rate(season)) is not None]
    own = _rate(present)
    real = [row for row in present if row.mm > 0 or row.who or row.note]
    newest = max((row.mm for row in real if row.at > real[-1].at - DAY), default=None) if real else None
    if own is None and not rates:
        if newest is None or newest < DUE_MM:
            return None
        return Growth(now, newest, RULER, 0.0, math.inf, len(real), 0, newest)
    rate, off = _weighed(own, _own_error(present), rates)
    rate = max(rate, 0.0)
    level, level_off = _level(present, rate, off, now)
    return Growth(now, level, level_off, rate, off, len(real), len(rates), newest)


def _rate(season: Sequence[Thickness]) -> float | None:
    """Return the growth (mm a day) of one season, None where it is too short to show one."""
    if len(season) < 2 or season[-1].at - season[0].at < LEAST_SPAN:
        return None
    return max(0.0, slope([(row.at / DAY, row.mm) for row in season]))


def _own_error(season: Sequence[Thickness]) -> float:
    """Return one sigma (mm a day) of a season's own line: what the ruler does to it, and what is still to come of it.

    A season that has run for a quarter of a year has not shown its summer yet, so it is no surer than others differ.
    """
    if len(season) < 2:
        return math.inf
    days = [row.at / DAY for row in season]
    middle = sum(days) / len(days)
    spread = math.sqrt(sum((day - middle) ** 2 for day in days))
    return RULER / spread if spread > 0 else math.inf


def _weighed(own: float | None, own_off: float, former: Sequence[float]) -> tuple[float, float]:
    """Return the growth to go by and its sigma (mm a day): of this season and the former ones, by their sureness."""
    if not former:
        rate = own or 0.0
        return rate, math.hypot(own_off, rate * SEASONS_DIFFER)
    usual = median(former)
    spread = 0.0
    if len(former) > 1:
        spread = math.sqrt(sum((rate - usual) ** 2 for rate in former) / (len(former) - 1))
    apart = max(spread, usual * SEASONS_DIFFER)
    usual_off = apart * math.sqrt(1 + 1 / len(former))  # of one more season like them
    if own is None:
        return usual, usual_off
    own_off = math.hypot(own_off, own * SEASONS_DIFFER)
    weight = own_off**-2 / (own_off**-2 + usual_off**-2) if own_off > 0 and usual_off > 0 else 1.0
    rate = weight * own + (1 - weight) * usual
    known = 1 / math.sqrt(own_off**-2 + usual_off**-2) if own_off > 0 and usual_off > 0 else own_off
    return rate, math.hypot(known, rate * WEATHER)


def _level(season: Sequence[Thickness], rate: float, off: float, now: int) -> tuple[float, float]:
    """Return how thick (mm) it is at `now` and its sigma: the last readings, grown on by the rate since."""
    if not season:
        return 0.0, math.inf
    last = season[-3:]  # the newest tell most of how thick it is; three, so that one slip does not. Our choice
    grown = [row.mm + rate * (now - row.at) / DAY for row in last]
    age = (now - season[-1].at) / DAY
    return max(0.0, median(grown)), math.hypot(RULER / math.sqrt(len(last)), off * age)


def reach(grown: Growth, mm: float) -> Reach:
    """Return when the frost reaches a thickness (mm), with the days between which it will with four in five."""
    if grown.measured is not None and grown.measured >= mm:
        return Reach(grown.at, grown.at, grown.at)

    def day(sigmas: float) -> int | None:
        """Return the first day on which the thickness plus some sigmas of it is enough."""
        if _beyond(grown, 0, sigmas) >= mm:
            return grown.at
        if _beyond(grown, HORIZON, sigmas) < mm:
            return None
        low, high = 0.0, float(HORIZON)
        while high - low > 0.5:
            middle = (low + high) / 2
            low, high = (low, middle) if _beyond(grown, middle, sigmas) >= mm else (middle, high)
        return grown.at + round(high) * DAY

    return Reach(day(0.0), day(LIKELY), day(-LIKELY))


def _beyond(grown: Growth, days: float, sigmas: float) -> float:
    """Return how thick (mm) it is some days on, that many sigmas above what is likely."""
    growing = grown.rate_off * days if math.isfinite(grown.rate_off) else 0.0
    off = math.hypot(grown.now_off, growing) if math.isfinite(grown.now_off) else 0.0
    return grown.now + grown.rate * days + sigmas * off
