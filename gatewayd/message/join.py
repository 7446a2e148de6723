"""Plan which waiting deliveries go out now, and write the ones that waited together as one letter."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from gatewayd.message.retry import due_in
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.moment import Moment

MOST_AT_ONCE = 3  # child processes: each costs up to 45 MiB on a board that may have 512
MOST_DOUBTFUL = 2  # of these for routes whose last try failed, so that one place stays free for a route that works
MOST_SINGLE = 3  # more notices than this, waiting for one person on one route, go as one letter: no storm on return
LETTER = 9_000  # characters of a joined letter; the sender cuts at 10 000, which open chat servers carry
SENT_AGAIN = "(sent again: the first may have reached you)"

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


def _parcel(first: Delivery, free: Sequence[Delivery], waits: dict[int, int]) -> Parcel:
    """Take along what waits for the same person on the same route, once that is more than a few.

    One that failed before and waits for its next try comes along; one whose turn has not come yet does not.
    """
    along = [
        other
        for other in free
        if other.route == first.route
        and other.notice.person == first.notice.person
        and (waits[other.id] == 0 or other.attempts > 0)
    ]
    if len(along) <= MOST_SINGLE:
        return Parcel(first.route, (first,))
    return Parcel(first.route, tuple(sorted(along, key=_age)))


def _urgency(delivery: Delivery) -> tuple[int, int, int, int]:
    return -delivery.notice.priority, *_age(delivery), delivery.rank


def _age(delivery: Delivery) -> tuple[int, int]:
    return delivery.notice.made.wall, delivery.notice.event


def compose(deliveries: Sequence[Delivery], again: Collection[NoticeKey] = ()) -> tuple[str, str]:
    """Return title and body of the letter for deliveries that are sorted oldest first.

    `again` names the notices of which an earlier try may have arrived, on any route.
    """
    doubted = {key(d) for d in deliveries if d.maybe_sent or d.progress is Progress.SENDING} | set(again)
    if len(deliveries) == 1:
        notice = deliveries[0].notice
        return notice.title, f"{SENT_AGAIN}\n{notice.body}" if key(deliveries[0]) in doubted else notice.body
    gravest = max(deliveries, key=lambda d: (d.notice.priority, *_age(d)))
    head = f"These {len(deliveries)} messages could not be brought to you earlier. The oldest stands first."
    entries, left_off = _entries(deliveries, doubted, LETTER - len(head))
    if left_off:
        entries.insert(0, f"({left_off} older ones are left out here; the log of the house has them.)")
    return f"{len(deliveries)} messages that waited: {gravest.notice.title}", "\n\n".join([head, *entries])


def _entries(deliveries: Sequence[Delivery], doubted: Collection[NoticeKey], room: int) -> tuple[list[str], int]:
    """Write each entry; where room is short the newest keep their text, older ones their title, the oldest go."""
    marks = [f"{SENT_AGAIN}\n" if key(delivery) in doubted else "" for delivery in deliveries]
    shorts = [
        f"{n}. {mark}{d.notice.title}" for n, (mark, d) in enumerate(zip(marks, deliveries, strict=True), start=1)
    ]
    spare = sum(len(short) + 2 for short in shorts)  # what the titles of those still to come need
    room -= 80  # the line that tells how many are left out
    entries: list[str] = []
    for place in reversed(range(len(deliveries))):
        whole = f"{shorts[place]}\n{deliveries[place].notice.body}"
        spare -= len(shorts[place]) + 2
        fits = len(whole) + 2 <= room - (spare if entries else 0)  # the newest keeps its text, whoever must go for it
        entry = whole if fits else shorts[place]
        if len(entry) + 2 > room:
            return entries[::-1], place + 1
        entries.append(entry)
        room -= len(entry) + 2
    return entries[::-1], 0
