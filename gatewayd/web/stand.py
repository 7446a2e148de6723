"""Where somebody stands on the walk from box to box, kept in the address and the forms of its pages alone."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from urllib.parse import urlencode

from gatewayd.food.asking import ALL, BOX, Aside
from gatewayd.food.fate import Fate
from gatewayd.food.fate import Finding as Found
from gatewayd.model.excursion import Excursion

LONGEST = 60_000  # characters of the numbers of a box's packages in a form; 5 000 packages make half of it
FIELDS = ("freezer", "at", "each", "one", "found", "juice", "later", "q", "those", "want")
SHORT = 1_500  # characters of them in an address, which is cut at 8 kB: beyond it all that are left are meant


@dataclass(frozen=True, slots=True)
class Place:
    """Hold one box of a walk: its warm spell, all in it that is told of, and of which raw juice was spoken."""

    spell: Excursion
    those: tuple[Fate, ...]
    said: frozenset[str]

    @property
    def at(self) -> str:
        """Return what it is known by in an address."""
        return f"{self.spell.freezer}/{self.those[0].item.box.id}"

    @property
    def name(self) -> str:
        """Return what the box is called."""
        return self.those[0].item.box.name


@dataclass(frozen=True, slots=True)
class Scene:
    """Hold all boxes of a walk in their order, the freezers whose food nobody listed, and what was said."""

    places: tuple[Place, ...]
    bare: tuple[Excursion, ...]
    findings: tuple[Found, ...]

    def at(self, at: str) -> Place | None:
        """Return the box that an address means."""
        return next((place for place in self.places if place.at == at), None)


@dataclass(frozen=True, slots=True)
class Stand:
    """Hold where somebody stands: in which box `at`, what was put off, and the question `q` in between of `those`.

    `freezer` keeps the walk to one freezer, `want` is what somebody wants against the chart.
    """

    freezer: str = ""
    at: str = ""
    aside: Aside = field(default_factory=Aside)
    q: str = ""
    those: frozenset[str] = frozenset()
    want: str = ""

    @property
    def fields(self) -> dict[str, str]:
        """Return it as the fields of a form or an address, without what is empty."""
        aside = self.aside
        every = {
            "freezer": self.freezer,
            "at": self.at,
            "each": "1" if aside.each else "",
            "one": "1" if aside.one else "",
            "found": joined(aside.found),
            "juice": joined(aside.juice),
            "later": joined(aside.later),
            "q": self.q,
            "those": joined(self.those),
            "want": self.want,
        }
        return {name: value for name, value in every.items() if value}

    def address(self, number: int) -> str:
        """Return where the page of it is."""
        short = {name: value if len(value) <= SHORT else ALL for name, value in self.fields.items()}
        return f"/what-happened/{number}/walk" + (f"?{urlencode(short)}" if short else "")

    def plain(self) -> "Stand":
        """Return it without a question in between."""
        return replace(self, q="", those=frozenset(), want="")

    def put_off(self, what: str, keys: Iterable[str]) -> "Stand":
        """Return it with some items put off: `found`, `juice` or `later`."""
        aside = self.aside
        match what:
            case "found":
                aside = replace(aside, found=aside.found | set(keys))
            case "juice":
                aside = replace(aside, juice=aside.juice | set(keys))
            case _:
                aside = replace(aside, later=aside.later | set(keys))
        return replace(self.plain(), aside=aside)


def read_stand(given: Mapping[str, str]) -> Stand:
    """Return where somebody stands by the fields of an address or a form; what is no key is left out."""
    aside = Aside(
        bool(given.get("each")),
        bool(given.get("one")),
        *(_keys(given.get(name, "")) for name in ("found", "juice", "later")),
    )
    return Stand(
        given.get("freezer", ""), given.get("at", ""), aside, given.get("q", ""), _keys(given.get("those", "")),
        given.get("want", ""),
    )  # fmt: skip


def joined(keys: Iterable[str]) -> str:
    """Return keys as one field."""
    return ".".join(sorted(keys))


def _keys(text: str) -> frozenset[str]:
    return frozenset(key for key in text.split(".") if key in (ALL, BOX) or (key.isascii() and key.isdigit()))
