"""Carry out what is ordered of the stock, inside one transaction: each verb says what it did, or why not."""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from gatewayd.food import said
from gatewayd.food.draft import Draft, tidy
from gatewayd.food.larder import back, only_looked
from gatewayd.food.order import amend, parse
from gatewayd.food.place import LOOSE, SOMEWHERE, THIS, Places, slug
from gatewayd.food.search import Finder
from gatewayd.food.table import find, suggest
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY, from_wall
from gatewayd.model.pack import pack
from gatewayd.model.stock import Box, Move, Package, Sure, Turn
from gatewayd.store import stock
from gatewayd.store.stock import Pen

Plain = dict[str, Any]
LISTED = 8  # packages that are shown where one must be chosen: what fits a small screen


class Refused(Exception):
    """An order that cannot be carried out; the text says why, and what to do."""


class Stocking:
    """Carry out one order of `who` at `now` (wall ms)."""

    def __init__(self, conn: sqlite3.Connection, house: House, now: int, who: str) -> None:
        """Read the boxes there are; `conn` has the transaction open."""
        self.conn = conn
        self.house = house
        self.now = now
        self.pen: Pen = stock.pen(conn, now, who)
        self.boxes = {box.id: box for box in stock.boxes(conn)}

    @property
    def places(self) -> Places:
        """Return the boxes and freezers as they are now."""
        return Places(list(self.boxes.values()), self.house.freezers)

    # -- what is meant -------------------------------------------------------------------------------------

    def place(self, text: str) -> Box | Freezer:
        """Return the place that is meant."""
        try:
            return self.places.find(text)
        except LookupError as why:
            raise Refused(str(why.args[0])) from why

    def choose(self, what: str, *, oldest: bool = False) -> Package:
        """Return the one package that is meant, by its number or a few words; of several the oldest if that is said."""
        plain = what.strip().removeprefix("#")
        one = stock.package(self.conn, int(plain)) if plain.isascii() and plain.isdigit() and len(plain) < 13 else None
        if one is not None and one.gone is None:
            return one
        if not what.strip():
            raise Refused("Which package? Say its number or a few words, like: plums porch 2025")
        finder = Finder(self.boxes.values(), self.house.freezers, self.house.zone)
        found = list(finder.search(what, stock.packages(self.conn)))
        if not found:
            near = ", ".join(food.name for food in suggest(what))
            gone = f"Number {plain} is used up. " if one is not None else ""
            hint = f" Did you mean {near}?" if near else ""
            raise Refused(f"{gone}Nothing on the list fits {what.strip()!r}.{hint} See all with: gatewayd stock list")
        if len(found) == 1 or oldest:
            return min(found, key=lambda each: (each.frozen is None, each.frozen or 0, each.id))
        lines = "\n".join(f"  {self.line(each)}" for each in found[:LISTED])
        more = f"\n  and {len(found) - LISTED} more" if len(found) > LISTED else ""
        raise Refused(
            f"{len(found)} fit {what.strip()!r}. Say the number:\n{lines}{more}\nFor the one frozen first say --oldest."
        )

    def line(self, one: Package) -> str:
        """Write a package with its number and place."""
        return f"{one.id:>4}  {self.words(one)}; {self.places.name(self.boxes[one.box])}"

    def words(self, one: Package) -> str:
        """Write a package."""
        return said.package(one, self.house.zone, self.house.units)

    # -- the verbs -----------------------------------------------------------------------------------------

    def add(self, lines: Sequence[str]) -> Plain:
        """Add a package for each line of words; all of them or none."""
        today = self._today()
        drafts, wrong = [], []
        for number, line in enumerate(lines, 1):
            try:
                drafts.append(parse(line, today, self.house.zone, self.places))
            except ValueError as why:
                wrong.append(f"line {number}: {why}" if len(lines) > 1 else str(why))
        if wrong:
            raise Refused("\n".join([*wrong, "Nothing was added."]))
        if not drafts:
            raise Refused("Nothing was said to add. Say it like: 12 bags of beans, 1 lb, frozen June 2025, top basket")
        return self.put_in(drafts)

    def put_in(self, drafts: Sequence[Draft]) -> Plain:
        """Add a package for each draft."""
        added = [self._put_in(draft) for draft in drafts]
        for box in {one.box for one in added}:
            self._looked(box)
        told = [f"{self.line(one).strip()}" for one in added]
        return self._done("Added:\n" + "\n".join(f"  {line}" for line in told), added, hints=self._hints(added))

    def _put_in(self, draft: Draft) -> Package:
        long_frozen = draft.frozen is not None and self.now - draft.frozen > 2 * DAY
        since = None if long_frozen and not draft.fresh else self.now
        return self.pen.add(_package(draft, self._box(draft.box, draft.freezer), since))

    def take(self, what: str, many: float | None, why: str, *, oldest: bool = False) -> Plain:
        """Take one or `many` out of a package."""
        one, taken = self.choose(what, oldest=oldest), 1.0 if many is None else many
        if taken <= 0:
            raise Refused(f"{said.number(taken)} cannot be taken out; say 1 or more.")
        if one.count is None:
            self.pen.change(one, one, Turn.TAKEN, f"{said.number(taken)} {why}".strip())
            self._looked(one.box)
            text = f"Noted. How many there were is not known, so it stays on the list: {self.line(one).strip()}\n"
            return self._done(f"{text}Was it the last? gatewayd stock use {one.id}", [one])
        if taken > one.count:
            raise Refused(
                f"The list has {self.line(one).strip()}\nNothing was changed.\nIf that was all of it: "
                f"gatewayd stock use {one.id}\nIf there are more: gatewayd stock count {one.id} --is N"
            )
        left = round(one.count - taken, 6)
        after = replace(one, count=left, gone=None if left else self.now)
        self.pen.change(one, after, Turn.TAKEN, why)
        self._looked(one.box)
        rest = f"Left: {said.what(after)}" if left else "That was the last."
        text = f"Taken out: {said.what(one, taken)} from {self.places.name(self.boxes[one.box])}. {rest}"
        return self._done(text, [after])

    def use(self, what: str, why: str, turn: Turn = Turn.USED, *, oldest: bool = False) -> Plain:
        """Take all of a package off the list, used up or thrown out."""
        one = self.choose(what, oldest=oldest)
        after = replace(one, count=None if one.count is None else 0.0, gone=self.now)
        self.pen.change(one, after, turn, why)
        self._looked(one.box)
        return self._done(f"{turn.value.capitalize()}: {self.line(one).strip()}", [after])

    def move(self, what: str, to: str, many: float | None, why: str, *, oldest: bool = False) -> Plain:
        """Move a package, `many` of it, or a whole box."""
        target = self.place(to)
        box = self._box_named(what)
        if box is not None and many is None:
            return self._move_box(box, target, why)
        one = self.choose(what, oldest=oldest)
        there = target if isinstance(target, Box) else self._loose(target.id)
        if there.id == one.box:
            raise Refused(f"It is there already: {self.line(one).strip()}")
        moved = self._moved(one, there)
        if many is not None and one.count is not None and many != one.count:
            if not 0 < many < one.count:
                raise Refused(f"{said.number(many)} cannot be moved of {said.what(one)}.")
            self.pen.change(one, replace(one, count=round(one.count - many, 6)), Turn.MOVED, why)
            moved = self.pen.add(replace(moved, count=many), f"moved from number {one.id}")
        else:
            self.pen.change(one, moved, Turn.MOVED, why)
        self._looked(one.box)
        self._looked(there.id)
        return self._done(f"Moved: {self.line(moved).strip()}", [moved])

    def _moved(self, one: Package, there: Box) -> Package:
        if self.boxes[one.box].freezer == there.freezer:
            return replace(one, box=there.id)
        # it comes frozen into another freezer, whose temperatures count from now on
        return replace(one, box=there.id, since=self.now, fresh=False)

    def _move_box(self, box: Box, target: Box | Freezer, why: str) -> Plain:
        if isinstance(target, Box):
            raise Refused(f"{box.name} is a box; name a freezer to move it to, not {target.name}.")
        if target.id == box.freezer:
            raise Refused(f"{box.name} is in {target.name} already.")
        if box.name in (LOOSE, SOMEWHERE):
            raise Refused(f"{box.name!r} is no box that can be carried; move its packages, or make a box first.")
        after = replace(box, freezer=target.id, layer="", place="", looked=self.now)
        self.pen.change_box(box, after, Turn.MOVED, why)
        inside = [one for one in stock.packages(self.conn) if one.box == box.id]
        moved = [replace(one, since=self.now, fresh=False) for one in inside]
        for before, one in zip(inside, moved, strict=True):
            self.pen.change(before, one, Turn.MOVED, why)
        self.boxes[box.id] = after
        return self._done(f"Moved: {box.name} with {_rows(len(moved))} to {target.name}.", moved, [after])

    def count(self, what: str, many: float | None, full: float | None, why: str) -> Plain:
        """Count again: a package has `many`, or the list of a box, or of a freezer's boxes, is right as it stands."""
        if many is not None:
            one = self.choose(what)
            after = replace(one, count=many, gone=None if many else self.now)
            self.pen.change(one, after, Turn.COUNTED, why)
            self._looked(one.box)
            return self._done(f"Counted: {self.line(after).strip()}" if many else "Counted: none is left.", [after])
        place = self.place(what)
        boxes = [place] if isinstance(place, Box) else [b for b in self.boxes.values() if b.freezer == place.id]
        if not boxes:
            raise Refused(f"Nothing is on the list of {self.places.name(place)} yet.")
        for box in boxes:
            counted = replace(box, looked=self.now, sure=Sure.COUNTED, full=box.full if full is None else full)
            self.pen.change_box(box, counted, Turn.COUNTED, why)
            self.boxes[box.id] = counted
        inside = sum(1 for one in stock.packages(self.conn) if one.box in {box.id for box in boxes})
        text = f"The list of {self.places.name(place)} is right as it stands: {_rows(inside)}."
        return self._done(text, [], [self.boxes[box.id] for box in boxes])

    def set(self, what: str, line: str, news: Plain | None = None) -> Plain:
        """Change what is known of a package: what `line` says in words, or the fields of `news`."""
        one = self.choose(what)
        if news is not None:
            return self._set(one, news)
        try:
            news = amend(line, one, self._today(), self.house.zone, self.places)
        except ValueError as why:
            raise Refused(f"{why}. Nothing was changed.") from why
        return self._set(one, news)

    def _set(self, one: Package, news: Plain) -> Plain:
        after = replace(one, **news)
        self.pen.change(one, after, Turn.CHANGED)
        return self._done(f"Changed: {self.line(after).strip()}", [after], hints=self._hints([after]))

    def box(self, name: str, news: Plain, *, gone: bool) -> Plain:
        """Make a box, or change what is known of it; `news` holds fields of `Box`."""
        if news.get("freezer"):
            place = self.place(news["freezer"])
            if isinstance(place, Box):
                raise Refused(f"{place.name} is a box, and a box stands in a freezer.")
            news = news | {"freezer": place.id}
        known = self._box_named(name, str(news.get("freezer", "")))
        if gone:
            return self._drop(known, name)
        if known is None:
            known = self._new_box(**{"name": tidy("box", name), **news})  # a new name counts at once
            return self._done(f"There is a new box: {self.places.name(known)} ({known.id}).", [], [known])
        if "freezer" in news and news["freezer"] != known.freezer:
            raise Refused(
                f"{known.name} stands in another freezer. Move it: gatewayd stock move {known.id} --to FREEZER"
            )
        after = replace(known, **news)
        self.pen.change_box(known, after)
        self.boxes[known.id] = after
        return self._done(f"Changed: {self.places.name(after)} ({after.id}).", [], [after])

    def _drop(self, box: Box | None, name: str) -> Plain:
        if box is None:
            raise Refused(f"There is no box {name!r}.")
        inside = sum(1 for one in stock.packages(self.conn) if one.box == box.id)
        if inside:
            raise Refused(f"{box.name} has {_rows(inside)} on its list; move them or use them up first.")
        self.pen.drop_box(box)
        return self._done(f"{self.places.name(box)} is off the list.", [], [box])

    def undo(self, orders: Sequence[int] = ()) -> Plain:
        """Undo the last order that stands, or `orders`, the newest first, if they are the last ones."""
        undone: list[Move] = []
        for wanted in orders or (stock.standing(self.conn),):
            if wanted != stock.standing(self.conn):
                raise Refused("Something else was done since. Nothing was undone; look again at what was the last.")
            undone += stock.undo(self.conn, self.now, self.pen.who)
        if not undone:
            raise Refused("There is nothing to undo.")
        self.boxes = {box.id: box for box in stock.boxes(self.conn)}
        told = [f"  {text}" for move in undone if not only_looked(move) and (text := back(move, self.places))]
        more = [f"  and {len(told) - LISTED} more"] if len(told) > LISTED else []
        return self._done("Undone, it is as before:\n" + "\n".join([*told[:LISTED], *more]), [])

    def bring(self, drafts: Sequence[Draft]) -> Plain:
        """Add or change the packages of a file, all of them."""
        known = {one.id: one for one in stock.packages(self.conn, gone=True)}
        done: Counter[str] = Counter()
        number = self.pen.free_number()
        fresh: list[Package] = []
        places: dict[tuple[str, str], Box] = {}
        boxes = len(self.boxes)
        for draft in drafts:
            box = places.get((draft.box, draft.freezer))
            if box is None:
                box = places[draft.box, draft.freezer] = self._box(draft.box, draft.freezer)
            if draft.number is None:
                fresh.append(_package(draft, box, draft.since, number + len(fresh)))
                continue
            before = known.get(draft.number)
            if before is None:
                raise Refused(f"There is no package {draft.number} on the list any more. Nothing was imported.")
            after = replace(_package(draft, box, draft.since, before.id), gone=before.gone)
            done["changed" if after != before else "as they were"] += 1
            if after != before:
                self.pen.change(before, after, Turn.CHANGED, "import")
        self.pen.add_all(fresh, "import")
        done["added"] = len(fresh)
        done["new boxes"] = len(self.boxes) - boxes
        listed = ", ".join(f"{many} {what}" for what, many in done.items() if many)
        return self._done(f"Imported: {listed or 'nothing'}.", []) | {"counts": dict(done)}

    def _today(self) -> date:
        return from_wall(self.now).astimezone(self.house.zone).date()

    # -- what they share -----------------------------------------------------------------------------------

    def _box_named(self, text: str, freezer: str = "") -> Box | None:
        plain = text.strip().casefold()
        if plain.startswith(THIS):
            if plain.removeprefix(THIS) not in self.boxes:
                raise Refused("That box is no longer on the list. Nothing was changed.")
            return self.boxes[plain.removeprefix(THIS)]
        of = [b for b in self.boxes.values() if plain in (b.id, b.name.casefold()) and freezer in ("", b.freezer)]
        if len(of) > 1:
            raise Refused(f"{text!r} is the name of several boxes; say the id: {', '.join(sorted(b.id for b in of))}")
        return of[0] if of else None

    def _box(self, box: str, freezer: str) -> Box:
        """Return the box by id, or by name in a freezer, made if there is none; no box means loose in the freezer."""
        if not box:
            alone = next(iter(self.house.freezers)) if len(self.house.freezers) == 1 else ""
            return self._loose(freezer or alone)
        known = self.boxes.get(box)
        if known is not None and freezer in ("", known.freezer):
            return known
        return self._box_named(box, freezer) or self._new_box(box, freezer=freezer)

    def _loose(self, freezer: str) -> Box:
        name = LOOSE if freezer else SOMEWHERE
        for box in self.boxes.values():
            if (box.name, box.freezer) == (name, freezer):
                return box
        return self._new_box(name, freezer=freezer)

    def _new_box(self, name: str, **news: Any) -> Box:
        wish = f"{news['freezer']}-loose"[:40] if name == LOOSE and news.get("freezer") else slug(name)
        made = Box(stock.free_box_id(self.conn, wish), name, **news)
        self.pen.new_box(made)
        self.boxes[made.id] = made
        return made

    def _looked(self, box: str) -> None:
        """Note that somebody looked into a box, and that its list, if it was counted, has been kept since."""
        before = self.boxes[box]
        after = replace(before, looked=self.now, sure=Sure.KEPT if before.sure is Sure.COUNTED else before.sure)
        self.pen.change_box(before, after, Turn.CHANGED, "looked into")
        self.boxes[box] = after

    def _hints(self, added: Sequence[Package]) -> list[str]:
        hints = []
        numbers: dict[str, list[int]] = {}
        for one in added:
            if find(one.food) is None:
                numbers.setdefault(one.food, []).append(one.id)
        for food, those in numbers.items():
            near = [each.name for each in suggest(food)]
            way = " ".join(f"gatewayd stock set {number} food {near[0]}" for number in those[:1] if near)
            rest = f" (and so with {', '.join(map(str, those[1:]))})" if those[1:] else ""
            meant = f" Did you mean {', '.join(near)}? Then say: {way}{rest}" if near else ""
            hints.append(f"{food!r} is not in the table of foods; it stays as you wrote it.{meant}")
        return hints

    def _done(
        self, text: str, packages: Sequence[Package], boxes: Sequence[Box] = (), hints: Sequence[str] = ()
    ) -> Plain:
        return {
            "done": True, "text": text, "packages": [pack(one) for one in packages],
            "boxes": [pack(box) for box in boxes], "hints": list(hints), "warnings": [], "order": self.pen.set,
        }  # fmt: skip


def _package(draft: Draft, box: Box, since: int | None, number: int = 0) -> Package:
    return Package(
        number, box.id, draft.food, draft.count, draft.each, draft.frozen, draft.about, draft.packed, draft.who,
        draft.note, since, draft.fresh,
    )  # fmt: skip


def _rows(n: int) -> str:
    return "1 row" if n == 1 else f"{n} rows"
