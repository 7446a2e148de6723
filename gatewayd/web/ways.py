"""The ways to people as they stand in house.yaml: which are whose, in which order, and which nobody has. Pure."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from gatewayd.model.house import Person
from gatewayd.model.priority import Priority
from gatewayd.model.route import MailRoute, Route
from gatewayd.model.telling import Weekly
from gatewayd.settings import schema
from gatewayd.settings.document import Document, at, with_order, with_setting
from gatewayd.settings.faults import Said
from gatewayd.settings.standing import Standing, Stands

PEOPLE, ROUTES = schema.PEOPLE.name, schema.ROUTES.name
TOLD_BY = schema.TOLD_BY.name
UP, DOWN = "up", "down"
LOUD = {
    Priority.LOW: "told of everything",
    Priority.MEDIUM: "told of what somebody should see to, and of all that is urgent",
    Priority.HIGH: "told of what is urgent only",
}
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, slots=True)
class Way:
    """Hold one route of a person as a page shows it: `words` without a secret."""

    id: str
    words: str


@dataclass(frozen=True, slots=True)
class Told:
    """Hold one person as a page shows them.

    `own` is where the keeper wrote them by hand; `ways_own` where their routes stand by hand, which are then left
    alone. `loud` says in words of what they are told.
    """

    id: str
    name: str
    loud: str
    quiet: str
    ways: tuple[Way, ...]
    own: Stands | None
    ways_own: Stands | None


def told(person: Person, routes: Mapping[str, Route], standing: Standing, *, may_see: bool) -> Told:
    """Return how a person is told; who may only look (`may_see` false) is not shown addresses."""
    where = f"{PEOPLE}.{person.id}"
    quiet = f"{clock(person.quiet[0])} to {clock(person.quiet[1])}" if person.quiet is not None else ""
    ways = tuple(Way(id_, way_words(routes.get(id_), may_see=may_see)) for id_ in person.routes)
    own, ways_own = standing.own(where), standing.own(f"{where}.{TOLD_BY}")
    return Told(person.id, person.name, LOUD[person.told_from], quiet, ways, own, ways_own)


def way_words(route: Route | None, *, may_see: bool) -> str:
    """Say what kind of route it is and to whom, without a secret; who may only look is told the kind."""
    if route is None:
        return "no such way"
    if isinstance(route.way, MailRoute):
        return f"mail to {route.way.to}" if may_see else "mail"
    scheme = route.way.url.reveal().partition("://")[0]
    return f"message by {scheme}://…" if may_see else "message"


def ways_of(document: Document, person: str) -> list[str]:
    """Return the routes of a person that stand in a document."""
    told_by = at(document, PEOPLE, person, TOLD_BY)
    return [] if told_by is None or isinstance(told_by, str | Mapping) else [str(one) for one in told_by]


def with_ways(document: Document, person: str, ways: Sequence[str]) -> Document:
    """Return a document in which a person has these routes."""
    return with_setting(document, (PEOPLE, person, TOLD_BY), list(ways) or None)


def with_person_moved(document: Document, person: str, way: str, by_hand: Collection[str]) -> Document:
    """Return a document in which somebody is told sooner or later; those `by_hand` come first whatever stands here."""
    there = at(document, PEOPLE)
    order = list(there) if isinstance(there, Mapping) else []
    first = [id_ for id_ in order if id_ in by_hand]
    return with_order(document, PEOPLE, [*first, *moved([id_ for id_ in order if id_ not in by_hand], person, way)])


def without_person(document: Document, person: Person, used: Collection[str]) -> Document:
    """Return a document without a person. Raise ValueError for one who does not stand in it."""
    if at(document, PEOPLE, person.id) is None:
        raise ValueError(f"{person.name} was not added here; take them out of your own settings file")
    return without_unused(with_setting(document, (PEOPLE, person.id), None), person.routes, used)


def with_way_changed(document: Document, person: str, route: str, way: str, used: Collection[str]) -> Document:
    """Return a document in which a route of a person is tried sooner or later, or (`remove`) is gone."""
    ways = ways_of(document, person)
    if route not in ways:
        raise ValueError(f"{route} was not added here for {person}; load the page anew")
    if way != "remove":
        return with_ways(document, person, moved(ways, route, way))
    left = with_ways(document, person, [one for one in ways if one != route])
    return without_unused(left, [route], used)


def without_unused(document: Document, routes: Sequence[str], used: Collection[str]) -> Document:
    """Return a document without those of some routes that nobody has any more; `used` are had by hand."""
    people = at(document, PEOPLE)
    had = {one for id_ in (people if isinstance(people, Mapping) else {}) for one in ways_of(document, id_)}
    for route in routes:
        if route not in had and route not in used and at(document, ROUTES, route) is not None:
            document = with_setting(document, (ROUTES, route), None)
    return document


def moved(ids: Sequence[str], id_: str, way: str) -> list[str]:
    """Return a list with one of it a place further up or down. Raise ValueError where that cannot be."""
    if id_ not in ids or way not in (UP, DOWN):
        raise ValueError(f"{id_} cannot be moved here; load the page anew")
    found, place = list(ids), ids.index(id_)
    to = place - 1 if way == UP else place + 1
    if not 0 <= to < len(found):
        raise ValueError(f"{id_} is at the end of the list already")
    found[place], found[to] = found[to], found[place]
    return found


def beside(faults: Sequence[str], route: str, fields: Collection[str]) -> dict[str, str]:
    """Return faults by the field of a route's form; what belongs to none stands under the empty name."""
    found: dict[str, str] = {}
    for fault in faults:
        key = fault.key.rpartition(".")[2] if isinstance(fault, Said) and f"{ROUTES}.{route}." in fault.key else ""
        name = key if key in fields else ""
        found[name] = f"{found[name]} {short(fault)}" if name in found else short(fault)
    return found


def short(fault: str) -> str:
    """Return a fault without the line of a file that was not written."""
    return fault.short if isinstance(fault, Said) else fault


def week(when: Weekly | None) -> str:
    """Write a time of the week, empty for none."""
    return "" if when is None else f"{DAYS[when.day]} {clock(when.minute)}"


def clock(minute: int) -> str:
    """Write minutes after midnight as a time of day."""
    return f"{minute // 60:02d}:{minute % 60:02d}"
