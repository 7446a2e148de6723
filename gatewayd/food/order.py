"""Read one line of words as packages: "12 bags of beans, 1 lb, frozen about June 2025, top basket".

The first part says what and may say all; the others, apart by commas, may come in any order. What is in brackets is a
note. A part that is neither a weight nor a day nor a place is not guessed at but asked about: wet hands write short,
and what lands in the wrong box is not found again.
"""

import re
from dataclasses import dataclass, field
from datetime import date, tzinfo
from typing import Any

from gatewayd.food import amount, dated
from gatewayd.food.draft import CELLS, Draft, tidy
from gatewayd.food.place import Places
from gatewayd.food.row import Category
from gatewayd.food.table import find
from gatewayd.model.stock import Box, Package

LONGEST = 1000  # characters of a line

_PACKED = {
    word: name
    for name, words in {
        "bag": "bags", "block": "blocks", "bottle": "bottles", "box": "boxes", "carton": "cartons",
        "container": "containers", "jar": "jars", "pack": "packs", "package": "packages", "packet": "packets",
        "parcel": "parcels", "piece": "pieces", "pint": "pints", "portion": "portions", "pouch": "pouches",
        "punnet": "punnets", "quart": "quarts", "tin": "tins", "tray": "trays", "tub": "tubs",
    }.items()
    for word in (name, words)
}  # fmt: skip
_PLAIN = _PACKED | {"loaves": "loaf", "pots": "pot"}  # these only with "of": a pot roast is no pot
_PACKING = re.compile(
    rf"(?:in )?(?:an? )?((?:(?:zip|freezer|plastic|paper|vacuum)[ -]?)?(?:{'|'.join(_PACKED)})|"
    r"vacuum(?:[ -]?packed)?|foil)",
    re.IGNORECASE,
)
_EACH = re.compile(r"\s*(?:each|apiece|a piece|(?:a|per) (?:bag|box|pack|packet|piece|tub|jar))\b", re.IGNORECASE)
_ALL = r"(?:in all|in total|total|altogether|all together)(?![\w-])"
_TOTAL = re.compile(rf"\s*{_ALL}", re.IGNORECASE)
_TOTAL_FIRST = re.compile(rf"{_ALL}(?: of)?\s*:?\s*", re.IGNORECASE)
# behind the food or the count, "3 kg venison in all", "12 bags in all of beans": it means the weight there too
_TOTAL_APART = re.compile(rf"(?<=\S)\s+{_ALL}(?=\s*$|\s+of\b)", re.IGNORECASE)
KG_PER_LITRE = 1.0  # of soup, stock, milk, juice: within a few parts in a hundred (common practice)
_LIQUID = frozenset(
    (Category.STEW, Category.STOCK, Category.MILK, Category.FRUIT_JUICE, Category.VEGETABLE_JUICE, Category.TOMATO,
     Category.PUREE)
)  # fmt: skip
_SPOKEN = re.compile(r"\b(?:soups?|stews?|stocks?|broths?|bouillon|sauces?|gravy|milk|juices?)$", re.IGNORECASE)
_DATED = re.compile(r"(?:frozen|put in|from|dated?|packed|made)(?: (?:on|in))?\s*:?\s+", re.IGNORECASE)
_FRESH = re.compile(r"fresh|not frozen(?: yet)?|put in fresh", re.IGNORECASE)
_BY = re.compile(r"(?:by|from)\s+(.+)", re.IGNORECASE)
_NOTE = re.compile(r"note\s*:?\s+(.+)", re.IGNORECASE)
_IN = re.compile(r"(?:in|into|to|at)(?: the)?\s+", re.IGNORECASE)
_TAIL = 4  # words that a day or a place at the end may have


@dataclass(slots=True)
class _Found:
    """Gather what the parts say; `kg` is of one, or of all where `total`."""

    food: str = ""
    count: float | None = None
    kg: float | None = None
    total: bool = False
    apiece: bool = False  # the weight was said to be that of each
    litres: str = ""  # the weight as it was said, if it was a volume
    day: dated.Day | None = None
    dated: bool = False
    fresh: bool = False
    packed: str = ""
    who: str = ""
    box: str = ""
    freezer: str = ""
    placed: bool = False
    notes: list[str] = field(default_factory=list)


def parse(line: str, today: date, zone: tzinfo, places: Places) -> Draft:
    """Read one line as a draft. ValueError with a sentence where a part is not understood or said twice.

    `today` is the local day, in which "fresh" food is frozen unless another day is said; `zone` is the household's.
    """
    return _drafted(_read(line, today, places), today, zone)


def _read(line: str, today: date, places: Places) -> _Found:
    if len(line) > LONGEST:
        raise ValueError(f"this line has {len(line)} characters; {LONGEST} are allowed. Write one line for each food")
    found = _Found()
    found.notes += re.findall(r"\(([^()]*)\)", line)
    plain = re.sub(r"\([^()]*\)", " ", line)
    if re.search(r"\d,\d", plain):
        raise ValueError(f"{line.strip()!r} has a comma in a number; write 1.5 lb, and a blank behind a comma")
    plain = re.sub(r"\b([A-Za-z]{3,9}\.? \d{1,2}(?:st|nd|rd|th)?),( \d{4})\b", r"\1\2", plain)  # June 12, 2025
    first, *others = [part.strip() for part in re.split(r"[,;]", plain) if part.strip()] or [""]
    for part in others:
        _take(part, found, today, places)
    _take_first(first, found, today, places)
    return found


def _drafted(found: _Found, today: date, zone: tzinfo) -> Draft:
    food = tidy("food", found.food)
    if not re.search(r"[^\W\d_]", food):
        raise ValueError("which food? Begin with it, as in: 12 bags of beans, 1 lb, top basket")
    if found.litres and not _pours(food):
        raise ValueError(f"{found.litres!r} of {food} says no weight; write what it weighs, like 600 g or 1 lb")
    each = found.kg
    if each is not None and found.total and not found.apiece and found.count:
        each /= found.count
    day, fresh = entering(found.day, today, fresh=found.fresh)
    return Draft(
        food=food,
        count=found.count,
        each=each,
        frozen=None if day is None else day.noon(zone),
        about=day is not None and day.about,
        packed=tidy("packed", found.packed),
        who=tidy("who", found.who),
        note=tidy("note", "; ".join(note.strip() for note in found.notes if note.strip())),
        box=found.box,
        freezer=found.freezer,
        fresh=fresh,
    )


def entering(day: dated.Day | None, today: date, *, fresh: bool) -> tuple[dated.Day | None, bool]:
    """Return the day of freezing and whether food goes in unfrozen: what is fresh is frozen today, and the reverse."""
    found = day or (dated.Day(today) if fresh else None)
    return found, fresh or (found is not None and found.day == today and not found.about)


_CALLED = re.compile(r"(?:food|name|called)(?:\s*:\s*|\s+)(.+)", re.IGNORECASE)


def amend(line: str, one: Package, today: date, zone: tzinfo, places: Places) -> dict[str, Any]:
    """Read what is known better of a package now, "1 lb, June 2025, food runner beans", as fields of `Draft`.

    A name that the table of foods knows needs no "food" before it: "venison steaks". ValueError where a part is not
    understood, is a place (for that a package is moved), or says nothing.
    """
    names, rest = [], []
    for part in (part.strip() for part in re.split(r"[,;](?![^()]*\))", line)):
        called = _CALLED.fullmatch(part)
        if called is not None:
            names.append(called[1])
        elif find(part) is not None and not _understood(part, today, places):
            names.append(part)
        else:
            rest.append(part)
    try:
        said = _read(", ".join(("food", *rest)), today, places)
    except ValueError as why:
        unknown = next((part for part in rest if part and not _understood(part, today, places)), "")
        if not unknown or places.knows(unknown) or any(letter.isdigit() for letter in unknown):
            raise
        raise ValueError(f"{why}. If the food is to be called so, write: food {unknown}") from why
    said.food = names[-1] if names else one.food
    many, said.count = said.count, said.count or one.count
    found = _drafted(said, today, zone)
    found.count = many
    if found.box or found.freezer:
        raise ValueError("a package is not moved like this. Move it with: gatewayd stock move NUMBER --to PLACE")
    plain = Draft(found.food)
    news = {name: getattr(found, name) for name in CELLS if getattr(found, name) != getattr(plain, name)}
    if "frozen" in news:
        news["about"] = found.about
    if names:
        news["food"] = tidy("food", names[-1])
    if not news:
        raise ValueError("nothing was said of it; say what is known now, like: 1 lb, June 2025, food runner beans")
    return news


def _understood(part: str, today: date, places: Places) -> bool:
    """Return whether a part says something else than a name."""
    try:
        _take(part, _Found(), today, places)
    except ValueError:
        return False
    return True


# -- the parts behind the first --------------------------------------------------------------------------------


def _take(part: str, found: _Found, today: date, places: Places) -> None:
    """Take one part whole, as the first that it can be."""
    note, by = _NOTE.fullmatch(part), _BY.fullmatch(part)
    packing = _PACKING.fullmatch(part)
    if note is not None:
        found.notes.append(note[1])
    elif _FRESH.fullmatch(part):
        found.fresh = True
    elif _take_weight(part, found) or _take_day(part, found, today) or _take_count(part, found):
        return
    elif packing is not None and not found.packed:
        found.packed = _packing(packing[1])
    elif places.knows(_IN.sub("", part, count=1)) or by is None or part.lower().startswith("from the"):
        _take_place(part, found, places)
    else:
        found.who = by[1]


def _take_weight(part: str, found: _Found) -> bool:
    first = _TOTAL_FIRST.match(part)
    part = part if first is None else part[first.end() :]
    if first is not None and not part:
        found.total = True
        return True
    match = amount.WEIGHT.match(part) or amount.VOLUME.match(part)
    if match is None:
        return False
    rest = part[match.end() :]
    said = next((way for way in (_EACH, _TOTAL) if way.fullmatch(rest)), None)
    if rest.strip() and said is None:
        return False
    _weigh(match, found, said, part)
    found.total = found.total or first is not None
    return True


def _weigh(match: re.Match[str], found: _Found, said: re.Pattern[str] | None, part: str) -> None:
    """Note the weight that a match of WEIGHT or VOLUME says, of each or in all if `said` so."""
    if found.kg is not None:
        raise ValueError(f"{part!r}: the weight was said before")
    volume = match.re is amount.VOLUME
    kg = amount.litres(match) * KG_PER_LITRE if volume else amount.weighed(match)
    found.kg, found.litres = amount.checked_weight(kg, part), match[0] if volume else ""
    found.apiece, found.total = said is _EACH, found.total or said is _TOTAL


def _pours(food: str) -> bool:
    """Return whether a litre of a food is about a kilogram, by the table or by what it is called."""
    known = find(food)
    return _SPOKEN.search(food) is not None if known is None else known.verdict in _LIQUID


def _take_day(part: str, found: _Found, today: date) -> bool:
    plain = _DATED.sub("", part, count=1)
    nobody_knows = dated.unknown(plain) if plain != part else part.lower() in ("unknown", "no date", "date unknown")
    day = None if nobody_knows else dated.read(plain, today)
    if day is None and not nobody_knows:
        return False
    if found.dated:
        raise ValueError(f"{part!r}: the day was said before")
    found.day, found.dated = day, True
    return True


def _take_count(part: str, found: _Found) -> bool:
    match, apart = amount.COUNT.match(part), _TOTAL_APART.search(part)
    plain = part if apart is None else part[: apart.start()]
    packing = None if match is None else _PACKING.fullmatch(plain[match.end() :])
    if match is None or packing is None or found.count is not None:
        return False
    found.count = amount.checked_count(amount.counted(match), part)
    found.packed = _packing(packing[1])
    found.total = found.total or apart is not None
    return True


def _take_place(part: str, found: _Found, places: Places) -> None:
    if found.placed:
        raise ValueError(f"{part!r}: the place was said before")
    try:
        place = places.find(_IN.sub("", part, count=1))
    except LookupError as why:
        raise ValueError(f"{why.args[0]}. A note goes into brackets: ({part})") from why
    found.placed = True
    if isinstance(place, Box):
        found.box, found.freezer = place.id, place.freezer
    else:
        found.freezer = place.id


def _packing(text: str) -> str:
    *before, last = text.lower().split()
    return " ".join((*before, _PLAIN.get(last, last)))


# -- the first part, which says the food -----------------------------------------------------------------------


def _take_first(part: str, found: _Found, today: date, places: Places) -> None:
    whole = _TOTAL_FIRST.match(part)
    if whole is not None and amount.WEIGHT.match(part, whole.end()):  # "in all 3 kg of venison"
        part, found.total = part[whole.end() :], True
    rest = _without_weight(part, found)
    apart = _TOTAL_APART.search(rest)
    if apart is not None and find(rest) is None:
        rest = f"{rest[: apart.start()]}{rest[apart.end() :]}"
        found.total = True
    many = amount.COUNT.match(rest)
    # "2025" alone before a food is nobody's count, and a weight was taken out already
    if many is not None and rest[many.end() :].strip() and found.count is None:
        found.count = amount.checked_count(amount.counted(many), part)
        rest = rest[many.end() :]
    packing = re.match(rf"{_PACKING.pattern}\b\s*(?:of\s+)?|(loaf|loaves|pots?) of ", rest, re.IGNORECASE)
    if packing is not None and rest[packing.end() :].strip() and not found.packed:
        found.packed = _packing(packing[1] or packing[2])
        rest = rest[packing.end() :]
    rest = re.sub(r"^of\s+", "", rest.strip(), flags=re.IGNORECASE)
    rest = _without_place(_without_day(rest, found, today), found, places)
    found.food = _without_day(rest, found, today)


def _without_weight(part: str, found: _Found) -> str:
    match = amount.WEIGHT.search(part) or amount.VOLUME.search(part)
    if match is None:
        return part
    before, after = part[: match.start()], part[match.end() :]
    said = next((way for way in (_EACH, _TOTAL) if way.match(after)), None)
    if said is not None:
        after = said.sub("", after, count=1)
    _weigh(match, found, said, match[0])
    return f"{before.strip()} {after.strip()}".strip()


def _without_day(text: str, found: _Found, today: date) -> str:
    """Take a day off the end, if it has figures in it: "June" may be a berry's, "June 2025" is not."""
    parts = text.split()
    if found.dated:
        return text
    for start in range(max(1, len(parts) - _TAIL - 1), len(parts)):
        tail = " ".join(parts[start:])
        if (any(c.isdigit() for c in tail) or tail.lower() in ("today", "yesterday")) and _take_day(tail, found, today):
            return " ".join(parts[:start])
    return text


def _without_place(text: str, found: _Found, places: Places) -> str:
    """Take a place off the end: behind "in", or behind a food that is known without it."""
    parts = text.split()
    if found.placed or find(text) is not None:
        return text
    for start in range(max(1, len(parts) - _TAIL), len(parts)):
        head, tail = " ".join(parts[:start]), " ".join(parts[start:])
        said = _IN.match(tail) is not None
        if (said or find(head) is not None) and places.knows(_IN.sub("", tail, count=1)):
            _take_place(tail, found, places)
            return head
    return text


def lines(text: str) -> list[str]:
    """Return the lines of `text` that say something: a whole basket may be written at once."""
    return [line for line in (each.strip() for each in text.splitlines()) if line and not line.startswith("#")]
