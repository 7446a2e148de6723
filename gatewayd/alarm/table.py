"""The table is the law: which moves an alarm may make.

States and words are those of ISA-18.2 / IEC 62682 and OPC 10000-9. An alarm is *raised* when its condition has
outlasted its delay, and *cleared* likewise. A person *acknowledges*: I have seen it; where it is asked for, *confirms*:
I have done something about it. A latched alarm stays until a person *resets* it, and that only after it is clear and
acknowledged. *Silence* takes the sound away and nothing else. A move that is not listed is refused with a named reason
and changes nothing.

Beside the six states run three overlays that hide an alarm without stopping it: every move is still made and logged.
*Shelved* by a person, for a time or once; *suppressed* by the house's own rules, never by a person; *out of service*
until a person puts it back.
"""

from dataclasses import dataclass, replace
from enum import Enum

from gatewayd.model.moment import HOUR

LONGEST_SHELF = 12 * HOUR  # a shelving always ends; a day's work at a freezer fits in, a forgotten night does not


class State(Enum):
    """Name where an alarm stands; the letters are those of the ISA-18.2 figure (from memory)."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED = "returned to normal"  # D: over, but nobody has looked yet
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"  # E
    LATCHED = "latched"  # F: waits for a reset


class Shelf(Enum):
    """Name the three states of shelving (OPC 10000-9, 5.8.17)."""

    NONE = "not shelved"
    TIMED = "shelved for a time"
    ONCE = "shelved once"


class Move(Enum):
    """Name what can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    CLEAR_LATCHING = "clear, latching"
    ACKNOWLEDGE = "acknowledge"
    CONFIRM = "confirm"
    RESET = "reset"
    RE_ALARM = "re-alarm"
    SILENCE = "silence"
    SHELVE = "shelve for a time"
    SHELVE_ONCE = "shelve once"
    UNSHELVE = "unshelve"
    TIME_EXPIRED = "time expired"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    TAKE_OUT = "take out of service"
    PUT_BACK = "put back in service"


class Reason(Enum):
    """Name why a move was refused; behind it the name that OPC 10000-9 has for it, where it has one."""

    NOTHING_STANDS = "there is nothing to acknowledge"
    ALREADY_ACKNOWLEDGED = "it is already acknowledged"  # Bad_ConditionBranchAlreadyAcked
    ALREADY_CONFIRMED = "it is already confirmed"  # Bad_ConditionBranchAlreadyConfirmed
    ACKNOWLEDGE_FIRST = "it must be acknowledged first"  # Bad_InvalidState
    CONFIRM_FIRST = "it must be confirmed first"  # Bad_InvalidState
    STILL_ON = "it is still going on"  # Bad_InvalidState
    NOT_LATCHED = "it does not wait for a reset"  # Bad_InvalidState
    NO_SOUND = "it makes no sound"
    ALREADY_SHELVED = "it is already shelved so"  # Bad_ConditionAlreadyShelved
    NOT_SHELVED = "it is not shelved"  # Bad_ConditionNotShelved
    SHELF_SPAN = "it can be shelved for more than nothing and at most 12 h"  # Bad_ShelvingTimeOutOfRange
    ALREADY_SO = "it is so already"
    NOT_LISTED = "an alarm in this state cannot take this move"


class Refused(Exception):
    """Say why a move is not allowed; nothing was changed."""

    def __init__(self, reason: Reason) -> None:
        """Take the named reason."""
        super().__init__(reason.value)
        self.reason = reason


_S, _M = State, Move

# Rows 1-14 of the transition figure. From OPC 10000-9 v1.05.03: B.1.2 (raise, acknowledge, clear), 3.1.13 and 4.8
# (latching), 5.8.5 (reset), B.1.5 (re-alarm). RETURNED -> RAISE, E -> ACKNOWLEDGE and E/F -> RAISE are from memory of
# the ISA figure.
TABLE: dict[tuple[State, Move], State] = {
    (_S.NORMAL, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _M.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _M.CLEAR): _S.NORMAL,
    (_S.UNACKNOWLEDGED, _M.CLEAR): _S.RETURNED,
    (_S.RETURNED, _M.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _M.CLEAR_LATCHING): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _M.CLEAR_LATCHING): _S.LATCHED,
    (_S.LATCHED_UNACKNOWLEDGED, _M.ACKNOWLEDGE): _S.LATCHED,
    (_S.LATCHED, _M.RESET): _S.NORMAL,
    (_S.LATCHED_UNACKNOWLEDGED, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.LATCHED, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _M.RE_ALARM): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _M.RE_ALARM): _S.UNACKNOWLEDGED,
}

# The six transitions of shelving (5.8.17), and the two ways in which it ends by itself (rows 16-22).
SHELVING: dict[tuple[Shelf, Move], Shelf] = {
    (Shelf.NONE, _M.SHELVE): Shelf.TIMED,
    (Shelf.NONE, _M.SHELVE_ONCE): Shelf.ONCE,
    (Shelf.TIMED, _M.SHELVE_ONCE): Shelf.ONCE,
    (Shelf.ONCE, _M.SHELVE): Shelf.TIMED,
    (Shelf.TIMED, _M.UNSHELVE): Shelf.NONE,
    (Shelf.ONCE, _M.UNSHELVE): Shelf.NONE,
    (Shelf.TIMED, _M.TIME_EXPIRED): Shelf.NONE,
    (Shelf.ONCE, _M.TIME_EXPIRED): Shelf.NONE,
}

STANDING = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED})
UNSEEN = frozenset({State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED})
LATCHED = frozenset({State.LATCHED_UNACKNOWLEDGED, State.LATCHED})


@dataclass(frozen=True, slots=True)
class Stand:
    """Hold where one alarm stands: its state, and the overlays that may hide it.

    `left` is the state in which it was when it was hidden: what was unacknowledged before stays so (row 24).
    """

    state: State = State.NORMAL
    confirmed: bool = True
    silenced: bool = True  # follows acknowledgement where nothing else is known (5.8.2)
    shelf: Shelf = Shelf.NONE
    suppressed: bool = False
    out_of_service: bool = False
    left: State = State.NORMAL

    @property
    def active(self) -> bool:
        """Return whether the condition is on now."""
        return self.state in STANDING

    @property
    def acknowledged(self) -> bool:
        """Return whether somebody has seen it; what was never on counts as seen."""
        return self.state not in UNSEEN

    @property
    def latched(self) -> bool:
        """Return whether it is over and waits for a reset."""
        return self.state in LATCHED

    @property
    def retain(self) -> bool:
        """Return whether it is of interest: on, unseen, unconfirmed (table B.1), or latched."""
        return self.active or not self.acknowledged or not self.confirmed or self.latched

    @property
    def hidden(self) -> bool:
        """Return whether one of the overlays hides it (SuppressedOrShelved, 5.8.2)."""
        return self.suppressed or self.out_of_service or self.shelf is not Shelf.NONE


def move(stand: Stand, what: Move, *, confirming: bool = False, span: int | None = None) -> Stand:
    """Return where the alarm stands after a move, or raise Refused with the reason; `stand` itself never changes.

    `confirming` asks for a confirmation after the acknowledgement. `span` (ms) is how long to shelve.
    """
    match what:
        case Move.SHELVE | Move.SHELVE_ONCE | Move.UNSHELVE | Move.TIME_EXPIRED:
            return _shelve(stand, what, span)
        case Move.SUPPRESS | Move.UNSUPPRESS:
            return _hide(stand, stand.suppressed, replace(stand, suppressed=what is Move.SUPPRESS))
        case Move.TAKE_OUT | Move.PUT_BACK:
            return _hide(stand, stand.out_of_service, replace(stand, out_of_service=what is Move.TAKE_OUT))
        case Move.SILENCE:
            if stand.state not in UNSEEN:
                raise Refused(Reason.NO_SOUND)
            return replace(stand, silenced=True)
        case Move.CONFIRM:
            return _confirm(stand)
    after = TABLE.get((stand.state, what))
    if after is None or (what is Move.RESET and not stand.confirmed):
        raise Refused(_reason(stand, what))
    if what in (Move.RAISE, Move.RE_ALARM):
        return replace(stand, state=after, confirmed=True, silenced=False)
    if what is Move.ACKNOWLEDGE:
        return replace(stand, state=after, confirmed=not confirming, silenced=True)
    stand = replace(stand, state=after)
    if stand.shelf is Shelf.ONCE and what in (Move.CLEAR, Move.CLEAR_LATCHING):
        return _shown(stand, replace(stand, shelf=Shelf.NONE))  # row 20: once it is over
    return stand


def _confirm(stand: Stand) -> Stand:
    if stand.confirmed:
        raise Refused(Reason.ALREADY_CONFIRMED)
    if not stand.acknowledged:
        raise Refused(Reason.ACKNOWLEDGE_FIRST)
    return replace(stand, confirmed=True)


def _shelve(stand: Stand, what: Move, span: int | None) -> Stand:
    after = SHELVING.get((stand.shelf, what))
    if after is None:
        unshelved = stand.shelf is Shelf.NONE
        raise Refused(Reason.NOT_SHELVED if unshelved else Reason.ALREADY_SHELVED)
    if what is Move.SHELVE and (span is None or not 0 < span <= LONGEST_SHELF):
        raise Refused(Reason.SHELF_SPAN)
    changed = replace(stand, shelf=after)
    return _shown(stand, changed) if after is Shelf.NONE else _hidden(stand, changed)


def _hide(stand: Stand, was: bool, changed: Stand) -> Stand:  # noqa: FBT001 - the overlay as it was
    if changed == stand:
        raise Refused(Reason.ALREADY_SO)
    return _shown(stand, changed) if was else _hidden(stand, changed)


def _hidden(before: Stand, after: Stand) -> Stand:
    return after if before.hidden else replace(after, left=before.state)


def _shown(before: Stand, after: Stand) -> Stand:
    """Leave an overlay: what stands is told as if it had just come (row 23), what came and went is forgotten (24)."""
    if after.hidden:
        return after
    if before.active:
        return replace(after, state=State.UNACKNOWLEDGED, confirmed=True, silenced=False, left=State.NORMAL)
    if before.state is State.RETURNED and before.left not in UNSEEN:
        return replace(after, state=State.NORMAL, silenced=True, left=State.NORMAL)
    return replace(after, left=State.NORMAL)


def _reason(stand: Stand, what: Move) -> Reason:
    if what is Move.ACKNOWLEDGE:
        return Reason.ALREADY_ACKNOWLEDGED if stand.retain else Reason.NOTHING_STANDS
    if what is Move.RESET:
        if stand.active:
            return Reason.STILL_ON
        if not stand.latched:
            return Reason.NOT_LATCHED
        return Reason.CONFIRM_FIRST if stand.acknowledged else Reason.ACKNOWLEDGE_FIRST
    return Reason.NOT_LISTED
