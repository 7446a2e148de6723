"""Follow food that was carried from one freezer to another: what was warm in one place stays so in the next.

A package that lay in a freezer in its warm spell, and was not decided on before the next spell of its new freezer
began, is judged by both together: the warm time of both adds up, and what somebody found of it in one counts in the
other. So its verdict is the same wherever it is shown, and a question that is open in one is open in all.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import replace

from gatewayd.food.chart import WARM_AFTER
from gatewayd.food.fate import Fate, Finding, Item, fates
from gatewayd.food.first import Kept
from gatewayd.food.seen import Seen, joined
from gatewayd.model.excursion import Decision, Excursion
from gatewayd.model.house import House
from gatewayd.model.stock import Box, Turn
from gatewayd.store import excursion, exposure, stock

_Key = tuple[int, str]  # number and freezer of a spell


class Carried:
    """Tell the fate of what lay in freezers in their warm spells, as of one moment."""

    def __init__(self, conn: sqlite3.Connection, house: House, now: int) -> None:
        """Take the file, the house and the time (wall ms)."""
        self._conn, self._house, self._now = conn, house, now
        self._kept: dict[int, Kept] = {one.package.id: one for one in exposure.kept(conn)}
        # only what lay in more than one freezer can have been warm elsewhere
        self._moved = {number: one for number, one in self._kept.items() if len({s.freezer for s in one.stays}) > 1}
        self._spells = excursion.spells(conn, house) if self._moved else []
        self._whole = {part: (whole, at) for part, whole, at in _splits(conn)} if self._moved else {}
        self._seen: dict[_Key, Seen] = {}
        self._findings: dict[_Key, list[Finding]] = {}

    def story(self, spell: Excursion) -> tuple[Seen, list[Fate]]:
        """Return what was seen of a spell, and the fate of its food; also of parts that were carried elsewhere."""
        seen, findings = self._look(spell), self._said(spell)
        items = excursion.items(self._conn, spell, self._now)
        listed = {item.package.id for item in items if item.package is not None}
        parts = [one for number, one in self._moved.items() if number not in listed and self._lay(one, spell)]
        if parts:
            names = {box.id: box for box in stock.boxes(self._conn)}
            more = [Item(names.get(one.package.box) or Box(one.package.box, one.box), one.package) for one in parts]
            items = sorted([*items, *more], key=lambda i: (i.box.name, i.box.id, i.package.id if i.package else 0))
        plain = fates(items, findings, seen, spell.dark)
        return seen, [self._fate(fate, spell, seen, findings) for fate in plain]

    def _fate(self, fate: Fate, spell: Excursion, seen: Seen, findings: Sequence[Finding]) -> Fate:
        package = fate.item.package
        one = None if package is None else self._moved.get(package.id)
        if one is None:
            return fate
        others = [each for each in self._spells if self._linked(one, spell, each)]
        if not others:
            return fate
        every = joined(seen, [self._look(each) for each in others])
        said = [
            finding
            for each in others
            for finding in self._said(each)
            if finding.package == one.package.id and finding.decision is None
        ]
        both = sorted([*findings, *said], key=lambda finding: finding.at)
        dark = spell.dark or any(each.dark for each in others)
        judged = fates([fate.item], both, every, dark)[0]
        return replace(judged, also=tuple((each.number, each.freezer) for each in others))

    def _linked(self, one: Kept, spell: Excursion, other: Excursion) -> bool:
        """Return whether a package was warm in both, and nobody decided on it between them."""
        if other.freezer == spell.freezer or not self._lay(one, other):
            return False
        first, then = sorted((spell, other), key=lambda each: each.began)
        return not any(
            finding.package == one.package.id
            and finding.decision is not None
            and finding.stands
            and finding.at < then.began
            and self._look(first).warm_after(finding.at) <= WARM_AFTER
            for finding in self._said(first)
        )

    def _lay(self, one: Kept, spell: Excursion) -> bool:
        """Return whether a package lay in the freezer in a part of its spell."""
        # dated food lay in its first freezer from its date on; a date that somebody guessed rules nothing out
        dated = None if one.package.about else one.package.frozen
        begins = [dated if stay.since is None else stay.since for stay in one.stays]
        until = spell.ended if spell.ended is not None else self._now
        return any(
            stay.freezer == spell.freezer and (begin is None or begin < until) and (end is None or end > spell.began)
            for stay, begin, end in zip(one.stays, begins, [*begins[1:], None], strict=True)
        )

    def _look(self, spell: Excursion) -> Seen:
        key = (spell.number, spell.freezer)
        if key not in self._seen:
            self._seen[key] = excursion.seen(self._conn, self._house, spell, self._now)
        return self._seen[key]

    def _said(self, spell: Excursion) -> list[Finding]:
        key = (spell.number, spell.freezer)
        if key not in self._findings:
            found = excursion.findings(self._conn, spell)
            inherited = [each for part in self._whole for each in self._inherited(part, found)]
            self._findings[key] = sorted([*found, *inherited], key=lambda finding: finding.at)
        return self._findings[key]

    def _inherited(self, part: int, findings: Sequence[Finding]) -> list[Finding]:
        """Return what was said of a package before a part of it was carried away, as said of that part."""
        said, number, passed = [], part, {part}
        until = self._now
        while number in self._whole and self._whole[number][0] not in passed:
            number, at = self._whole[number]
            until = min(until, at)
            passed.add(number)
            said += [
                replace(each, package=part)
                for each in findings
                if each.package == number and each.at <= until and each.decision is not Decision.THROWN
            ]
        return said


# A part that is carried elsewhere is a new package, of the same order and the same food.
_SPLIT = """SELECT part.package, whole.package, part.at FROM move whole CROSS JOIN move part ON part."set" = whole."set"
    WHERE whole.turn = ? AND whole.package IS NOT NULL AND whole.undone IS NULL AND whole.before IS NOT NULL
    AND part.turn = ? AND part.package IS NOT NULL AND part.before IS NULL
    AND json_extract(part.after, '$.food') = json_extract(whole.before, '$.food')"""


def _splits(conn: sqlite3.Connection) -> list[tuple[int, int, int]]:
    """Return (part, whole, wall ms) of each part that was carried away."""
    return conn.execute(_SPLIT, (Turn.MOVED.value, Turn.ADDED.value)).fetchall()


def story(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> tuple[Seen, list[Fate]]:
    """Return what was seen of one spell, and the fate of its food, as of `now` (wall ms)."""
    return Carried(conn, house, now).story(spell)
