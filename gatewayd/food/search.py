"""Find packages by a few words, in any order: "plums porch 2025"."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import tzinfo
from unicodedata import normalize

from gatewayd.food.table import find
from gatewayd.model.house import Freezer
from gatewayd.model.moment import from_wall
from gatewayd.model.stock import Box, Package

_EMPTY = frozenset(("a", "an", "and", "from", "in", "my", "of", "our", "the", "with", "all"))


class Finder:
    """Look through packages; what is known of a box, a food and a day is worked out once."""

    def __init__(self, boxes: Iterable[Box], freezers: Mapping[str, Freezer], zone: tzinfo) -> None:
        """Take the boxes and freezers there are; days are those of `zone`."""
        self._boxes = {box.id: _of_box(box, freezers) for box in boxes}
        self._zone = zone
        self._foods: dict[str, str] = {}
        self._days: dict[int, str] = {}

    def search(self, query: str, packages: Sequence[Package]) -> Iterator[Package]:
        """Yield those that every word of `query` fits; a number with # in front is a package's own.

        A word fits if one that is known of the package begins with it: its food (also by its other names), box,
        freezer, layer, place, day, packing, who, note. A plural finds the singular and the other way round. A query
        without a word fits all.
        """
        wanted = [form for word in _words(query) if word not in _EMPTY if (form := _forms(word))]
        for one in packages:
            known = self._known(one)
            if all(any(f" {form}" in known for form in forms) for forms in wanted):
                yield one

    def _known(self, one: Package) -> str:
        """Return all that is known of a package in small letters, each word with a blank before it."""
        food = self._foods.get(one.food)
        if food is None:
            food = self._foods[one.food] = _of_food(one.food)
        day = "" if one.frozen is None else self._days.get(one.frozen) or self._day(one.frozen)
        rest = f"{one.packed} {one.who} {one.note}".strip()
        said = f" {' '.join(_words(rest))}" if rest else ""
        return f" #{one.id} {food}{self._boxes.get(one.box, '')}{day}{said} "

    def _day(self, frozen: int) -> str:
        when = from_wall(frozen).astimezone(self._zone)
        found = self._days[frozen] = f" {when:%Y-%m-%d} {when:%Y} {when:%B} ".casefold()
        return found


def _of_box(box: Box, freezers: Mapping[str, Freezer]) -> str:
    freezer = freezers.get(box.freezer)
    around = "" if freezer is None else f"{freezer.name} {freezer.place}"
    return f" {' '.join(_words(f'{box.id} {box.name} {box.layer} {box.place} {box.freezer} {around}'))}"


def _of_food(text: str) -> str:
    food = find(text)
    names = text if food is None else " ".join((text, food.name, *food.also))
    return " ".join(dict.fromkeys(form for word in _words(names) for form in _forms(word)))


def _words(text: str) -> list[str]:
    plain = normalize("NFKD", text.casefold())
    return re.findall(r"#\d+|\d{4}(?:-\d\d){1,2}|[^\W_]+", "".join(c for c in plain if not "\u0300" <= c <= "\u036f"))


def _forms(word: str) -> tuple[str, ...]:
    """Return a word and, of a plural, the singular that it may be of."""
    if word.startswith("#"):
        return (f"{word} ",)
    if len(word) > 4 and word.endswith("ies"):
        return word, f"{word[:-3]}y"
    if len(word) > 4 and word.endswith(("oes", "ches", "shes", "xes", "sses")):
        return word, word[:-2]
    return (word, word[:-1]) if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else (word,)
