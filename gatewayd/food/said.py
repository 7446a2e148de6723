"""Write packages and boxes in words, as a household says them: "12 bags of beans, 1 lb each, about Jun 2025"."""

from datetime import tzinfo

from gatewayd.model.moment import DAY, from_wall
from gatewayd.model.stock import Package
from gatewayd.model.units import KG_PER_POUND, TemperatureUnit

OUNCES = 16  # to the pound
_PLURAL = {"box": "boxes", "loaf": "loaves", "pouch": "pouches"}
MONTH = 30.44  # days, the mean of the calendar
_DAYS_SAID, _MONTHS_SAID = 60, 36  # people count in days for two months, in months for three years (our choice)
_NO_PIECE = ("vacuum", "foil")  # ways of packing that are not counted


def number(value: float) -> str:
    """Write how many there are, without a needless point."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def weight(kg: float, units: TemperatureUnit) -> str:
    """Write a weight: kg and g, or lb and oz where the household reads °F."""
    if units is TemperatureUnit.F:
        ounces = round(kg / KG_PER_POUND * OUNCES, 1)
        pounds, rest = divmod(ounces, OUNCES)
        if not pounds:
            return f"{number(rest)} oz"
        return f"{pounds:.0f} lb {number(rest)} oz" if rest else f"{pounds:.0f} lb"
    return f"{round(kg * 1000)} g" if kg < 1 else f"{number(kg)} kg"


def day(frozen: int, zone: tzinfo, *, about: bool) -> str:
    """Write a day: "12 Jun 2025", or "about Jun 2025" where it is a guess."""
    when = from_wall(frozen).astimezone(zone)
    return f"about {when:%b %Y}" if about else f"{when.day} {when:%b %Y}"


def old(frozen: int, now: int, *, about: bool) -> str:
    """Write how old it is at `now` (both wall ms): "3 days old", "about 17 months old", "today"."""
    days = max(0, now - frozen) // DAY
    if not days:
        return "today"
    if days < _DAYS_SAID:
        many, unit = days, "day"
    else:
        months = round(days / MONTH)
        many, unit = (months, "month") if months < _MONTHS_SAID else (round(days / MONTH / 12), "year")
    return f"{'about ' if about else ''}{many} {unit}{'' if many == 1 else 's'} old"


def what(one: Package, count: float | None = None) -> str:
    """Write how many of what: "12 bags of beans", "beans"; `count` in place of the package's own."""
    many = one.count if count is None else count
    if many is None:
        return f"{one.food} ({one.packed})" if one.packed else one.food
    *before, last = one.packed.split() or [""]
    if not last or one.packed.startswith(_NO_PIECE):
        return f"{number(many)} × {one.food}" + (f" ({one.packed})" if one.packed else "")
    several = last if many == 1 else _PLURAL.get(last, f"{last}s")
    return f"{number(many)} {' '.join((*before, several))} of {one.food}"


def package(one: Package, zone: tzinfo, units: TemperatureUnit) -> str:
    """Write a package in one line, what was not said left out."""
    parts = [what(one)]
    if one.each is not None:
        parts.append(weight(one.each, units) + (" each" if one.count is not None and one.count != 1 else ""))
    if one.frozen is not None:
        parts.append(day(one.frozen, zone, about=one.about))
    if one.who:
        parts.append(f"by {one.who}")
    if one.note:
        parts.append(f"({one.note})")
    return ", ".join(parts)
