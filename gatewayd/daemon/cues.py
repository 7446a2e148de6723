"""Read out of the stored events what a rehearsal cannot learn from readings: restarts, people, sources."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gatewayd.alarm.engine import HOUSE
from gatewayd.alarm.kinds import SOURCE_DOWN, SOURCE_UP_AFTER
from gatewayd.model.event import Event, What
from gatewayd.model.given import Order, SourceNews, Tick
from gatewayd.model.moment import MINUTE

STARTED, WAS_DARK = "start", "dark"  # the kinds of the notes that the watch writes at a start and after a dark spell
TEST_OFF = "test-off"  # and of those of a planned test switch-off; one that ended by itself does so here too
DEFROST = "defrost"  # and of those of a defrost, likewise


@dataclass(frozen=True, slots=True)
class Cue:
    """Hold what is played at its time (wall ms) in a boot.

    `restart` says that the watcher began anew, `slept` that it did so without a start: the computer slept. `alarm`
    names the alarm that an acknowledgement is about; its number is another one in a rehearsal.
    """

    wall: int
    boot: str
    given: Order | SourceNews | Tick
    restart: bool = False
    slept: bool = False
    alarm: tuple[str, str] | None = None


def cues(past: Iterable[Event], begin: int) -> list[Cue]:
    """Return the cues from `begin` (wall ms) on, in order. Each event is at least a sign that the watcher was awake.

    One order shelves all alarms of a freezer and each of them wrote an event; it is one cue.
    """
    found = dict.fromkeys(cue for event in past for cue in _cues(event) if cue.wall >= begin)
    starts = [cue.wall for cue in found if cue.restart and not cue.slept]
    # the note of a dark spell comes behind a start too; then the start is the cue
    double = {cue for cue in found if cue.slept and any(abs(cue.wall - start) < MINUTE for start in starts)}
    # what else was written down at the moment of a restart came of the restart, so that goes first
    return sorted((cue for cue in found if cue not in double), key=lambda cue: (cue.wall, not cue.restart))


def _cues(event: Event) -> Iterator[Cue]:
    at, boot, facts = event.at.wall, event.at.boot, event.facts
    by_person = event.who not in ("", HOUSE)
    match event.what:
        case What.NOTED if event.kind == STARTED:
            yield Cue(at, boot, Tick(), restart=True)
        case What.NOTED if event.kind == WAS_DARK and isinstance(until := facts.get("until"), int):
            yield Cue(until, boot, Tick(), restart=True, slept=True)
        case What.NOTED if event.kind == TEST_OFF and facts.get("stage") == "begun":
            yield Cue(at, boot, Order("test switch-off", who=str(facts.get("who", "")), subject=event.subject))
        case What.NOTED if event.kind == TEST_OFF and facts.get("stage") == "ended":
            yield Cue(at, boot, Order("end the test", who=str(facts.get("who", "")), subject=event.subject))
        case What.NOTED if event.kind == DEFROST and facts.get("stage") in _DEFROSTS:
            yield Cue(at, boot, _defrost(event))
        case What.RAISED if event.kind == SOURCE_DOWN.name and isinstance(since := facts.get("since"), int):
            yield Cue(since, boot, SourceNews(event.subject, up=False, reason=str(facts.get("reason", ""))))
        case What.OVER if event.kind == SOURCE_DOWN.name:
            yield Cue(at - SOURCE_UP_AFTER, boot, SourceNews(event.subject, up=True, reason="it answers"))
        case What.ACKNOWLEDGED if by_person:
            order = Order("acknowledge", who=event.who, why=event.why)
            yield Cue(at, boot, order, alarm=(event.subject, event.kind))
        case What.SHELVED if by_person and isinstance(until := facts.get("until"), int):
            yield Cue(at, boot, Order("at the freezer", 0, event.who, event.why, "", event.subject, until - at))
        case What.UNSHELVED if by_person:
            yield Cue(at, boot, Order("left the freezer", 0, event.who, event.why, "", event.subject))
        case What.RESET if by_person:
            yield Cue(at, boot, Order("food checked", 0, event.who, event.why, "", event.subject))
        case _:
            yield Cue(at, boot, Tick())


_DEFROSTS = {"begun": "begin defrost", "step": "defrost step", "ended": "end defrost"}


def _defrost(event: Event) -> Order:
    """Return the order about a defrost that a line of the log tells of."""
    facts, span = event.facts, event.facts.get("span", 0)
    why = str(facts.get("step") or facts.get("ice") or "")
    return Order(
        _DEFROSTS[str(facts["stage"])],
        who=str(facts.get("who", "")),
        why=why,
        subject=event.subject,
        span=span if isinstance(span, int) else 0,
    )
