"""The list of what is in the freezers, as somebody looks at it: in words for people, and plain for programs."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from gatewayd.food import load, said
from gatewayd.food.place import LOOSE, SOMEWHERE, Places
from gatewayd.food.search import Finder
from gatewayd.food.table import find
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import from_wall, iso
from gatewayd.model.stock import Box, Move, Package, Sure, Turn

SURE = {Sure.COUNTED: "counted", Sure.KEPT: "kept in writing since it was counted", Sure.GUESSED: "a guess"}

SQUARES = 20  # to strike out of one package on paper: a line of them


@dataclass(frozen=True, slots=True)
class Larder:
    """Hold the list as the file has it at `now` (wall ms)."""

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
        """Return the boxes of a place, all for an empty text. LookupError for what is no place."""
        if not text:
            return self.boxes
        place = self.places.find(text)
        return [box for box in self.boxes if place.id == (box.freezer if isinstance(place, Freezer) else box.id)]

    def freezer_name(self, freezer: str) -> str:
        """Return what people call a freezer, also one that is no longer in the settings."""
        known = self.house.freezers.get(freezer)
        return known.name if known is not None else freezer or "Nobody said where"

    def day(self, wall: int) -> str:
        """Write a day."""
        when = from_wall(wall).astimezone(self.house.zone)
        return f"{when.day} {when:%b %Y}"

    def known_of(self, box: Box) -> str:
        """Write where a box is in its freezer, how full, when it was looked into, how sure its list is."""
        parts = [each for each in (box.layer, box.place) if each]
        if box.full is not None:
            parts.append(f"{box.full:.0%} full")
        parts.append(f"looked into {self.day(box.looked)}" if box.looked is not None else "never looked into")
        return f"{', '.join(parts)}; its list is {SURE[load.sure(box, self.now)]}"


def by_box(packages: Iterable[Package]) -> defaultdict[str, list[Package]]:
    """Return the packages by the id of their box."""
    found: defaultdict[str, list[Package]] = defaultdict(list)
    for one in packages:
        found[one.box].append(one)
    return found


def squares(one: Package) -> tuple[int, int]:
    """Return how many squares to strike out a package has on paper, and how many more there are than have room."""
    many = max(1, round(one.count or 1))
    return min(SQUARES, many), max(0, many - SQUARES)


# -- history ---------------------------------------------------------------------------------------------------


def only_looked(move: Move) -> bool:
    """Return whether a move says no more than that somebody looked into a box."""
    before, after = move.box_before, move.box_after
    return (
        move.turn in (Turn.CHANGED, Turn.UNDONE)
        and before is not None
        and after is not None
        and replace(before, looked=after.looked, sure=after.sure) == after
    )


def what(move: Move, names: Mapping[str, str], places: Places, *, numbered: bool = True) -> str:
    """Write what a move was about: the package with its number, how many are left, where it went; or the box."""
    before, after = move.before, move.after
    one = after or before
    if one is None:
        box = move.box_after or move.box_before
        return "" if box is None else places.name(box)
    text = f"{one.id} {said.what(before or one)}" if numbered else said.what(before or one)
    if before is not None and after is not None:
        if before.count != after.count and after.count is not None and move.turn is not Turn.UNDONE:
            text += f" → {said.number(after.count)}"
        if before.box != after.box:
            text += f" → {names.get(after.box, after.box)}"
    return text


def back(move: Move, places: Places) -> str:
    """Say how it is again after a move was undone: "8 bags of venison are on the list again"; empty for no words."""
    one = move.before or move.after
    if one is None:
        return _box_back(move, places)
    box = next((each for each in places.boxes if each.id == one.box), None)
    if move.before is None:
        again = "off the list again"
    elif move.turn is Turn.MOVED and move.after is not None and move.after.box != one.box and box is not None:
        again = f"in {places.name(box)} again"
    else:
        again = "as before" if move.turn is Turn.CHANGED else "on the list again"
    if one.count is None:
        return f"{said.what(one)}: {again}"
    return f"{said.what(one)} {'is' if one.count == 1 else 'are'} {again}"


def _box_back(move: Move, places: Places) -> str:
    box = move.box_before
    if box is None:
        made = "" if move.box_after is None else move.box_after.name
        # what stands for "in no box" was made by the way, and nobody knows it by a name
        return f"{made} is off the list again" if made not in ("", LOOSE, SOMEWHERE) else ""
    if move.box_after is None:
        return f"{places.name(box)} is on the list again"
    if move.turn is Turn.MOVED and box.freezer in places.freezers:
        return f"{box.name} is in {places.freezers[box.freezer].name} again"
    return f"{places.name(box)} is as before"


# -- for programs ----------------------------------------------------------------------------------------------


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
