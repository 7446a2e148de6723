"""The transition table, against OPC 10000-9 v1.05.03."""

import pytest

from gatewayd.alarm.table import TABLE, Move, Refused, State, move


@pytest.mark.parametrize(("state", "what"), [(s, m) for s in State for m in Move if (s, m) not in TABLE])
def test_unlisted_moves_are_refused(state: State, what: Move) -> None:
    """Every move that the table does not list raises with a reason."""
    with pytest.raises(Refused, match=r"\w+ \w+"):
        move(state, what)


def test_sequence_of_the_standard() -> None:
    """Table B.1 without confirmation: active, acknowledged, inactive; active, inactive, acknowledged."""
    state, seen = State.NORMAL, []
    for what in (Move.RAISE, Move.ACKNOWLEDGE, Move.CLEAR, Move.RAISE, Move.CLEAR, Move.ACKNOWLEDGE):
        state = move(state, what)
        seen.append(state)

    assert seen == [
        State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.NORMAL, State.UNACKNOWLEDGED, State.RETURNED, State.NORMAL,
    ]  # fmt: skip


def test_reset_only_when_latched_and_seen() -> None:
    """5.8.5: a reset is valid only for a latched alarm that is over and acknowledged."""
    assert {state for state, what in TABLE if what is Move.RESET} == {State.LATCHED}
