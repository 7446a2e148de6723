"""Write the lines of the use-first list: where a package is and how much there is of it, and plain for programs."""

from typing import Any

from gatewayd.food.first import Use
from gatewayd.model.house import House
from gatewayd.model.moment import iso


def where(use: Use, house: House) -> str:
    """Write which package it is, in which box and freezer, and how much there is of it."""
    package = use.kept.package
    amount = much(use)
    return f"no. {package.id}, {place(use, house)}{f': {amount}' if amount else ''}"


def place(use: Use, house: House) -> str:
    """Write in which box and freezer it is."""
    freezer = use.kept.stays[-1].freezer
    name = house.freezers[freezer].name if freezer in house.freezers else freezer
    return ", ".join(part for part in (use.kept.box, name) if part) or "nobody wrote where"


def much(use: Use) -> str:
    """Write how many there are and what each weighs, empty where neither is known."""
    package = use.kept.package
    count = "" if package.count is None else f"{package.count:g} of "
    each = "" if package.each is None else f"{package.each:.3g} kg each" if count else f"{package.each:.3g} kg"
    return f"{count}{each}" if each else count.removesuffix(" of ")


def plain(use: Use, house: House) -> dict[str, Any]:
    """Return a line for JSON."""
    package, freezer = use.kept.package, use.kept.stays[-1].freezer
    return {
        "number": package.id,
        "food": package.food,
        "known_as": use.food.name if use.food else None,
        "group": use.food.group.value if use.food else None,
        "count": package.count,
        "kg": None if package.weight is None else round(package.weight, 3),
        "box": use.kept.box,
        "freezer": freezer,
        "frozen": None if package.frozen is None else iso(package.frozen, house.zone)[:10],
        "about": package.about,
        "used": None if use.used is None else round(use.used, 4),
        "months_used": None if use.months is None else round(use.months, 3),
        "keeps_months": [use.keeps.least, use.keeps.most],
        "refrozen": use.kept.refrozen,
        "reason": use.reason,
        "taken_for_granted": list(use.doubts),
    }


def left_out(nameless: int) -> str:
    """Say how many were left out because nobody knows of which kind they are; empty for none."""
    return f"Left out, since nobody knows what kind of food it is: {nameless}." if nameless else ""
