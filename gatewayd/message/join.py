"""Plan which waiting deliveries go out now, and write what happened or waited together as one letter."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from gatewayd.message.retry import age, due_in, gathering
from gatewayd.message.words import at, clock
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Stage
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.units import show_span

MOST_AT_ONCE = 3  # child processes: each costs up to 45 MiB on a board that may have 512
MOST_DOUBTFUL = 2  # of these for routes whose last try failed, so that one place stays free for a route that works
LETTER = 9_000  # characters of a joined letter; the sender cuts at 10 000, which open chat servers carry
SENT_AGAIN = "(sent again: the first may have reached you)"
# Figures of a freezer two minutes old still hold; with older ones the reader must know of when they are. Our choice.
LATE = 2 * MINUTE

NoticeKey = tuple[int, str, str]


@dataclass(frozen=True, slots=True)
class Parcel:
    """Hold the deliveries that travel together in one letter on one route."""

    route: str
    deliveries: tuple[Delivery, ...]

    def notices(self) -> set[NoticeKey]:
        """Return the notices inside."""
        return {key(delivery) for delivery in self.deliveries}


@dataclass(frozen=True, slots=True)
class Known:
    """Say what the pump knows beyond the outbox.

    `flying` is under way. `hurried` are ids that need not wait for their time (the route before them cannot do it, or
    their route works again). `doubtful` are the routes whose last try failed.
    """

    flying: Sequence[Parcel] = ()
    hurried: Collection[int] = ()
    doubtful: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """Say what to send now, and in how many ms to look again (None: not before something happens)."""

    parcels: tuple[Parcel, ...]
    wait: int | None


def key(delivery: Delivery) -> NoticeKey:
    """Name the notice a delivery belongs to: one per event, person and stage."""
    return delivery.notice.event, delivery.notice.person, delivery.notice.stage.value


def after(delivery: Delivery, pending: Iterable[Delivery]) -> Delivery | None:
    """Return the delivery of the same notice on the next route of the person, or None."""
    later = [other for other in pending if key(other) == key(delivery) and other.rank > delivery.rank]
    return min(later, key=lambda other: other.rank, default=None)


def plan(pending: Sequence[Delivery], now: Moment, known: Known) -> Plan:
    """Choose what goes out now: at most one parcel per route, three at once, the most urgent first.

    A notice is on one route at a time, so that only a lost answer or a crash can double it.
    """
    flying_ids = {delivery.id for parcel in known.flying for delivery in parcel.deliveries}
    taken_routes = {parcel.route for parcel in known.flying}
    taken_notices = {name for parcel in known.flying for name in parcel.notices()}
    doubtful = sum(route in known.doubtful for route in taken_routes)
    free = MOST_AT_ONCE - len(known.flying)

    waits = {d.id: 0 if d.id in known.hurried else due_in(d, now) for d in pending if d.id not in flying_ids}
    chosen: list[Parcel] = []
    for delivery in sorted((d for d in pending if waits.get(d.id) == 0), key=_urgency):
        if len(chosen) >= free:
            break
        route = delivery.route
        if route in taken_routes or key(delivery) in taken_notices:
            continue
        if route in known.doubtful and doubtful >= MOST_DOUBTFUL:
            continue
        parcel = _parcel(delivery, [d for d in pending if d.id in waits and key(d) not in taken_notices], waits)
        chosen.append(parcel)
        taken_routes.add(route)
        taken_notices |= parcel.notices()
        doubtful += route in known.doubtful
    return Plan(tuple(chosen), min((wait for wait in waits.values() if wait > 0), default=None))


def overtaken(pending: Iterable[Delivery], flying: Iterable[Parcel]) -> list[Delivery]:
    """Return the deliveries that nobody needs any more: the end of the same alarm waits for the same person.

    What is under way takes its course.
    """
    pending = list(pending)
    gone = {name for parcel in flying for name in parcel.notices()}
    ends: dict[tuple[str, str, str], int] = {}
    for delivery in pending:
        if delivery.notice.stage is Stage.OVER and delivery.notice.kind:
            ends[_alarm(delivery)] = max(ends.get(_alarm(delivery), 0), delivery.notice.event)
    return [
        delivery
        for delivery in pending
        if delivery.notice.stage is not Stage.OVER
        and delivery.notice.event < ends.get(_alarm(delivery), 0)
        and key(delivery) not in gone
    ]


def _alarm(delivery: Delivery) -> tuple[str, str, str]:
    return delivery.notice.person, delivery.notice.subject, delivery.notice.kind


def _parcel(first: Delivery, free: Sequence[Delivery], waits: dict[int, int]) -> Parcel:
    """Take along what waits for the same person on the same route, the worst first, then the oldest.

    What happened together with the first comes along, and what failed before and waits for its next try; a route
    whose turn has not come yet does not.
    """
    along = [
        other
        for other in free
        if other.route == first.route
        and other.notice.person == first.notice.person
        and (waits[other.id] == 0 or other.attempts > 0 or _together(first, other))
    ]
    return Parcel(first.route, tuple(sorted(along, key=_urgency)))


def _together(first: Delivery, other: Delivery) -> bool:
    apart = abs(first.notice.made.wall - other.notice.made.wall)
    return other.rank == first.rank and apart <= gathering(first)


def _urgency(delivery: Delivery) -> tuple[int, int, int, int]:
    return -delivery.notice.priority, *_age(delivery), delivery.rank


def _age(delivery: Delivery) -> tuple[int, int]:
    return delivery.notice.made.wall, delivery.notice.event


def compose(
    deliveries: Sequence[Delivery], now: Moment, zone: tzinfo, again: Collection[NoticeKey] = ()
) -> tuple[str, str]:
    """Return title and body of the letter for deliveries that are sorted worst first.

    `again` names the notices of which an earlier try may have arrived, on any route. `zone` is the household's, for
    the time at which a late message was written.
    """
    doubted = {key(d) for d in deliveries if d.maybe_sent or d.progress is Progress.SENDING} | set(again)
    late = [_late(delivery, now) for delivery in deliveries]
    if len(deliveries) == 1:
        notice = deliveries[0].notice
        marks = [SENT_AGAIN] if key(deliveries[0]) in doubted else []
        if late[0]:
            marks.append(f"(Written {_written(deliveries[0], now, zone)}; it could not be brought to you earlier.)")
        return notice.title, "\n".join([*marks, notice.body])
    title, head = _heading(deliveries, late=any(late))
    marks = [
        (f"{SENT_AGAIN}\n" if key(d) in doubted else "") + (f"(Written {_written(d, now, zone)}.)\n" if old else "")
        for d, old in zip(deliveries, late, strict=True)
    ]
    entries, left_off = _entries(deliveries, marks, LETTER - len(head))
    if left_off:
        entries.insert(0, f"({left_off} older ones are left out here; the log of the house has them.)")
    return title, "\n\n".join([head, *entries])


def _late(delivery: Delivery, now: Moment) -> bool:
    return age(delivery.notice.made, now) > gathering(delivery) + LATE


def _written(delivery: Delivery, now: Moment, zone: tzinfo) -> str:
    return at(clock(delivery.notice.made.wall, now.wall, zone))


def _heading(deliveries: Sequence[Delivery], *, late: bool) -> tuple[str, str]:
    """Return the title and first line: of things that happened together, or of messages that waited."""
    count = len(deliveries)
    if late:
        newest = max(deliveries, key=lambda d: (d.notice.priority, *_age(d)))  # of the worst: how it stands now
        head = f"These {count} messages could not be brought to you earlier. The worst stands first, then the oldest."
        return f"{count} messages that waited: {newest.notice.title}", head
    stamps = [delivery.notice.made.wall for delivery in deliveries]
    apart = max(stamps) - min(stamps)
    within = "a minute" if apart <= MINUTE else show_span(-(-apart // MINUTE) * MINUTE)
    head = f"{count} things happened within {within}. The worst stands first."
    return f"{deliveries[0].notice.title} (and {count - 1} more)", head


def _entries(deliveries: Sequence[Delivery], marks: Sequence[str], room: int) -> tuple[list[str], int]:
    """Write each entry and count those left out.

    Where room is short the worst and of them the newest keep their text, others their title, the mildest and oldest go.
    """
    shorts = [f"{n}. {mark}{d.notice.title}" for n, (mark, d) in enumerate(zip(marks, deliveries, strict=True), 1)]
    spare = sum(len(short) + 2 for short in shorts)  # what the titles of those still to come need
    room -= 80  # the line that tells how many are left out
    entries: dict[int, str] = {}
    by_weight = sorted(range(len(deliveries)), key=lambda n: (deliveries[n].notice.priority, *_age(deliveries[n])))
    for place in reversed(by_weight):
        whole = f"{shorts[place]}\n{deliveries[place].notice.body}"
        spare -= len(shorts[place]) + 2
        fits = len(whole) + 2 <= room - (spare if entries else 0)  # the first keeps its text, whoever must go for it
        entry = whole if fits else shorts[place]
        if len(entry) + 2 > room:
            break
        entries[place] = entry
        room -= len(entry) + 2
    return [entries[place] for place in sorted(entries)], len(deliveries) - len(entries)
