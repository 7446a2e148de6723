"""The warm spells of the freezers, told from the house's log: when each began, why, and whether it is over.

A spell is opened by High, by High High, by a power cut, and by a dark spell of the gateway itself. What is planned (a
test switch-off, a defrost) opens none. A freezer that is not heard while the gateway is awake opens none either: an
empty battery is no warm spell; but if it touches one it belongs to it, for nobody saw what was then.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gatewayd.model.event import Event, What
from gatewayd.model.excursion import Excursion
from gatewayd.model.moment import HOUR

# ms: what begins so soon after the last is the same spell to the household, which looks at its food once. Our choice.
JOIN = HOUR
HIGH, HIGHHIGH, MAINS, DARK, UNWATCHED = "high", "highhigh", "mains-out", "dark", "unwatched"
OPENS = (HIGH, HIGHHIGH, MAINS, DARK)
KINDS = (*OPENS, UNWATCHED)
_BEGINS = (What.RAISED, What.WORSE, What.REPEATED)
_ENDS = (What.OVER, What.CLOSED)
_POWER = ("power", "")  # how a dark spell ended that says nothing good of the power; of the alarm `dark`
_WHOLE = "host"  # how a power cut was found that takes all that hangs on the gateway's own line


@dataclass(slots=True)
class _Part:
    """Hold one alarm's part of a spell; `ended` None: it stands."""

    kind: str
    number: int
    began: int
    ended: int | None = None
    events: list[int] = field(default_factory=list)


def excursions(events: Iterable[Event], watched: Mapping[str, bool]) -> list[Excursion]:
    """Return the warm spells of all freezers, the oldest first; one that goes on has no end.

    `events` come in the order of their numbers; those of other kinds are left alone. `watched` says of each freezer's
    id whether it has a thermometer. One that has none was without power where all of the house was.
    """
    parts: dict[str, list[_Part]] = {who: [] for who in watched}
    running: dict[tuple[str, str], dict[str, _Part]] = {}
    firsts: dict[tuple[str, str], int] = {}
    for event in events:
        if event.kind == DARK and event.what is What.NOTED:
            _dark(event, parts, watched)
        elif event.kind in KINDS and event.kind != DARK:
            key = (event.subject, event.kind)
            if firsts.get(key) != event.first and event.what in _BEGINS:
                for part in running.pop(key, {}).values():  # its end was never written: the next one ends it
                    part.ended = max(part.began, event.at.wall) if part.ended is None else part.ended
                firsts[key] = event.first
            if firsts.get(key) == event.first:
                _turn(event, running.setdefault(key, {}), parts, watched)
    found = [spell for who, those in parts.items() for spell in _joined(who, those)]
    return sorted(found, key=lambda spell: (spell.began, spell.number, spell.freezer))


def _dark(event: Event, parts: Mapping[str, list[_Part]], watched: Mapping[str, bool]) -> None:
    since, until = _stamp(event, "since"), _stamp(event, "until")
    for who, those in parts.items():
        if watched[who] or event.facts.get("ended") in _POWER:
            those.append(_Part(DARK, event.number, min(since, until), until, [event.number]))


def _turn(
    event: Event, standing: dict[str, _Part], parts: Mapping[str, list[_Part]], watched: Mapping[str, bool]
) -> None:
    """Take one turn of an alarm."""
    if event.what in _BEGINS:
        for who in _whom(event, watched):
            if who in parts and who not in standing and event.facts.get("suppressed_by") != who:
                lasted = event.facts.get("lasted")  # by the steady clock, which no setting of the wall clock moves
                began = event.at.wall - max(0, lasted if isinstance(lasted, int) else 0)
                standing[who] = _Part(event.kind, event.number, began)
                parts[who].append(standing[who])
    for part in standing.values():
        if event.what in _ENDS and part.ended is None:
            part.ended = max(part.began, event.at.wall)
        part.events.append(event.number)


def _whom(event: Event, watched: Mapping[str, bool]) -> Iterable[str]:
    if event.kind != MAINS:
        return (event.subject,)
    covers = str(event.facts.get("covers") or "").split(",")
    return (*covers, *(who for who, seen in watched.items() if not seen and event.facts.get("how") == _WHOLE))


def _stamp(event: Event, name: str) -> int:
    at = event.facts.get(name)
    return min(at, event.at.wall) if isinstance(at, int) else event.at.wall


def _joined(who: str, parts: list[_Part]) -> Iterable[Excursion]:
    """Join what overlaps or follows within an hour; what only was not heard is no spell by itself."""
    group: list[_Part] = []
    end: int | None = 0
    for part in sorted(parts, key=lambda each: (each.began, each.number)):
        if group and end is not None and part.began > end + JOIN:
            yield from _spell(who, group, end)
            group, end = [], 0
        group.append(part)
        end = None if end is None or part.ended is None else max(end, part.ended)
    yield from _spell(who, group, end)


def _spell(who: str, group: list[_Part], end: int | None) -> Iterable[Excursion]:
    openers = [part.number for part in group if part.kind in OPENS]
    if openers:
        yield Excursion(
            min(openers),
            who,
            min(part.began for part in group),
            end,
            tuple(dict.fromkeys(part.kind for part in group)),
            any(part.kind == DARK for part in group),
            tuple(sorted({number for part in group for number in part.events})),
        )
