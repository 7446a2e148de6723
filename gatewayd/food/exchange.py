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

from gatewayd.food import cell
from gatewayd.food.draft import Draft, tidy
from gatewayd.food.place import LOOSE, SOMEWHERE, Places
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
            text = f"{name!r} is no column known here. Say --map {name!r}=FIELD ({fields_are}), or =- to leave it out"
            faults.append(Fault(line, text))
        elif meant != IGNORED and meant not in FIELDS:
            faults.append(Fault(line, f"{meant!r} is no field; there are {', '.join(FIELDS)}, and - to leave one out"))
        elif meant != IGNORED and fields.index(meant) < index:
            faults.append(Fault(line, f"{name!r} is {meant} once more. Leave one of the two out with --map {name!r}=-"))
        elif meant != IGNORED:
            found.append(_Column(name, index, _ORDER.index(meant), _reader(meant, header, house)))
    faults.extend(
        Fault(line, f"the file has no such column as {name!r}; it has {', '.join(h.strip()[:40] for h in headers)}")
        for name in mapping or {}
        if name.strip().casefold() not in {header.strip().casefold() for header in headers}
    )
    if "food" not in fields:
        faults.append(Fault(line, "no column says the food; name it food. Or say --map NAME=food"))
    return found


def _read(rows: Iterable[tuple[int, Sequence[str], str]], columns: list[_Column], house: House, taken: Taken) -> None:
    """Read column by column: a household's cells repeat, so each text is looked at once."""
    whole = []
    for line, cells, wrong in rows:
        if wrong:
            taken.faults.append(Fault(line, wrong))
        else:
            whole.append((line, cells))
    table: list[list[Any]] = [[empty] * len(whole) for empty in _EMPTY]
    bad: set[int] = set()
    for each in columns:
        texts = [cells[each.index] for _, cells in whole]
        known = {text: _cell(each, text) for text in set(texts)}
        table[each.place] = values = [known[text] for text in texts]
        if any(value.__class__ is _Wrong for value in known.values()):
            faulty = [n for n, value in enumerate(values) if value.__class__ is _Wrong]
            bad.update(faulty)
            said = {text: str(known[text]) for text in {texts[n] for n in faulty}}  # once, however many rows say it
            taken.faults.extend(Fault(whole[n][0], said[texts[n]], each.header) for n in faulty)
    frozen, about = table[_FROZEN], table[_ABOUT]
    for n, day in enumerate(frozen):
        if day.__class__ is tuple:
            frozen[n], about[n] = day[0], day[1] or about[n]
    _check_foods(whole, table, bad, taken)
    _check_numbers(whole, table[_NUMBER], bad, taken)
    _check_places(whole, table, house.places, bad, taken)
    taken.drafts = [Draft(*row) for n, row in enumerate(zip(*table, strict=True)) if n not in bad]
    taken.lines = [line for n, (line, _) in enumerate(whole) if n not in bad]


_FOOD, _FROZEN, _ABOUT = _ORDER.index("food"), _ORDER.index("frozen"), _ORDER.index("about")
_BOX, _FREEZER, _NUMBER = _ORDER.index("box"), _ORDER.index("freezer"), _ORDER.index("number")
_Whole = list[tuple[int, Sequence[str]]]


def _check_foods(whole: _Whole, table: list[list[Any]], bad: set[int], taken: Taken) -> None:
    """See that each row names a food; one without anything in it is left out."""
    for n, food in enumerate(table[_FOOD]):
        if not food:
            bad.add(n)
            if any(text.strip() for text in whole[n][1]):
                taken.faults.append(Fault(whole[n][0], "no food is named"))


def _check_numbers(whole: _Whole, numbers: list[Any], bad: set[int], taken: Taken) -> None:
    """See that no package stands twice in the file."""
    seen: dict[int, int] = {}
    for n, number in enumerate(numbers):
        if number.__class__ is int:
            line = whole[n][0]
            before = seen.setdefault(number, line)
            if before != line:
                bad.add(n)
                taken.faults.append(Fault(line, f"the id {number} stands on line {before} already"))


def _check_places(whole: _Whole, table: list[list[Any]], places: Places, bad: set[int], taken: Taken) -> None:
    """Find each box by its name within its freezer; one that is not known is to be made."""
    boxes, freezers = table[_BOX], table[_FREEZER]
    found: dict[tuple[str, str], tuple[str, str] | str] = {}
    for n, (box, freezer) in enumerate(zip(boxes, freezers, strict=True)):
        if box and box.__class__ is freezer.__class__ is str:
            place = found.get((box, freezer))
            if place is None:
                place = found[box, freezer] = _place(box, freezer, places)
            if isinstance(place, str):
                bad.add(n)
                taken.faults.append(Fault(whole[n][0], place))
            else:
                boxes[n], freezers[n] = place
    new = {place for place in found.values() if isinstance(place, tuple)} - {(b.id, b.freezer) for b in places.boxes}
    sound = Counter(pair for n, pair in enumerate(zip(boxes, freezers, strict=True)) if n not in bad)
    taken.boxes = Counter({(box, freezer): sound[box, freezer] for box, freezer in new if sound[box, freezer]})


def _place(box: str, freezer: str, places: Places) -> tuple[str, str] | str:
    """Return (box, freezer), or what is wrong."""
    plain = box.casefold()
    of = [b for b in places.boxes if plain in (b.id, b.name.casefold()) and (not freezer or b.freezer == freezer)]
    if len(of) > 1:
        return f"{box!r} is the name of several boxes ({', '.join(b.id for b in of)}); say the freezer, or the id"
    return (of[0].id, of[0].freezer) if of else (box, freezer)


# -- cells -----------------------------------------------------------------------------------------------------


def _cell(each: _Column, text: str) -> object:
    """Read a cell, or say what is wrong with it."""
    try:
        return each.read(text)
    except (ValueError, LookupError, OverflowError) as wrong:
        return _Wrong(wrong.args[0])


def _reader(meant: str, header: str, house: House) -> Callable[[str], object]:
    unit = re.search(r"\((.*?)\)", header)
    simple: dict[str, Callable[[str], object]] = {
        "number": lambda text: None if house.as_new else cell.number(text, house.numbers),
        "count": cell.count,
        "each": lambda text: cell.weight(text, unit[1] if unit else "kg" if header.strip().casefold() == "kg" else ""),
        "frozen": lambda text: _day(text, house),
        "about": cell.flag,
        "fresh": cell.flag,
        "since": lambda text: cell.since(text, house.zone),
        "freezer": lambda text: house.places.freezer(text).id if text.strip() else "",
    }
    return simple.get(meant) or (lambda text: tidy(meant, cell.bare(text)))


def _day(text: str, house: House) -> tuple[int, bool] | None:
    """Return the noon of a day (wall ms), and whether it is a guess."""
    day = cell.day(text, house.today)
    return None if day is None else (day.noon(house.zone), day.about)


# -- what is there already -------------------------------------------------------------------------------------


def set_apart(taken: Taken, packages: Iterable[Package], places: Places, zone: tzinfo) -> tuple[Taken, list[int]]:
    """Return what came of a file without the new rows that equal a package on the list, and the lines of those.

    Equal are box, food, count, weight, day and note. Each package stands for one row: two that are alike are two. One
    that the file names by its id stands for that row alone.
    """
    boxes = {box.id: box for box in places.boxes}
    numbers = {draft.number for draft in taken.drafts}
    alone = next(iter(places.freezers)) if len(places.freezers) == 1 else ""

    def where(box: str, freezer: str) -> tuple[str, str]:
        known = boxes.get(box)
        if known is not None and known.name not in (LOOSE, SOMEWHERE):
            return known.id, known.freezer
        return ("", known.freezer) if known is not None else (box, freezer if box else freezer or alone)

    def key(one: Draft | Package, freezer: str) -> tuple[object, ...]:
        day = None if one.frozen is None else from_wall(one.frozen).astimezone(zone).date()
        each = None if one.each is None else round(one.each, 6)
        return where(one.box, freezer), one.food.casefold(), one.count, each, day, one.note

    there = Counter(key(one, "") for one in packages if one.gone is None and one.id not in numbers)
    kept, same = Taken([], [], taken.boxes, taken.faults), []
    for draft, line in zip(taken.drafts, taken.lines, strict=True):
        mine = key(draft, draft.freezer) if draft.number is None else None
        if mine is not None and there[mine] > 0:
            there[mine] -= 1
            same.append(line)
        else:
            kept.drafts.append(draft)
            kept.lines.append(line)
    return kept, same


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
