"""Read the stock from the store's file alone, and show it: lists, the history, a sheet of paper for the lid."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.clock import SystemClock
from gatewayd.food import load, said
from gatewayd.food.place import Places
from gatewayd.food.search import Finder
from gatewayd.food.table import find
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import from_wall, iso
from gatewayd.model.stock import Box, Move, Package, Sure, Turn
from gatewayd.store import stock

EMPTY_LINES = 8  # for a pen, below each box of the sheet
SURE = {Sure.COUNTED: "counted", Sure.KEPT: "kept in writing since it was counted", Sure.GUESSED: "a guess"}


@dataclass(frozen=True, slots=True)
class Larder:
    """Hold the list as the file has it."""

    house: House
    now: int
    boxes: list[Box]
    packages: list[Package]
    names: dict[str, str] = field(default_factory=dict)  # of each box, with its freezer

    def __post_init__(self) -> None:
        """Name each box once."""
        self.names.update((box.id, self.places.name(box)) for box in self.boxes)

    @property
    def places(self) -> Places:
        """Return the boxes and freezers."""
        return Places(self.boxes, self.house.freezers)

    def finder(self) -> Finder:
        """Return who finds packages by words."""
        return Finder(self.boxes, self.house.freezers, self.house.zone)

    def line(self, one: Package, *, place: bool = True) -> str:
        """Write a package with its number, and where it is."""
        where = f"; {self.names.get(one.box, one.box)}" if place else ""
        return f"{one.id:>5}  {said.package(one, self.house.zone, self.house.units)}{where}"

    def within(self, text: str) -> list[Box]:
        """Return the boxes of a place, all for an empty text; exit with a sentence for what is no place."""
        if not text:
            return self.boxes
        try:
            place = self.places.find(text)
        except LookupError as why:
            house.refuse(f"{why.args[0]}.\nTo look for food: gatewayd stock find {text}")
        return [box for box in self.boxes if place.id == (box.freezer if isinstance(place, Freezer) else box.id)]


def read(settings_file: Path | None, *, gone: bool = False) -> Larder:
    """Read the list, with `gone` also what is used up; exit with a sentence where there is no store."""
    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        found = stock.boxes(conn), stock.packages(conn, gone=gone)
    return Larder(settings.house, SystemClock().now().wall, *found)


def overview(larder: Larder, boxes: Sequence[Box]) -> str:
    """Write each freezer with its boxes, and the packages in them."""
    inside = by_box(larder.packages)
    lines: list[str] = []
    freezer = None
    for box in boxes:
        if box.freezer != freezer:
            freezer = box.freezer
            lines.append(f"{'' if not lines else chr(10)}{freezer_name(larder, freezer)}")
        lines.append(f"  {title(larder, box)}")
        lines += [f"  {larder.line(one, place=False)}" for one in inside[box.id]]
        if not inside[box.id]:
            lines.append("         nothing on its list")
    return "\n".join(lines) or "Nothing is on the list yet. Begin with: gatewayd stock add 12 bags of beans, 1 lb"


def title(larder: Larder, box: Box) -> str:
    """Write a box: its name, where it is in the freezer, how full, when it was looked into, how sure its list is."""
    where = [each for each in (box.layer, box.place) if each]
    parts = [f"{box.name} ({box.id})", *where]
    if box.full is not None:
        parts.append(f"{box.full:.0%} full")
    parts.append(f"looked into {day(box.looked, larder)}" if box.looked is not None else "never looked into")
    return f"{', '.join(parts)}; its list is {SURE[load.sure(box, larder.now)]}"


def freezer_name(larder: Larder, freezer: str) -> str:
    """Return what people call a freezer, also one that is no longer in the settings."""
    known = larder.house.freezers.get(freezer)
    return known.name if known is not None else freezer or "Nobody said where"


def day(wall: int, larder: Larder) -> str:
    """Write a day."""
    when = from_wall(wall).astimezone(larder.house.zone)
    return f"{when.day} {when:%b %Y}"


def by_box(packages: Iterable[Package]) -> defaultdict[str, list[Package]]:
    """Return the packages by the id of their box."""
    found: defaultdict[str, list[Package]] = defaultdict(list)
    for one in packages:
        found[one.box].append(one)
    return found


def sheet(larder: Larder, boxes: Sequence[Box]) -> str:
    """Write the list for a printer: squares to tick, and empty lines for a pen."""
    inside = by_box(larder.packages)
    lines = [f"{larder.house.name}: what is in the freezers, {day(larder.now, larder)}", ""]
    for box in boxes:
        lines.append(f"{larder.places.name(box)}  ({title(larder, box).split('; ')[-1]})")
        for one in inside[box.id]:
            squares = "☐" * min(20, max(1, round(one.count or 1)))
            lines.append(f"  {squares} {said.package(one, larder.house.zone, larder.house.units)}  [{one.id}]")
        lines += ["  ______________________________________________"] * EMPTY_LINES + [""]
    return "\n".join(lines)


def plain_package(one: Package, larder: Larder) -> dict[str, Any]:
    """Return a package for JSON; times in ISO 8601."""
    zone, food = larder.house.zone, find(one.food)
    return {
        "number": one.id, "box": one.box, "food": one.food, "known_as": food.name if food else None,
        "count": one.count, "each_kg": one.each, "kg": one.weight,
        "frozen": None if one.frozen is None else f"{from_wall(one.frozen).astimezone(zone):%Y-%m-%d}",
        "about": one.about, "packed": one.packed, "who": one.who, "note": one.note, "fresh": one.fresh,
        "since": None if one.since is None else iso(one.since, zone),
        "gone": None if one.gone is None else iso(one.gone, zone),
    }  # fmt: skip


def plain_box(box: Box, larder: Larder) -> dict[str, Any]:
    """Return a box for JSON."""
    return {
        "id": box.id, "name": box.name, "freezer": box.freezer, "layer": box.layer, "place": box.place,
        "full": box.full, "looked": None if box.looked is None else iso(box.looked, larder.house.zone),
        "sure": load.sure(box, larder.now).value,
    }  # fmt: skip


# -- history ---------------------------------------------------------------------------------------------------


def history(settings_file: Path | None, what: str, last: int) -> tuple[Larder, list[Move]]:
    """Return the list with what is used up, and its history, or that of a number, a box, or what words fit."""
    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        larder = Larder(
            settings.house, SystemClock().now().wall, stock.boxes(conn), stock.packages(conn, gone=True)
        )  # fmt: skip
        if not what:
            found = stock.moves(conn, last=last)
        elif what.isascii() and what.isdigit() and len(what) < 13 and stock.moves(conn, last=1, package=int(what)):
            found = stock.moves(conn, last=last, package=int(what))
        elif any(what.casefold() in (box.id, box.name.casefold()) for box in larder.boxes):
            box = next(box for box in larder.boxes if what.casefold() in (box.id, box.name.casefold()))
            found = stock.moves(conn, last=last, box=box.id)
        else:
            wanted = {one.id for one in larder.finder().search(what, larder.packages)}
            every = stock.moves(conn)
            found = [move for move in every if (move.after or move.before) and _number(move) in wanted][:last]
    return larder, found


def _number(move: Move) -> int | None:
    one = move.after or move.before
    return None if one is None else one.id


def told(move: Move, larder: Larder) -> str:
    """Write one line of the history."""
    when = from_wall(move.at).astimezone(larder.house.zone)
    undone = "  (undone)" if move.undone is not None else ""
    why = f"  ({move.why})" if move.why else ""
    return f"{when:%a %d %b %Y %H:%M}  {move.turn.value:<9} {_what(move, larder)}, by {move.who or '?'}{why}{undone}"


def _what(move: Move, larder: Larder) -> str:
    before, after = move.before, move.after
    one = after or before
    if one is None:
        box = move.box_after or move.box_before
        return "" if box is None else larder.places.name(box)
    text = f"{one.id} {said.what(before or one)}"
    if before is not None and after is not None:
        if before.count != after.count and after.count is not None and move.turn is not Turn.UNDONE:
            text += f" → {said.number(after.count)}"
        if before.box != after.box:
            text += f" → {larder.names.get(after.box, after.box)}"
    return text


def plain_move(move: Move, larder: Larder) -> dict[str, Any]:
    """Return one line of the history for JSON."""
    box_before, box_after = move.box_before, move.box_after
    return {
        "number": move.id, "order": move.set, "at": iso(move.at, larder.house.zone), "who": move.who,
        "turn": move.turn.value, "why": move.why,
        "undone": None if move.undone is None else iso(move.undone, larder.house.zone),
        "before": None if move.before is None else plain_package(move.before, larder),
        "after": None if move.after is None else plain_package(move.after, larder),
        "box_before": None if box_before is None else plain_box(box_before, larder),
        "box_after": None if box_after is None else plain_box(box_after, larder),
    }  # fmt: skip


def show_lines(lines: Iterable[str]) -> None:
    """Print lines."""
    for line in lines:
        click.echo(line)
