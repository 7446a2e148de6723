"""Turn rows of cells into drafts, saying every fault with its line, and packages into rows of cells.

Cells that a spreadsheet would compute (they begin with = + - @, a tab or a line feed) are text here on the way in. On
the way out such a cell gets an apostrophe in front, which is taken off again on the way in (OWASP "CSV injection").
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import date, tzinfo
from typing import Any

from gatewayd.food import cell, dated
from gatewayd.food.draft import Draft, tidy
from gatewayd.food.place import Places
from gatewayd.model.moment import from_wall, iso
from gatewayd.model.stock import Box, Package

IGNORED = "-"  # mapped to this a column is left out
_NAMES = {
    "number": "id number no nr package",
    "food": "food item name what product description",
    "count": "count qty quantity pieces packages many howmany amount bags",
    "each": "each weight size weighteach eachweight perpackage kg",
    "frozen": "frozen date datefrozen frozenon day dated",
    "about": "about guess approximate",
    "packed": "packed packing packaging package_type container how",
    "who": "who by person owner",
    "note": "note notes comment comments remark remarks",
    "box": "box basket drawer shelf bin",
    "freezer": "freezer",
    "since": "since added putin in",
    "fresh": "fresh",
}
FIELDS = tuple(_NAMES)
_COLUMNS = {name: field for field, names in _NAMES.items() for name in names.split()}
HEADER = (
    "id",
    "food",
    "count",
    "each (kg)",
    "frozen",
    "about",
    "packed",
    "who",
    "note",
    "box",
    "freezer",
    "since",
    "fresh",
)
_ORDER = (
    "food",
    "count",
    "each",
    "frozen",
    "about",
    "packed",
    "who",
    "note",
    "box",
    "freezer",
    "since",
    "fresh",
    "number",
)
_EMPTY: tuple[Any, ...] = ("", None, None, None, False, "", "", "", "", "", None, False, None)
_KEPT = 20_000  # different cells of a column that are remembered; more are read anew


@dataclass(frozen=True, slots=True)
class Fault:
    """Say what is wrong on a line; `column` is its header, empty where the whole line is meant."""

    line: int
    text: str
    column: str = ""

    def __str__(self) -> str:
        """Write it for people."""
        return f"line {self.line}{', ' if self.column else ''}{self.column}: {self.text}"


@dataclass(slots=True)
class Taken:
    """Hold what came of a file: the drafts, the boxes (name, freezer) that they bring along, and all that is wrong."""

    drafts: list[Draft] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    boxes: Counter[tuple[str, str]] = field(default_factory=Counter)
    faults: list[Fault] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class House:
    """Hold what cells are read against: places, today, the zone, and the packages on the list by number."""

    places: Places
    today: date
    zone: tzinfo
    numbers: AbstractSet[int] = frozenset()
    as_new: bool = False  # numbers are those of another list: all rows are new packages


def column(header: str, mapping: Mapping[str, str] | None = None) -> str | None:
    """Return the field a header stands for, IGNORED for one that is left out, None for one that is not known."""
    plain = header.strip()
    for name, meant in (mapping or {}).items():
        if name.strip().casefold() == plain.casefold():
            return meant
    return _COLUMNS.get(re.sub(r"\(.*\)|[\s_-]", "", plain.casefold()))


def take(
    rows: Iterable[tuple[int, Sequence[str], str]], house: House, mapping: Mapping[str, str] | None = None
) -> Taken:
    """Read rows of (line, cells, what is wrong with its form) as drafts; the first is the header.

    `mapping` gives headers a field of FIELDS, or IGNORED. Nothing is guessed: a column that is not known is a fault.
    """
    taken, ahead = Taken(), iter(rows)
    first = next(ahead, None)
    if first is None:
        taken.faults.append(Fault(1, "the file is empty; it must begin with a header, as: " + ",".join(HEADER)))
        return taken
    columns = _columns(first[0], first[1], house, mapping, taken.faults)
    if first[2]:
        taken.faults.append(Fault(first[0], first[2]))
    _read(ahead, columns, house, taken)
    taken.faults.sort(key=lambda fault: fault.line)
    return taken


@dataclass(slots=True)
class _Column:
    header: str
    index: int
    place: int  # in the draft
    read: Callable[[str], object]
    known: dict[str, object] = field(default_factory=dict)


class _Wrong(str):
    """What is wrong with a cell."""

    __slots__ = ()


def _columns(
    line: int, headers: Sequence[str], house: House, mapping: Mapping[str, str] | None, faults: list[Fault]
) -> list[_Column]:
    found: list[_Column] = []
    fields = [column(header, mapping) for header in headers]
    for index, (header, meant) in enumerate(zip(headers, fields, strict=True)):
        name = header.strip()[:40]
        if meant is None:
            fields_are = ", ".join(FIELDS)
            text = f"{name!r} is no column known here; say --map {name!r}=FIELD ({fields_are}), or =- to leave it out"
            faults.append(Fault(line, text))
        elif meant != IGNORED and meant not in FIELDS:
            faults.append(Fault(line, f"{meant!r} is no field; there are {', '.join(FIELDS)}, and - to leave one out"))
        elif meant != IGNORED and fields.index(meant) < index:
            faults.append(Fault(line, f"{name!r} is {meant} once more; leave one of the two out with --map {name!r}=-"))
        elif meant != IGNORED:
            found.append(_Column(name, index, _ORDER.index(meant), _reader(meant, header, house)))
    faults.extend(
        Fault(line, f"--map {name!r}: the file has no such column; it has {', '.join(h.strip()[:40] for h in headers)}")
        for name in mapping or {}
        if name.strip().casefold() not in {header.strip().casefold() for header in headers}
    )
    if "food" not in fields:
        faults.append(Fault(line, "no column says the food; name it food, or say --map NAME=food"))
    return found


def _read(rows: Iterator[tuple[int, Sequence[str], str]], columns: list[_Column], house: House, taken: Taken) -> None:
    faults, drafts, lines = taken.faults, taken.drafts, taken.lines
    cells_of = [(each, each.index, each.place, each.known) for each in columns]
    seen: dict[int, int] = {}
    where = _Where(house.places, taken.boxes)
    for line, cells, wrong in rows:
        if wrong:
            faults.append(Fault(line, wrong))
            continue
        values = list(_EMPTY)
        sound = True
        for each, index, place, known in cells_of:
            text = cells[index]
            try:
                value = known[text]
            except KeyError:
                value = _cell(each, text)
            if value.__class__ is _Wrong:
                faults.append(Fault(line, str(value), each.header))
                sound = False
            values[place] = value
        if values[_FROZEN].__class__ is dated.Day:
            day: dated.Day = values[_FROZEN]
            values[_FROZEN], values[_ABOUT] = day.noon(house.zone), values[_ABOUT] or day.about
        if not values[_FOOD] and not any(cells[each.index].strip() for each in columns):
            continue  # an empty row
        sound = _check_row(line, values, seen, where, faults) and sound
        if sound:
            drafts.append(Draft(*values))
            lines.append(line)


_FOOD, _FROZEN, _ABOUT = _ORDER.index("food"), _ORDER.index("frozen"), _ORDER.index("about")
_BOX, _FREEZER, _NUMBER = _ORDER.index("box"), _ORDER.index("freezer"), _ORDER.index("number")


def _check_row(line: int, values: list[Any], seen: dict[int, int], where: "_Where", faults: list[Fault]) -> bool:
    """Check what only the whole row shows: a food, a number of its own, a box that is one."""
    before = len(faults)
    if not values[_FOOD]:
        faults.append(Fault(line, "no food is named"))
    number = values[_NUMBER]
    if number is not None and number.__class__ is int:
        if number in seen:
            faults.append(Fault(line, f"the id {number} stands on line {seen[number]} already"))
        seen.setdefault(number, line)
    if values[_BOX].__class__ is str and values[_FREEZER].__class__ is str:
        found = where.find(values[_BOX], values[_FREEZER])
        if isinstance(found, str):
            faults.append(Fault(line, found))
        else:
            values[_BOX], values[_FREEZER] = found
    return len(faults) == before


class _Where:
    """Find boxes by name within a freezer."""

    def __init__(self, places: Places, new: Counter[tuple[str, str]]) -> None:
        self._places = places
        self._new = new
        self._known: dict[tuple[str, str], tuple[str, str] | str] = {}

    def find(self, box: str, freezer: str) -> tuple[str, str] | str:
        """Return (box, freezer), or what is wrong. A box that is not known is to be made."""
        found = self._known.get((box, freezer))
        if found is None:
            found = self._known[box, freezer] = self._look(box, freezer)
        if box and found == (box, freezer):
            self._new[box, freezer] += 1
        return found

    def _look(self, box: str, freezer: str) -> tuple[str, str] | str:
        plain = box.casefold()
        of = [
            b
            for b in self._places.boxes
            if plain in (b.id, b.name.casefold()) and (not freezer or b.freezer == freezer)
        ]
        if not box or not of:
            return box, freezer
        if len(of) > 1:
            return f"{box!r} is the name of several boxes ({', '.join(b.id for b in of)}); say the freezer, or the id"
        return of[0].id, of[0].freezer


# -- cells -----------------------------------------------------------------------------------------------------


def _cell(each: _Column, text: str) -> object:
    """Read a cell that was not met before."""
    if len(each.known) > _KEPT:
        each.known.clear()
    value: object
    try:
        value = each.read(text)
    except (ValueError, LookupError, OverflowError) as wrong:
        value = _Wrong(wrong.args[0])
    each.known[text] = value
    return value


def _reader(meant: str, header: str, house: House) -> Callable[[str], object]:
    unit = re.search(r"\((.*?)\)", header)
    simple: dict[str, Callable[[str], object]] = {
        "number": lambda text: None if house.as_new else cell.number(text, house.numbers),
        "count": cell.count,
        "each": lambda text: cell.weight(text, unit[1] if unit else "kg" if header.strip().casefold() == "kg" else ""),
        "frozen": lambda text: cell.day(text, house.today),
        "about": cell.flag,
        "fresh": cell.flag,
        "since": lambda text: cell.since(text, house.zone),
        "freezer": lambda text: house.places.freezer(text).id if text.strip() else "",
    }
    return simple.get(meant) or (lambda text: tidy(meant, cell.bare(text)))


# -- out -------------------------------------------------------------------------------------------------------


def give(packages: Iterable[Package], boxes: Iterable[Box], places: Places, zone: tzinfo) -> Iterator[list[str]]:
    """Yield the header and a row for each package, such that `take` makes the same packages of them again."""
    yield list(HEADER)
    all_boxes = {box.id: box for box in boxes}
    names = Counter((box.name.casefold(), box.freezer) for box in all_boxes.values())
    freezers = {who: cell.harmless(freezer.name) for who, freezer in places.freezers.items()}
    where = {
        box.id: (
            cell.harmless(box.name if names[box.name.casefold(), box.freezer] == 1 else box.id),
            freezers.get(box.freezer, cell.harmless(box.freezer)),
        )
        for box in all_boxes.values()
    }
    days: dict[int, str] = {}
    times: dict[int, str] = {}
    for one in packages:
        frozen = "" if one.frozen is None else days.get(one.frozen)
        if frozen is None and one.frozen is not None:
            frozen = days[one.frozen] = f"{from_wall(one.frozen).astimezone(zone):%Y-%m-%d}"
        since = "" if one.since is None else times.get(one.since)
        if since is None and one.since is not None:
            since = times[one.since] = iso(one.since, zone)
        box, freezer = where.get(one.box, (cell.harmless(one.box), ""))
        yield [
            str(one.id), cell.harmless(one.food), _plain(one.count), _plain(one.each), frozen or "",
            "yes" if one.about else "", cell.harmless(one.packed), cell.harmless(one.who), cell.harmless(one.note),
            box, freezer, since or "", "yes" if one.fresh else "",
        ]  # fmt: skip


def _plain(value: float | None) -> str:
    return "" if value is None else repr(float(value)).removesuffix(".0")
