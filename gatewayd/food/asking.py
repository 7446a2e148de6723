"""Which question comes next on the walk from box to box after a warm spell, and what was last said by whom.

One question at a time: what was found, of a whole box or of each package; whether raw juice touched it; then what
becomes of it. Who cannot tell goes on, and nothing is written: the food stays not judged. The next question follows
from what was written down and from what was put off on the way, so that a walk goes on where it was left, and two may
walk at once.
"""

from collections.abc import Collection, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from enum import Enum
from itertools import groupby
from typing import Any

from gatewayd.food.fate import SENSOR, Fate, Finding
from gatewayd.food.row import Category
from gatewayd.food.table import find
from gatewayd.model.excursion import Answer, Ruling

# To each question "no" is the answer that throws food out, so that a word never changes its meaning from page to page.
COLD = "Ice crystals in it, or as cold as a refrigerator (4.4 °C, 40 °F, or below)?"
WARM = "Was it above 40 °F (4.4 °C) for 2 HOURS OR LESS?"
LONG = "There is vegetable juice in it. Was it above 40 °F for LESS THAN 6 HOURS?"
JUICE = "Is everything here clean, with no juice of raw meat or poultry on it?"
SOUND = "Is it sound: no mould, no slime, no smell of yeast?"
RULES = "Judge each package by itself. Never taste food to find out. When in doubt, throw it out."
REST = "For the rest the sensor answers, which was never above 4.4 °C (40 °F)."
AT_LIMIT = 2.0  # h; the answer "yes" to WARM: at most
BELOW_SIX = 5.9  # h; the answer "yes" to LONG: less than six
ALL = "*"  # put off: all that are left
BOX = "box"  # the key of a box of which nobody listed what is in it


class Step(Enum):
    """Name what is asked next of a box."""

    FOUND = "found"
    JUICE = "juice"
    CHART = "chart"
    DOUBT = "doubt"
    DECIDE = "decide"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Aside:
    """Hold what was put off in the box at hand: keys of items, or ALL.

    `found` and `juice` are those of which nobody could tell, `later` those to be decided on later. `each` says that
    what was found differs from package to package, `one` that each is decided on by itself.
    """

    each: bool = False
    one: bool = False
    found: frozenset[str] = frozenset()
    juice: frozenset[str] = frozenset()
    later: frozenset[str] = frozenset()


def key(fate: Fate) -> str:
    """Return what an item is known by within its box: a package's number, or BOX."""
    return BOX if fate.item.package is None else str(fate.item.package.id)


def boxes(those: Sequence[Fate]) -> list[list[Fate]]:
    """Return the items box by box, in their order."""
    return [list(group) for _, group in groupby(those, lambda fate: fate.item.box.id)]


def step(those: Sequence[Fate], said: AbstractSet[str], aside: Aside) -> tuple[Step, list[Fate]]:
    """Return what is asked next of the items of a box, and of which. `said` is who was asked for raw juice before."""
    left = [fate for fate in those if fate.open]
    unseen = [fate for fate in left if fate.answer is Answer.UNKNOWN and not among(fate, aside.found)]
    if unseen:
        return Step.FOUND, unseen[:1] if aside.each else unseen
    wet = [fate for fate in left if asks_juice(fate, said) and not among(fate, aside.juice)]
    if wet:
        return Step.JUICE, wet
    left = [fate for fate in left if not among(fate, aside.later)]
    clear = [fate for fate in left if is_clear(fate)]
    if len(clear) > 1 and not aside.one:
        return Step.CHART, clear
    doubt = [fate for fate in left if in_doubt(fate)]
    if len(doubt) > 1 and not aside.one:
        return Step.DOUBT, doubt
    return (Step.DECIDE, left[:1]) if left else (Step.DONE, [])


def asks_juice(fate: Fate, said: AbstractSet[str]) -> bool:
    """Return whether it matters, and is not known, if juice of raw meat touched an item. What is out is out."""
    if fate.verdict.ruling not in (Ruling.REFREEZE, Ruling.IF_SOUND):
        return False
    return fate.drip or (fate.by != SENSOR and key(fate) not in said)


def is_clear(fate: Fate) -> bool:
    """Return whether the chart says by itself what becomes of an item."""
    return fate.verdict.ruling in (Ruling.REFREEZE, Ruling.DISCARD) and not fate.unsaid


def which(those: Sequence[Fate]) -> dict[str, Any]:
    """Return which packages and which whole boxes some items are, as an order names them."""
    packages = [fate.item.package.id for fate in those if fate.item.package is not None]
    return {"packages": packages, "boxes": [fate.item.box.id for fate in those if fate.item.package is None]}


def brought(fate: Fate) -> str:
    """Return what doing as the chart says brings about for an item that is clear."""
    if fate.verdict.ruling is Ruling.DISCARD:
        return "Throw out"
    return "Keep as it is" if fate.by == SENSOR else "Freeze again, use first"


def in_doubt(fate: Fate) -> bool:
    """Return whether nobody could tell what the chart asks of an item: when in doubt, it is thrown out."""
    return fate.verdict.ruling is Ruling.NOT_JUDGED or fate.unsaid


def ready(those: Sequence[Fate], said: AbstractSet[str]) -> list[Fate]:
    """Return the items on which nothing more is asked before what the chart says is done."""
    return [fate for fate in those if fate.open and is_clear(fate) and not asks_juice(fate, said)]


def rulings(those: Sequence[Fate]) -> str:
    """Return what the chart says of some items, for a form to carry: what it showed must still hold when it is sent."""
    return ".".join(sorted(f"{key(fate)}-{fate.verdict.ruling.name}" for fate in those))


def has_vegetable_juice(those: Sequence[Fate]) -> bool:
    """Return whether some of it is vegetable juice, which the chart gives 6 hours."""
    return any((food := find(fate.item.food)) and food.verdict is Category.VEGETABLE_JUICE for fate in those)


def among(fate: Fate, keys: Collection[str]) -> bool:
    """Return whether an item is among some keys."""
    return ALL in keys or key(fate) in keys


# -- what was said last ----------------------------------------------------------------------------------------


def spoke_of_juice(those: Sequence[Fate], findings: Sequence[Finding]) -> set[str]:
    """Return the keys of those of which somebody said whether raw juice touched them."""
    said = {_of(finding) for finding in findings if finding.touched is not None}
    return {
        key(fate)
        for fate in those
        if fate.item.box.id in said or (fate.item.package is not None and fate.item.package.id in said)
    }


def last_of(who: str, findings: Sequence[Finding]) -> list[Finding]:
    """Return what somebody said last that still counts, all at once what was said at once; nothing where there is none.

    `findings` come the oldest first. A decision is the last only as long as nobody decided anything after it, for the
    last decision is what is undone.
    """
    decided = max((each.at for each in findings if each.decision is not None and each.stands), default=None)
    answered, touched = {}, {}
    for place, each in enumerate(findings):
        if each.answer is not None:
            answered[_of(each)] = place
        if each.touched is not None:
            touched[_of(each)] = place
    mine = [
        each
        for place, each in enumerate(findings)
        if each.who == who
        and (
            (each.decision is not None and each.stands and each.at == decided)
            or (each.answer not in (None, Answer.UNKNOWN) and answered[_of(each)] == place)
            or (each.touched is not None and touched[_of(each)] == place)
        )
    ]
    if not mine:
        return []
    last = mine[-1]
    return [each for each in mine if each.at == last.at and _kind(each) == _kind(last)]


def _of(finding: Finding) -> int | str | None:
    return finding.box if finding.package is None else finding.package


def _kind(finding: Finding) -> tuple[bool, bool]:
    return finding.decision is not None, finding.answer is not None


def told(last: Sequence[Finding]) -> str:
    """Say what was said, empty for nothing: "cold (3 rows)"."""
    if not last:
        return ""
    one = last[0]
    if one.decision is not None:
        what = one.decision.value
    elif one.answer is not None:
        what = "ice crystals, or cold" if one.answer is Answer.COLD else "warm"
        if one.hours is not None:
            what += f", {'2 hours at most' if one.hours <= AT_LIMIT else f'{one.hours:g} hours'}"
    else:
        what = "touched by raw juice" if one.touched else "not touched by raw juice"
    many = len(last)
    return what if many == 1 else f"{what} ({many} rows)"
