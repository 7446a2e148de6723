"""The table is the law: which moves an alarm may make.

States and words are those of ISA-18.2 / IEC 62682 and OPC 10000-9. An alarm is *raised* when its condition has
outlasted its delay, and *cleared* likewise. A person *acknowledges*: I have seen it. A latched alarm stays until a
person *resets* it, and that only after it is clear and acknowledged. A move that is not in the table is refused and
changes nothing.

Beside the table run overlays that hide an alarm without stopping it: every move is still made and logged.
Suppression is set by the house's own rules (the broker is gone, so its sensors are not blamed), never by a person.
"""

from enum import Enum


class State(Enum):
    """Name where an alarm stands; the letters are those of the ISA-18.2 figure (from memory)."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED = "returned to normal"  # D: over, but nobody has looked yet
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"  # E
    LATCHED = "latched"  # F: waits for a reset


class Move(Enum):
    """Name what can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    CLEAR_LATCHING = "clear, latching"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    RE_ALARM = "re-alarm"


class Refused(Exception):
    """Say why a move is not allowed; nothing was changed."""


_S, _M = State, Move

# The rows follow OPC 10000-9 v1.05.03: B.1.2 (raise, acknowledge, clear), 3.1.13 and 4.8 (latching),
# 5.8.5 (reset), B.1.5 (re-alarm). RETURNED -> RAISE and E/F -> RAISE are from memory of the ISA figure.
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

STANDING = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED})
UNSEEN = frozenset({State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED})


def move(state: State, what: Move) -> State:
    """Return the state after a move, or raise Refused with the reason."""
    after = TABLE.get((state, what))
    if after is None:
        raise Refused(_reason(state, what))
    return after


def _reason(state: State, what: Move) -> str:
    if what is Move.ACKNOWLEDGE:
        return "there is nothing to acknowledge" if state is State.NORMAL else "it is already acknowledged"
    if what is Move.RESET:
        return {
            State.UNACKNOWLEDGED: "it is still going on",
            State.ACKNOWLEDGED: "it is still going on",
            State.LATCHED_UNACKNOWLEDGED: "it must be acknowledged first",
        }.get(state, "it does not wait for a reset")
    return f"an alarm that is {state.value} cannot take the move '{what.value}'"
