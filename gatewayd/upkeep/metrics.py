"""Measure the alarms themselves, as control rooms do: how many, how bunched, how long unseen, and which ones are noise.

Control rooms have published targets; a household has one person on shift who also sleeps, so its own budget is far
smaller and is our choice. Averages hide floods, so the worst ten minutes are counted beside them. All stamps are wall
ms, all spans ms. Windows are half open, except that three alarms within 60 s may be exactly 60 s apart.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from gatewayd.model.event import Event, Notice, What
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.priority import Priority
from gatewayd.model.units import show_span

TEN = 10 * MINUTE
WEEK = 7 * DAY
# Three within 60 s is the stricter of two published readings of ISA-18.2-2009 (the other: more than three). A reading
# every few minutes can never meet that, so three within the hour count too: our choice.
CHATTER_COUNT, CHATTER_WITHIN, CHATTER_SLOW = 3, 60 * SECOND, HOUR
FLOOD_FROM, FLOOD_BELOW = 10, 5  # in ten minutes; ISA-18.2, from memory
STALE_AFTER = DAY  # ISA-18.2, from memory
FLEETING = 5 * MINUTE  # one sampling of a recorder of frozen food: over before a second look. Our choice
TOP = 10
MOST_A_DAY = DAY // TEN  # one alarm in ten minutes over the long run (HSE Chemicals Sheet 6): 144, as in IEC 62682:2014
MOST_AFTER_UPSET = 10  # in the first ten minutes (HSE Chemicals Sheet 6)
PRIORITIES = {Priority.LOW: 0.80, Priority.MEDIUM: 0.15, Priority.HIGH: 0.05}  # pages that quote ISA-18.2 / IEC 62682

_ENDS = (What.OVER, What.CLOSED)
_BY_PEOPLE = (What.ACKNOWLEDGED, What.CONFIRMED, What.RESET, What.SILENCED, What.SHELVED, What.OUT_OF_SERVICE)
_HIDES = {What.SHELVED: "shelved", What.SUPPRESSED: "suppressed", What.OUT_OF_SERVICE: "out of service"}
_SHOWS = {What.UNSHELVED: "shelved", What.UNSUPPRESSED: "suppressed", What.IN_SERVICE: "out of service"}


@dataclass(slots=True)
class Spell:
    """Hold one spell of one alarm: from its raise until it was over.

    `first` is the number people see. `seen` is when somebody first acknowledged it, `acted` whether anybody did
    anything at all. `unseen` is the longest it went without acknowledgement.
    """

    first: int
    subject: str
    kind: str
    raised: int
    over: int | None = None
    seen: int | None = None
    acted: bool = False
    unseen: int = 0
    waits: int | None = None  # since when it waits for somebody


@dataclass(frozen=True, slots=True)
class Share:
    """Hold how often one alarm came, and its share of all."""

    subject: str
    kind: str
    count: int
    share: float


@dataclass(frozen=True, slots=True)
class Busiest:
    """Hold the busiest window: how many alarms, and when the first of them came."""

    count: int = 0
    at: int | None = None


@dataclass(frozen=True, slots=True)
class Long:
    """Hold an alarm that went on for long: `first` is its number."""

    first: int
    subject: str
    kind: str
    lasted: int


@dataclass(frozen=True, slots=True)
class Hidden:
    """Hold one time in which an alarm was hidden, how and by whom; `ends` is None while it is."""

    subject: str
    kind: str
    how: str
    by: str
    since: int
    ends: int | None
    lasted: int


@dataclass(frozen=True, slots=True)
class Metrics:
    """Hold what was measured between `since` and `until`.

    `flood` is the time in flood, `busy_hours` and `busy_tens` the share of hours with more than 30 and of ten minutes
    with more than 10 alarms. `messages` and `unneeded` are per person and week; unneeded are those of alarms that were
    over before anybody did anything about them. `answered` is the median time to an acknowledgement.
    """

    since: int
    until: int
    alarms: int
    per_day: float
    per_week: float
    worst_ten: Busiest
    worst_hour: Busiest
    busy_hours: float
    busy_tens: float
    flood: int
    top: list[Share]
    top_share: float
    chattering: list[Share]
    chattering_slowly: list[Share]
    fleeting: list[Share]
    stale: list[Long]
    priorities: dict[str, float]
    messages: dict[str, float]
    unneeded: dict[str, float]
    unseen: Long | None
    answered: int | None
    hidden: list[Hidden] = field(default_factory=list)


def measure(
    events: Sequence[Event], notices: Iterable[Notice], asks: Callable[[str], bool], since: int, until: int
) -> Metrics:
    """Measure the alarms shown from `since` until before `until`.

    `events` are all there are, in order, so that what was raised before is known. `asks` says of which kinds of alarm a
    person must say that they have seen them.
    """
    past = [event for event in events if event.at.wall < until]
    came = [event for event in activations(past) if event.at.wall >= since]
    times = sorted(event.at.wall for event in came)
    by_alarm: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
    for event in came:
        by_alarm[event.subject, event.kind].append(event.at.wall)
    span = max(until - since, 1)
    found = spells(past, until)
    here = [spell for spell in found.values() if (spell.over or until) >= since]
    asked = [spell for spell in here if asks(spell.kind)]
    longest = max(asked, key=lambda spell: spell.unseen, default=None)
    counts = Counter({key: len(those) for key, those in by_alarm.items()})
    top = _shares(counts, len(times))[:TOP]
    waits = [s.seen - s.raised for s in asked if s.seen is not None and s.seen >= since]
    told, unneeded = messages(notices, found, since, until)
    by_priority = Counter(event.priority for event in came)
    return Metrics(
        since, until, len(times), len(times) * DAY / span, len(times) * WEEK / span,
        busiest(times, TEN), busiest(times, HOUR),
        _busy(times, HOUR, 30, since, until), _busy(times, TEN, 10, since, until),
        sum(end - start for start, end in floods(times)),
        top, sum(share.share for share in top),
        _shares(_chattering(by_alarm, CHATTER_WITHIN), len(times)),
        _shares(_chattering(by_alarm, CHATTER_SLOW), len(times)),
        _shares(Counter((s.subject, s.kind) for s in here if s.raised >= since and fleeting(s)), len(times)),
        [Long(s.first, s.subject, s.kind, (s.over or until) - s.raised) for s in here if stale(s, until)],
        {p.word: by_priority[p] / len(times) if times else 0.0 for p in Priority},
        {who: n * WEEK / span for who, n in told.items()}, {who: n * WEEK / span for who, n in unneeded.items()},
        Long(longest.first, longest.subject, longest.kind, longest.unseen) if longest and longest.unseen else None,
        round(median(waits)) if waits else None,
        [each for each in hidden(past, until) if each.ends is None or each.ends >= since],
    )  # fmt: skip


def activations(events: Iterable[Event]) -> list[Event]:
    """Return the events by which an alarm came up before people: raised, and not hidden behind another or shelved."""
    return [e for e in events if e.what is What.RAISED and not (e.facts.get("suppressed_by") or e.facts.get("hidden"))]


def spells(events: Iterable[Event], until: int) -> dict[int, Spell]:
    """Return every spell of every alarm by its number; what still waits for somebody is counted up to `until`."""
    found: dict[int, Spell] = {}
    for event in events:
        at = event.at.wall
        if event.what is What.RAISED and event.first not in found:
            found[event.first] = Spell(event.first, event.subject, event.kind, at)
        spell = found.get(event.first)
        if spell is None:
            continue  # a remark, or of a spell that began before the log did
        if event.what in (What.RAISED, What.REPEATED, What.WORSE):
            spell.waits = at if spell.waits is None else spell.waits
        elif event.what is What.ACKNOWLEDGED and spell.seen is None:
            spell.seen = at
        if event.what in _ENDS:
            spell.over = at
        spell.acted = spell.acted or event.what in _BY_PEOPLE
        if spell.waits is not None and event.what in (*_ENDS, What.ACKNOWLEDGED):
            spell.unseen, spell.waits = max(spell.unseen, at - spell.waits), None
    for spell in found.values():
        if spell.waits is not None:
            spell.unseen = max(spell.unseen, until - spell.waits)
    return found


def busiest(times: Sequence[int], within: int) -> Busiest:
    """Return the window of `within` ms with the most of the sorted `times`; the earliest of equals."""
    best, begin = Busiest(), 0
    for place, at in enumerate(times):
        while at - times[begin] >= within:
            begin += 1
        if place - begin + 1 > best.count:
            best = Busiest(place - begin + 1, times[begin])
    return best


def floods(times: Sequence[int]) -> list[tuple[int, int]]:
    """Return begin and end of each flood: from ten alarms within ten minutes until fewer than five are.

    A flood begins with the first of its ten, and is over when so many of them are ten minutes old.
    """
    turns = sorted([(at, 1) for at in times] + [(at + TEN, -1) for at in times])
    found: list[tuple[int, int]] = []
    began, standing = None, 0
    passed = 0  # how many of `times` have left the window
    for at, step in turns:  # at one moment what leaves goes first
        standing += step
        passed += step < 0
        if began is None and standing >= FLOOD_FROM:
            began = times[passed]
        elif began is not None and standing < FLOOD_BELOW:
            found.append((began, at))
            began = None
    return found


def chatters(times: Sequence[int], within: int = CHATTER_WITHIN) -> bool:
    """Return whether one alarm came three times within so long; `times` are sorted."""
    return any(last - first <= within for first, last in zip(times, times[CHATTER_COUNT - 1 :], strict=False))


def fleeting(spell: Spell) -> bool:
    """Return whether a spell was over before anybody could look, and nobody did anything."""
    return spell.over is not None and not spell.acted and spell.over - spell.raised < FLEETING


def stale(spell: Spell, until: int) -> bool:
    """Return whether a spell stood for longer than a day."""
    return (until if spell.over is None else spell.over) - spell.raised > STALE_AFTER


def messages(
    notices: Iterable[Notice], found: Mapping[int, Spell], since: int, until: int
) -> tuple[Counter[str], Counter[str]]:
    """Count messages by person, and those that nobody needed: of alarms that were over before anybody did anything.

    Notices to one person of one moment are one message.
    """
    moments: defaultdict[tuple[str, int], list[Notice]] = defaultdict(list)
    for notice in notices:
        if since <= notice.made.wall < until:
            moments[notice.person, notice.made.wall].append(notice)
    of: defaultdict[tuple[str, str], list[Spell]] = defaultdict(list)
    for spell in found.values():
        of[spell.subject, spell.kind].append(spell)
    told, unneeded = Counter[str](), Counter[str]()
    for (person, _), those in moments.items():
        told[person] += 1
        unneeded[person] += all(_unneeded(notice, of[notice.subject, notice.kind]) for notice in those)
    return told, unneeded


def _unneeded(notice: Notice, found: Iterable[Spell]) -> bool:
    at = notice.made.wall
    return any(not s.acted and s.over is not None and s.raised <= at <= s.over + MINUTE for s in found)


def hidden(events: Iterable[Event], until: int) -> list[Hidden]:
    """Return every time in which an alarm was shelved, suppressed or out of service, and for how long."""
    begun: dict[tuple[str, str, str], Event] = {}
    found: list[Hidden] = []
    for event in events:
        if event.what in _HIDES:
            begun.setdefault((event.subject, event.kind, _HIDES[event.what]), event)
        ending = [_SHOWS[event.what]] if event.what in _SHOWS else _HIDES.values() if event.what is What.CLOSED else ()
        for how in ending:
            begin = begun.pop((event.subject, event.kind, how), None)
            if begin is not None:
                found.append(_hidden(begin, how, event.at.wall, until))
    return found + [_hidden(begin, how, None, until) for (_, _, how), begin in begun.items()]


def _hidden(begin: Event, how: str, ends: int | None, until: int) -> Hidden:
    since = begin.at.wall
    by = str(begin.facts.get("suppressed_by") or begin.who)
    return Hidden(begin.subject, begin.kind, how, by, since, ends, (until if ends is None else ends) - since)


def _shares(counts: Mapping[tuple[str, str], int], whole: int) -> list[Share]:
    listed = sorted(counts.items(), key=lambda each: (-each[1], each[0]))
    return [Share(subject, kind, count, count / whole if whole else 0.0) for (subject, kind), count in listed]


def _chattering(by_alarm: Mapping[tuple[str, str], list[int]], within: int) -> dict[tuple[str, str], int]:
    return {key: len(times) for key, times in by_alarm.items() if chatters(sorted(times), within)}


def _busy(times: Sequence[int], span: int, above: int, since: int, until: int) -> float:
    """Return the share of whole spans from `since` on that hold more than so many."""
    spans = max(1, -(-(until - since) // span))
    return sum(n > above for n in Counter((at - since) // span for at in times).values()) / spans


@dataclass(frozen=True, slots=True)
class Figure:
    """Hold one line for people: what, how it is here, what to aim at and who says so; `met` None judges nothing."""

    what: str
    here: str
    target: str
    source: str
    met: bool | None


HSE, ISA, MEMORY, OURS = "HSE Chemicals Sheet 6", "IEC 62682", "ISA-18.2, from memory", "ours"


def figures(found: Metrics, name: Callable[[str], str]) -> list[Figure]:
    """Return the figures with their targets. `name` names a person by id."""
    flooded = found.flood / max(1, found.until - found.since)
    split = ", ".join(f"{found.priorities[p.word]:.0%} {p.word}" for p in PRIORITIES)
    after = "no alarm asked" if found.unseen is None else show_span(found.unseen.lasted)
    median_ = "nobody had to" if found.answered is None else show_span(found.answered)
    ten = found.worst_ten.count
    return [
        Figure("alarms a day", f"{found.per_day:.2g}", "144 at most (150 in ISA-18.2 of 2009)", f"{ISA}:2014",
               found.per_day <= MOST_A_DAY),
        Figure("alarms a week", f"{found.per_week:.2g}", "", "", None),
        Figure("most in 10 min", str(ten), f"{MOST_AFTER_UPSET} after an upset", HSE, ten <= MOST_AFTER_UPSET),
        Figure("most in an hour", str(found.worst_hour.count), "30 in fewer than 1 % of hours", MEMORY,
               found.busy_hours < 0.01),
        Figure("10 min with more than 10", f"{found.busy_tens:.1%}", "less than 1 %", MEMORY, found.busy_tens < 0.01),
        Figure("time in flood", f"{flooded:.1%}", "less than 1 %", MEMORY, flooded < 0.01),
        Figure("share of the top ten", f"{found.top_share:.0%}", "1 to 5 % in a plant", MEMORY,
               None),
        Figure("chattering (3 in 60 s)", str(len(found.chattering)), "0", MEMORY, not found.chattering),
        Figure("chattering slowly (3 in 1 h)", str(len(found.chattering_slowly)), "0", OURS,
               not found.chattering_slowly),
        Figure("fleeting (over in 5 min, nobody acted)", str(sum(s.count for s in found.fleeting)), "0", MEMORY,
               not found.fleeting),
        Figure("stale (on for over 24 h)", str(len(found.stale)), "fewer than 5", MEMORY, len(found.stale) < 5),
        Figure("priorities", split, "80 % low, 15 % medium, 5 % high", f"{ISA}, quoted by others", None),
        *(Figure(f"messages a week to {name(who)}", f"{n:.2g}", "", "", None) for who, n in found.messages.items()),
        *(Figure(f"of these over before anybody acted, {name(who)}", f"{n:.2g}", "1 at most", OURS, n <= 1)
          for who, n in found.unneeded.items()),
        Figure("longest unacknowledged", after, "", "", None),
        Figure("median time to acknowledge", median_, "", "", None),
    ]  # fmt: skip
