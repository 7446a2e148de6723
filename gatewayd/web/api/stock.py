"""JSON of the stock: boxes, packages, what to use first, and what is put in, taken out, moved and counted."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Annotated, Any

from gatewayd.food import load, said
from gatewayd.food.first import HONEST, QUALITY, Use, chosen, first
from gatewayd.food.place import Places
from gatewayd.food.search import Finder
from gatewayd.food.table import find
from gatewayd.model import stock as model
from gatewayd.model.contents import Group
from gatewayd.model.house import Freezer as Wired
from gatewayd.model.house import House
from gatewayd.model.moment import from_wall, iso
from gatewayd.model.stock import Sure, Turn
from gatewayd.store import stock
from gatewayd.store.exposure import begins, courses, kept
from gatewayd.web.api.operation import Call, Done, Keyed, Operation, Refused, known
from gatewayd.web.api.says import LISTED, Amount, Day, Kilograms, Said, Says, Share, Stamp, Words

MOVES = 200  # lines of the history in one answer
FIRST_MOST = 5_000  # packages to use first in one answer: all that a large house has, 4 MB
What = Annotated[str, Says("A package's number, or a few words that fit only one.", shortest=1, longest=500)]
Lines = Annotated[tuple[Said, ...], Says("A line for each package.", shortest=1, longest=LISTED)]


@dataclass(frozen=True, slots=True)
class Package:
    """A row of a box's list: `count` equal packages of one food; what nobody said is null.

    `words` is all of it as people say it. `known_as` is the food's name in the table of foods. `frozen` is the day it
    was frozen, `about` says that the day is a guess, `fresh` that it went in unfrozen; `since` when it came there;
    `gone` when the last of it was used up.
    """

    number: int
    box: str
    words: str
    food: str
    known_as: str | None
    count: float | None
    each_kg: Kilograms | None
    kg: Kilograms | None
    frozen: Day | None
    about: bool
    packed: str
    who: str
    note: str
    fresh: bool
    since: Stamp | None
    gone: Stamp | None


@dataclass(frozen=True, slots=True)
class Box:
    """A box, basket, drawer or shelf: in which freezer (an id), how full, when looked into, how sure its list is."""

    id: str
    name: str
    freezer: str
    layer: str
    place: str
    full: Share | None
    looked: Stamp | None
    sure: Sure
    packages: tuple[Package, ...]


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes with what is in them."""

    boxes: tuple[Box, ...]


@dataclass(frozen=True, slots=True)
class Packages:
    """Packages."""

    packages: tuple[Package, ...]


@dataclass(frozen=True, slots=True)
class Move:
    """One line of the history: what was done to a package (null: to a box), by whom; `undone` when it was undone."""

    number: int
    order: int
    at: Stamp
    who: str
    turn: Turn
    why: str
    undone: Stamp | None
    before: Package | None
    after: Package | None
    box: str | None


@dataclass(frozen=True, slots=True)
class History:
    """What was done to the stock, the newest first."""

    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class First:
    """A package in the order in which to use it, and the reason: how much of its keeping it has used.

    `used` is a share, above 1 when it is past; `keeps_months` the least and the most that is published for the food.
    """

    package: Package
    freezer: str
    group: Group | None
    used: float | None
    months_used: float | None
    keeps_months: tuple[float, ...]
    refrozen: bool
    reason: str
    taken_for_granted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UseFirst:
    """What to use first, the first of `in_all`. `note` and `honest` say what the order means and what it does not."""

    packages: tuple[First, ...]
    in_all: int
    note: str
    honest: str


@dataclass(frozen=True, slots=True)
class Place:
    """Which boxes: those of a place (a freezer or a box, by id or name), all where none is said; `gone` too."""

    place: Words = ""
    gone: bool = False


@dataclass(frozen=True, slots=True)
class Search:
    """What to look for, in a few words in any order."""

    words: Said


@dataclass(frozen=True, slots=True)
class OfFood:
    """Of which freezer (its id), which kind of food, and how many."""

    freezer: Annotated[str, Says("An id.", longest=40)] = ""
    group: Group | None = None
    most: Annotated[int, Says("How many.", least=1, most=FIRST_MOST)] = 200


@dataclass(frozen=True, slots=True)
class Back:
    """How many lines."""

    most: Annotated[int, Says("How many.", least=1, most=MOVES)] = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Add(Keyed):
    """What comes in, a line for each, like: 12 bags of beans, 1 lb, frozen June 2025, top basket."""

    lines: Lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Meant(Keyed):
    """What is meant; of several packages that fit the oldest if that is said."""

    what: What
    oldest: bool = False
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Take(Meant):
    """What to take out, how many (1), and of several that fit the oldest if that is said."""

    n: Amount | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UseUp(Meant):
    """What is used up or was thrown out, all of it."""

    thrown: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Carry(Meant):
    """What to move (a package, `n` of it, or a whole box), and where to."""

    to: Said
    n: Amount | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Count(Keyed):
    """How many there are of a package; or, without `n`, that the list of a box or freezer is right, and how full."""

    what: What
    n: Amount | None = None
    full: Share | None = None
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Keyed):
    """What is known now of a package, in a line like: 1 lb, June 2025."""

    what: What
    line: Said


@dataclass(frozen=True, slots=True, kw_only=True)
class SetBox(Keyed):
    """A box to make, or what is known now of one. `gone` takes an empty one off the list. Null leaves it as it is."""

    what: Said
    name: Said | None = None
    freezer: Said | None = None
    layer: Words | None = None
    place: Words | None = None
    full: Share | None = None
    gone: bool = False


# -- looking ---------------------------------------------------------------------------------------------------


def package(one: model.Package, house: House) -> Package:
    """Return a package as JSON has it."""
    zone, food = house.zone, find(one.food)
    return Package(
        one.id, one.box, said.package(one, zone, house.units), one.food, food.name if food else None, one.count,
        one.each, one.weight,
        None if one.frozen is None else f"{from_wall(one.frozen).astimezone(zone):%Y-%m-%d}",
        one.about, one.packed, one.who, one.note, one.fresh,
        None if one.since is None else iso(one.since, zone),
        None if one.gone is None else iso(one.gone, zone),
    )  # fmt: skip


def _box(one: model.Box, inside: Sequence[model.Package], house: House, now: int) -> Box:
    looked = None if one.looked is None else iso(one.looked, house.zone)
    there = tuple(package(each, house) for each in inside)
    return Box(one.id, one.name, one.freezer, one.layer, one.place, one.full, looked, load.sure(one, now), there)


async def boxes(call: Call) -> Boxes:
    """Return boxes with what is in them."""
    house, asked, now = call.home.house, call.query, call.home.now().wall

    def look(conn: Connection) -> Boxes:
        those, inside = stock.boxes(conn), defaultdict[str, list[model.Package]](list)
        for one in stock.packages(conn, gone=asked.gone):
            inside[one.box].append(one)
        if asked.place.strip():
            try:
                place = Places(those, house.freezers).find(asked.place)
            except LookupError as why:
                raise Refused(str(why.args[0]), 404) from None
            those = [box for box in those if place.id == (box.freezer if isinstance(place, Wired) else box.id)]
        return Boxes(tuple(_box(box, inside[box.id], house, now) for box in those))

    return await call.home.read(look)


async def one_package(call: Call) -> Package:
    """Return one package, also one that is used up."""
    number = call.path.number
    found = await call.home.read(lambda conn: stock.package(conn, number))
    if found is None:
        raise Refused(f"There is no package {number}.", 404)
    return package(found, call.home.house)


async def search(call: Call) -> Packages:
    """Return the packages that some words fit."""
    house, words = call.home.house, call.query.words

    def look(conn: Connection) -> Packages:
        found = Finder(stock.boxes(conn), house.freezers, house.zone).search(words, stock.packages(conn))
        return Packages(tuple(package(one, house) for one in found))

    return await call.home.read(look)


async def history(call: Call) -> History:
    """Return what was done to the stock."""
    most, house = call.query.most, call.home.house
    found = await call.home.read(lambda conn: stock.moves(conn, last=most))

    def row(one: model.Package | None) -> Package | None:
        return None if one is None else package(one, house)

    moves = (
        Move(
            each.id, each.set, iso(each.at, house.zone), each.who, each.turn, each.why,
            None if each.undone is None else iso(each.undone, house.zone), row(each.before), row(each.after),
            box.id if (box := each.box_after or each.box_before) else None,
        )
        for each in found
    )  # fmt: skip
    return History(tuple(moves))


async def use_first(call: Call) -> UseFirst:
    """Return what to use first."""
    house, now, asked = call.home.house, call.home.now().wall, call.query
    if asked.freezer:
        known(asked.freezer, house)
    sensors = {key: one.sensors for key, one in house.freezers.items()}

    def look(conn: Connection) -> UseFirst:
        wanted = chosen(chosen(kept(conn), asked.freezer), group=asked.group)
        found = first(wanted, courses(conn, sensors, begins(wanted), now), now, house.zone)
        return UseFirst(tuple(_first(use, house) for use in found[: asked.most]), len(found), QUALITY, HONEST)

    return await call.home.read(look)


def _first(use: Use, house: House) -> First:
    return First(
        package(use.kept.package, house), use.kept.stays[-1].freezer, use.food.group if use.food else None, use.used,
        use.months, (use.keeps.least, use.keeps.most), use.kept.refrozen, use.reason, tuple(use.doubts),
    )  # fmt: skip


# -- orders ----------------------------------------------------------------------------------------------------


def order(verb: str, *names: str) -> Callable[[Call], Any]:
    """Return what hands an order of the stock in at the door, with these fields of its body."""

    async def work(call: Call) -> Done:
        fields = {name: value for name in names if (value := getattr(call.body, name)) is not None}
        return await call.order({"ask": "stock", "do": verb, **fields})

    return work


async def _add(call: Call) -> Done:
    return await call.order({"ask": "stock", "do": "add", "lines": list(call.body.lines)})


async def _use(call: Call) -> Done:
    asked: UseUp = call.body
    said_so = {"what": asked.what, "oldest": asked.oldest, "why": asked.why}
    return await call.order({"ask": "stock", "do": "throw" if asked.thrown else "use", **said_so})


@dataclass(frozen=True, slots=True)
class OfPackage:
    """Which package."""

    number: Annotated[int, Says("Its number.", least=1, most=1 << 53)]


ABOUT = "Stock"
OPERATIONS = (
    Operation(ABOUT, "stock", "/stock", "The boxes and what is in them.", Boxes, boxes, query=Place),
    Operation(ABOUT, "findPackages", "/stock/find", "Find packages by a few words.", Packages, search, query=Search),
    Operation(ABOUT, "package", "/stock/packages/{number}", "One package.", Package, one_package, OfPackage),
    Operation(ABOUT, "history", "/stock/history", "What was done, the newest first.", History, history, query=Back),
    Operation(ABOUT, "useFirst", "/use-first", "What to use first, and why.", UseFirst, use_first, query=OfFood),
    Operation(ABOUT, "add", "/stock/add", "Put packages in.", Done, _add, body=Add),
    Operation(
        ABOUT, "take", "/stock/take", "Take one or some out.",
        Done, order("take", "what", "n", "oldest", "why"), body=Take,
    ),
    Operation(ABOUT, "use", "/stock/use", "All of it is used up, or was thrown out.", Done, _use, body=UseUp),
    Operation(
        ABOUT, "move", "/stock/move", "Move a package or a box.",
        Done, order("move", "what", "to", "n", "oldest", "why"), body=Carry,
    ),
    Operation(
        ABOUT, "count", "/stock/count", "This is how many there are.",
        Done, order("count", "what", "n", "full", "why"), body=Count,
    ),
    Operation(
        ABOUT, "change", "/stock/change", "Write down what is known now of a package.",
        Done, order("set", "what", "line"), body=Change,
    ),
    Operation(
        ABOUT, "box", "/stock/box", "Make a box, or change what is known of it.",
        Done, order("box", "what", "name", "freezer", "layer", "place", "full", "gone"), body=SetBox,
    ),
    Operation(ABOUT, "undo", "/stock/undo", "Undo the last that was done.", Done, order("undo"), body=Keyed),
)  # fmt: skip
