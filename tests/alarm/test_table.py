"""The transition table, against OPC 10000-9 v1.05.03. The rows of alarm_rows.csv carry their source in the file."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.kinds import AT_FREEZER, HIGH, HIGHHIGH, SILENT
from gatewayd.alarm.table import (
    LONGEST_SHELF,
    SHELVING,
    TABLE,
    Move,
    Reason,
    Refused,
    Shelf,
    Stand,
    State,
    move,
)
from gatewayd.model.event import What
from gatewayd.model.given import Order
from gatewayd.model.moment import HOUR, MINUTE
from tests.alarm.scene import Log, at
from tests.days.player import Player, house

FILE = Path(__file__).parent.parent / "data/alarm_rows.csv"
ROWS = {row["name"]: row for row in csv.DictReader(FILE.read_text().splitlines())}
BESIDE = {
    Move.CONFIRM, Move.SILENCE, Move.SHELVE, Move.SHELVE_ONCE, Move.UNSHELVE, Move.TIME_EXPIRED, Move.SUPPRESS,
    Move.UNSUPPRESS, Move.TAKE_OUT, Move.PUT_BACK,
}  # fmt: skip
UNLISTED = [(s, m) for s in State for m in Move if (s, m) not in TABLE and m not in BESIDE]


def walk(*moves: Move, confirming: bool = False) -> Stand:
    """Return where an alarm stands after some moves."""
    stand = Stand()
    for what in moves:
        stand = move(stand, what, confirming=confirming, span=HOUR)
    return stand


def refused(stand: Stand, what: Move, span: int = HOUR) -> Reason:
    """Return why a move is refused."""
    with pytest.raises(Refused) as caught:
        move(stand, what, span=span)
    return caught.value.reason


def bits(stand: Stand) -> list[int]:
    """Return the columns of table B.1."""
    return [stand.active, stand.acknowledged, stand.confirmed, stand.retain]


@pytest.mark.parametrize(("state", "what"), UNLISTED)
def test_unlisted_moves_are_refused(state: State, what: Move) -> None:
    """Every move that the table does not list raises with a named reason, and changes nothing."""
    stand = Stand(state)
    assert isinstance(refused(stand, what), Reason)
    assert stand == Stand(state)


# table B.1 with confirmation: activate, acknowledge, deactivate, confirm, activate, deactivate, acknowledge, confirm
STEPS = (
    Move.RAISE, Move.ACKNOWLEDGE, Move.CLEAR, Move.CONFIRM, Move.RAISE, Move.CLEAR, Move.ACKNOWLEDGE, Move.CONFIRM,
)  # fmt: skip


@pytest.mark.parametrize("step", range(9))
def test_sequence_of_the_standard(step: int) -> None:
    """OPC 10000-9 table B.1, with confirmation: Active, Acked, Confirmed, Retain of each step."""
    stand = walk(*STEPS[:step], confirming=True)
    row = ROWS.get(f"opc_b1_step{step}")
    expected = {0: [0, 1, 1, 0], 4: [0, 1, 1, 0], 8: [0, 1, 1, 0]}.get(step)  # the rows that the file leaves out

    assert bits(stand) == (json.loads(row["expected"]) if row else expected)
    assert stand.retain == (stand.active or not stand.acknowledged or not stand.confirmed)  # row opc_retain_rule


def test_first_state_is_not_reported() -> None:
    """opc_initial_not_reported: an alarm that has not been raised writes no event and is not listed."""
    log = Log()
    alarm = log.alarms.get("shed-chest", HIGH)
    assert (log.events, alarm.listed) == ([], False)


def test_reset() -> None:
    """opc_reset_not_acked, opc_reset_ok, opc_latched_stays: only over and acknowledged, and then it is normal."""
    over = walk(Move.RAISE, Move.CLEAR_LATCHING)
    assert (over.active, over.latched) == (False, True)
    assert refused(over, Move.RESET) is Reason.ACKNOWLEDGE_FIRST
    seen = move(over, Move.ACKNOWLEDGE)
    assert seen.latched
    assert move(seen, Move.RESET).state is State.NORMAL
    assert refused(walk(Move.RAISE), Move.RESET) is Reason.STILL_ON
    assert refused(Stand(), Move.RESET) is Reason.NOT_LATCHED
    unconfirmed = move(over, Move.ACKNOWLEDGE, confirming=True)
    assert refused(unconfirmed, Move.RESET) is Reason.CONFIRM_FIRST


def test_silence_is_sound_off_and_nothing_else() -> None:
    """opc_silence_not_ack, opc_silence_default: silence acknowledges nothing; unknown, it follows acknowledgement."""
    raised = walk(Move.RAISE)
    assert (raised.silenced, raised.acknowledged) == (False, False)
    quiet = move(raised, Move.SILENCE)
    assert (quiet.silenced, quiet.acknowledged, quiet.state) == (True, False, State.UNACKNOWLEDGED)
    assert move(raised, Move.ACKNOWLEDGE).silenced
    assert not move(quiet, Move.RE_ALARM).silenced
    assert refused(Stand(), Move.SILENCE) is Reason.NO_SOUND


def test_shelving_moves() -> None:
    """The six transitions of 5.8.17, the refusals of the others, and opc_unshelve_early."""
    assert refused(Stand(), Move.UNSHELVE) is Reason.NOT_SHELVED  # opc_unshelve_when_unshelved
    timed = walk(Move.SHELVE)
    assert refused(timed, Move.SHELVE) is Reason.ALREADY_SHELVED  # opc_shelve_twice
    assert move(timed, Move.SHELVE_ONCE).shelf is Shelf.ONCE
    assert move(walk(Move.SHELVE_ONCE), Move.SHELVE, span=HOUR).shelf is Shelf.TIMED
    for shelved in (timed, walk(Move.SHELVE_ONCE)):
        assert move(shelved, Move.UNSHELVE) == Stand()
        assert move(shelved, Move.TIME_EXPIRED) == Stand()  # opc_timed_shelve_expires, by its timer
    assert len([1 for _, what in SHELVING if what is not Move.TIME_EXPIRED]) == 6


def test_shelf_span_has_a_longest() -> None:
    """opc_shelve_over_max, opc_shelve_equal_max: the longest span is allowed, more or none is not."""
    assert move(Stand(), Move.SHELVE, span=LONGEST_SHELF).shelf is Shelf.TIMED
    for span in (LONGEST_SHELF + 1, 0, -1):
        assert refused(Stand(), Move.SHELVE, span) is Reason.SHELF_SPAN


def test_one_shot_covers_one_spell() -> None:
    """opc_oneshot_while_inactive: shelved while inactive it covers the next spell, and ends with it."""
    during = walk(Move.SHELVE_ONCE, Move.RAISE)
    assert during.shelf is Shelf.ONCE
    after = move(during, Move.CLEAR)
    assert (after.shelf, after.state) == (Shelf.NONE, State.NORMAL)


def test_one_shot_ends_by_itself() -> None:
    """opc_oneshot_unshelvetime: it lasts for the longest span at most, and ends with its spell, told to nobody."""
    log = Log()
    alarm = log.alarms.get("shed-chest", HIGH)
    log.alarms.shelve_once(alarm, at(0), "ann", "")
    assert alarm.shelved_until == at(LONGEST_SHELF)
    log.alarms.raise_(alarm, at(MINUTE), at(0), {})
    log.alarms.clear(alarm, at(2 * MINUTE), {})
    assert (alarm.shelf, alarm.shelved_until, alarm.listed) == (Shelf.NONE, None, False)
    assert [e.what for e in log.events] == [What.SHELVED, What.RAISED, What.OVER, What.UNSHELVED]
    assert {e.facts.get("hidden") for e in log.events[1:3]} == {Shelf.ONCE.value}


@pytest.mark.parametrize(
    ("boot", "trusted", "shelf"),
    [(None, True, Shelf.TIMED), ("boot-b", True, Shelf.TIMED), ("boot-b", False, Shelf.NONE)],
)
def test_shelving_over_a_restart(boot: str | None, trusted: bool, shelf: Shelf) -> None:
    """opc_restart_shelving: restored from what was stored; where its time cannot be determined it is unshelved."""
    assert ROWS["opc_restart_shelving"]["expected"] == "restored / Unshelved"
    day = Player(house(1))
    day.give(Order("at the freezer", subject="shed-chest", who="ann", span=HOUR))
    day.restart(5 * MINUTE, boot, trusted=trusted)
    assert day.watch.alarms.get("shed-chest", HIGH).shelf is shelf


def test_acknowledging_twice_is_refused() -> None:
    """opc_ack_twice: the second acknowledgement is refused with its reason."""
    assert refused(walk(Move.RAISE, Move.ACKNOWLEDGE), Move.ACKNOWLEDGE) is Reason.ALREADY_ACKNOWLEDGED
    assert refused(Stand(), Move.ACKNOWLEDGE) is Reason.NOTHING_STANDS


@pytest.mark.parametrize("suppressed", [False, True])
@pytest.mark.parametrize("out", [False, True])
@pytest.mark.parametrize("shelf", [Shelf.NONE, Shelf.TIMED])
def test_hidden_is_any_overlay(suppressed: bool, out: bool, shelf: Shelf) -> None:
    """opc_suppressed_or_shelved: the flag is true in all of the eight combinations but one."""
    stand = Stand(suppressed=suppressed, out_of_service=out, shelf=shelf)
    assert stand.hidden == (suppressed or out or shelf is Shelf.TIMED)


def test_out_of_service_when_inactive_is_still_logged() -> None:
    """opc_oos_when_inactive: taken out while normal, the alarm goes on moving and is logged."""
    log = Log()
    alarm = log.alarms.get("shed-chest", HIGH)
    log.alarms.serve(alarm, at(0), "ann", "battery change", out=True)
    log.alarms.raise_(alarm, at(MINUTE), at(0), {})
    assert [e.what for e in log.events] == [What.OUT_OF_SERVICE, What.RAISED]
    assert log.events[1].facts["hidden"] == "out of service"
    log.alarms.serve(alarm, at(2 * MINUTE), "ann", "done", out=False)
    assert [e.what for e in log.events[2:]] == [What.IN_SERVICE, What.RAISED]  # row 23: told as if it had just come


def test_leaving_an_overlay() -> None:
    """Rows 23 and 24: what stands is unacknowledged anew, what came and went is forgotten, what waited before stays."""
    seen = walk(Move.RAISE, Move.ACKNOWLEDGE, Move.SHELVE, Move.UNSHELVE)
    assert seen.state is State.UNACKNOWLEDGED
    gone = walk(Move.SHELVE, Move.RAISE, Move.CLEAR, Move.UNSHELVE)
    assert gone.state is State.NORMAL
    waited = walk(Move.RAISE, Move.CLEAR, Move.SHELVE, Move.UNSHELVE)
    assert waited.state is State.RETURNED
    latched = walk(Move.SHELVE, Move.RAISE, Move.CLEAR_LATCHING, Move.UNSHELVE)
    assert latched.state is State.LATCHED_UNACKNOWLEDGED
    both = walk(Move.SHELVE, Move.SUPPRESS, Move.RAISE, Move.ACKNOWLEDGE, Move.UNSHELVE)
    assert both.state is State.ACKNOWLEDGED  # still suppressed: nothing is shown yet


@given(st.lists(st.sampled_from(Move), max_size=40))
def test_no_sequence_reaches_an_unlisted_state(moves: list[Move]) -> None:
    """From any sequence of moves, those allowed lead to listed states, those refused change nothing."""
    stand = Stand()
    for what in moves:
        before = replace(stand)
        try:
            stand = move(stand, what, span=HOUR, confirming=len(moves) % 2 == 0)
        except Refused:
            assert stand == before
        else:
            assert stand.state in State
            assert stand.left is State.NORMAL or stand.hidden


ENGINE_MOVES: dict[str, Callable[[Alarms], None]] = {
    "raise": lambda a: a.raise_(a.get("shed-chest", HIGHHIGH), at(0), at(0), {}),
    "clear": lambda a: a.clear(a.get("shed-chest", HIGHHIGH), at(1), {}),
    "latch": lambda a: a.clear(a.get("shed-chest", HIGHHIGH), at(1), {}, latching=True),
    "acknowledge": lambda a: a.acknowledge(a.get("shed-chest", HIGHHIGH), at(2), "ann", "seen"),
    "reset": lambda a: a.reset(a.get("shed-chest", HIGHHIGH), at(3), "ann", "kept all"),
    "silence": lambda a: a.silence(a.get("shed-chest", HIGHHIGH), at(3), "ann", ""),
    "shelve": lambda a: a.shelve(a.get("shed-chest", HIGHHIGH), at(3), HOUR, "ann", ""),
    "once": lambda a: a.shelve_once(a.get("shed-chest", HIGHHIGH), at(3), "ann", ""),
    "unshelve": lambda a: a.unshelve(a.get("shed-chest", HIGHHIGH), at(3), "ann", ""),
    "suppress": lambda a: a.suppress(a.get("shed-chest", HIGHHIGH), at(3), "heron-lane"),
    "unsuppress": lambda a: a.unsuppress(a.get("shed-chest", HIGHHIGH), at(3)),
    "out": lambda a: a.serve(a.get("shed-chest", HIGHHIGH), at(3), "ann", "", out=True),
    "back": lambda a: a.serve(a.get("shed-chest", HIGHHIGH), at(3), "ann", "", out=False),
}


@given(st.lists(st.sampled_from(sorted(ENGINE_MOVES)), max_size=30))
def test_refused_order_writes_no_event(moves: list[str]) -> None:
    """An order that is refused writes no event and changes no field; one that is done writes at least one."""
    log = Log()
    for what in moves:
        alarm = log.alarms.get("shed-chest", HIGHHIGH)
        before, written = replace(alarm), len(log.events)
        try:
            ENGINE_MOVES[what](log.alarms)
        except Refused:
            assert alarm == before
            assert len(log.events) == written
    assert [e.number for e in log.events] == list(range(1, len(log.events) + 1))


def test_alarm_that_needs_nobody_acknowledges_itself() -> None:
    """A kind that asks nobody is acknowledged by the house, and is normal once it is over."""
    log = Log()
    alarm = log.alarms.get("shed-probe", SILENT)
    log.alarms.raise_(alarm, at(0), at(0), {})
    assert alarm.state is State.ACKNOWLEDGED
    log.alarms.clear(alarm, at(1), {})
    assert not alarm.listed
    assert SILENT not in AT_FREEZER
