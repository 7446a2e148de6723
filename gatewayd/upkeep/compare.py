"""Compare the alarms that were with those that would have been."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from gatewayd.model.event import Event
from gatewayd.model.moment import HOUR
from gatewayd.upkeep.metrics import Spell, activations, spells

APART = HOUR  # two spells of one alarm that do not overlap are one and the same if they begin so close: our choice


class Verdict(Enum):
    """Name how an alarm differs."""

    ADDED = "added"
    GONE = "gone"
    MOVED = "moved"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Change:
    """Pair a spell that was with the one that would have been; None where there is no such."""

    verdict: Verdict
    was: Spell | None
    would: Spell | None

    @property
    def spell(self) -> Spell:
        """Return the one that would have been, or that was."""
        found = self.would or self.was
        if found is None:
            raise ValueError("a change pairs at least one spell")
        return found


def compare(past: Sequence[Event], played: Sequence[Event], since: int, until: int, close: int) -> list[Change]:
    """Pair the alarms that stood between `since` and `until` (wall ms), in order of time.

    Two of one alarm belong together if they overlap or begin within an hour; they are the same if they begin within
    `close` ms, or both stood at `since`. Only what people would have seen counts.
    """
    was, would = _shown(past, since, until), _shown(played, since, until)
    found: list[Change] = []
    for key in was.keys() | would.keys():
        found += _pair(was[key], would[key], lambda a, b: max(a, b) < since or abs(a - b) <= close, until)
    return sorted(found, key=lambda change: (change.spell.raised, change.spell.subject, change.spell.kind))


def _shown(events: Sequence[Event], since: int, until: int) -> defaultdict[tuple[str, str], list[Spell]]:
    """Return the spells that were before people within the span, each from when it came up."""
    all_of = spells(events, until)
    found: defaultdict[tuple[str, str], list[Spell]] = defaultdict(list)
    seen: set[int] = set()
    for event in activations(events):
        if event.first in all_of and event.first not in seen:
            seen.add(event.first)
            spell = replace(all_of[event.first], raised=event.at.wall)
            if event.at.wall < until and (spell.over is None or spell.over > since):
                found[event.subject, event.kind].append(spell)
    return found


def _pair(was: list[Spell], would: list[Spell], same: Callable[[int, int], bool], until: int) -> list[Change]:
    found: list[Change] = []
    old, new = 0, 0
    while old < len(was) and new < len(would):
        a, b = was[old], would[new]
        if _belong(a, b, until):
            found.append(Change(Verdict.SAME if same(a.raised, b.raised) else Verdict.MOVED, a, b))
            old, new = old + 1, new + 1
        elif a.raised < b.raised:
            found.append(Change(Verdict.GONE, a, None))
            old += 1
        else:
            found.append(Change(Verdict.ADDED, None, b))
            new += 1
    found += [Change(Verdict.GONE, spell, None) for spell in was[old:]]
    return found + [Change(Verdict.ADDED, None, spell) for spell in would[new:]]


def _belong(a: Spell, b: Spell, until: int) -> bool:
    if abs(a.raised - b.raised) <= APART:
        return True
    return a.raised <= (b.over or until) and b.raised <= (a.over or until)
