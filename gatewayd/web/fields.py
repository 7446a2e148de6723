"""Read what is known of a package from the separate fields of a form, and write it into them."""

from collections.abc import Callable
from datetime import date
from typing import Any

from gatewayd.food import cell, said
from gatewayd.food.draft import LONGEST, tidy
from gatewayd.food.larder import Larder
from gatewayd.food.order import entering
from gatewayd.model.moment import from_wall
from gatewayd.model.stock import Package
from gatewayd.web.form import Form, Wrong

NAMES = ("food", "count", "each", "frozen", "packed", "who", "note")
CALLED = {
    "food": "Food", "count": "How many", "each": "How much each", "frozen": "Date frozen", "packed": "Packed in",
    "who": "Whose", "note": "Note",
}  # fmt: skip
Fields = dict[str, Any]


def today(there: Larder) -> date:
    """Return the house's day."""
    return from_wall(there.now).astimezone(there.house.zone).date()


def typed(form: Form) -> dict[str, str]:
    """Return the fields as they were typed. Raise Wrong where one is too long."""
    return {name: form.text(name) for name in NAMES}


def read(texts: dict[str, str], there: Larder) -> Fields:
    """Return the fields of `model.stock.Package` that texts say, `frozen` and `about` together.

    Raise Wrong with the name of the field for one that cannot be used.
    """
    found: Fields = {}
    for name, text in texts.items():
        try:
            found |= _read(name, text, there)
        except (ValueError, LookupError, OverflowError) as why:
            raise Wrong(f"{CALLED[name]}: {why.args[0]}.") from why
    return found


def _read(name: str, text: str, there: Larder) -> Fields:
    numbers: dict[str, Callable[[], object]] = {
        "count": lambda: cell.count(text),
        "each": lambda: cell.weight(text, ""),
    }
    if name in numbers:
        return {name: numbers[name]()}
    if name == "frozen":
        day = cell.day(text, today(there))
        return {"frozen": None if day is None else day.noon(there.house.zone), "about": day is not None and day.about}
    if name == "food" and not any(letter.isalpha() for letter in text):
        raise ValueError("say which food it is")
    return {name: tidy(name, text) if name in LONGEST else text}


def entered(found: Fields, text: str, there: Larder, *, fresh: bool) -> Fields:
    """Return the fields of a package that is put in now, with its day and whether it is still to be frozen."""
    day, unfrozen = entering(cell.day(text, today(there)), today(there), fresh=fresh)
    noon = None if day is None else day.noon(there.house.zone)
    return found | {"frozen": noon, "about": day is not None and day.about, "fresh": unfrozen}


def written(one: Package, there: Larder) -> dict[str, str]:
    """Return what is known of a package as it stands in the fields; `read` understands it."""
    zone, units = there.house.zone, there.house.units
    return {
        "food": one.food,
        "count": "" if one.count is None else said.number(one.count),
        "each": "" if one.each is None else said.weight(one.each, units),
        "frozen": "" if one.frozen is None else said.day(one.frozen, zone, about=one.about),
        "packed": one.packed,
        "who": one.who,
        "note": one.note,
    }
