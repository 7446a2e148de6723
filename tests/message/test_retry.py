"""When a message is tried, tried again and given up."""

import random
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.retry import BACK_OFF, LEAST_TRIES, LONGEST_JOIN, after_failure, due_in, first_try, gathering
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority
from tests.message.post import MADE, delivery


def failures(given_up_after: int, priority: Priority = Priority.HIGH) -> Iterator[tuple[int, int]]:
    """Yield (attempt, ms since the notice) for a delivery that always fails."""
    rng, now, tries = random.Random(1), MADE, 0
    while True:
        yield tries + 1, now.wall - MADE.wall
        again = after_failure(delivery(attempts=tries, priority=priority), now, rng)
        if again is None:
            return
        now = now.later(again - now.wall)
        tries += 1
        assert tries < given_up_after


@pytest.mark.parametrize(("priority", "minutes"), [(Priority.HIGH, 2), (Priority.MEDIUM, 10), (Priority.LOW, 60)])
def test_next_route_joins(priority: Priority, minutes: int) -> None:
    """Each further route joins one join time later, and the first is tried at once."""
    tries = [first_try(priority, rank, 1_000) for rank in range(3)]

    assert tries == [1_000, 1_000 + minutes * MINUTE, 1_000 + 2 * minutes * MINUTE]


@given(attempts=st.integers(0, 400), seed=st.integers(0, 2**32))
def test_back_off_stays_near_its_step(attempts: int, seed: int) -> None:
    """The wait after a failure is the step of that attempt, give or take a tenth."""
    again = after_failure(delivery(attempts=attempts), MADE, random.Random(seed))
    step = BACK_OFF[min(attempts, len(BACK_OFF) - 1)]

    assert again is not None
    assert abs(again - MADE.wall - step) <= step / 10 + 1


@pytest.mark.parametrize(("priority", "days"), [(Priority.HIGH, 3), (Priority.MEDIUM, 3), (Priority.LOW, 1)])
def test_gives_up_when_stale(priority: Priority, days: int) -> None:
    """A delivery that always fails ends at the first try after its stated days, not before."""
    tries = list(failures(400, priority))

    assert tries[-1][1] >= days * DAY
    assert tries[-2][1] < days * DAY


def test_clock_jump_ends_nothing() -> None:
    """A wall clock that jumps ahead by a year does not give a message up, in its boot or after a restart."""
    jumped = Moment(MADE.wall + 365 * DAY, MADE.steady + MINUTE, MADE.boot)
    restarted = Moment(MADE.wall + 365 * DAY, MINUTE, "boot-b")

    assert after_failure(delivery(attempts=300), jumped, random.Random(1)) is not None
    assert after_failure(delivery(attempts=LEAST_TRIES - 2), restarted, random.Random(1)) is not None
    assert after_failure(delivery(attempts=LEAST_TRIES - 1), restarted, random.Random(1)) is None


def test_server_wait_is_honoured_within_reason() -> None:
    """A server that asks for time gets it, up to a quarter of an hour, and never makes us quicker."""
    waits = [after_failure(delivery(attempts=0), MADE, random.Random(1), asked) for asked in (1, 7 * MINUTE, 20 * HOUR)]

    assert [wait is not None and wait - MADE.wall >= 9 * SECOND for wait in waits] == [True] * 3
    assert waits[0] is not None
    assert waits[0] - MADE.wall <= 11 * SECOND
    assert waits[1:] == [MADE.wall + 7 * MINUTE, MADE.wall + 15 * MINUTE]


def test_due_survives_a_clock_set_back() -> None:
    """A delivery waits for its time; a time no rule could have given means the clock went back, so it is due."""
    later = delivery(next_try=MADE.wall + 5 * MINUTE)
    joining = delivery(rank=2, priority=Priority.LOW, next_try=MADE.wall + 2 * HOUR)

    assert due_in(later, MADE) == 5 * MINUTE
    assert due_in(later, MADE.later(6 * MINUTE)) == 0
    assert due_in(joining, MADE) == 2 * HOUR
    assert due_in(later, Moment(MADE.wall - DAY, MADE.steady, MADE.boot)) == 0


@given(
    priority=st.sampled_from(Priority), rank=st.integers(0, 3), join=st.integers(0, LONGEST_JOIN),
    attempts=st.integers(0, 2),
)  # fmt: skip
def test_gathering_is_read_from_the_first_try(priority: Priority, rank: int, join: int, attempts: int) -> None:
    """A delivery that was not tried yet says how long it waits for others, one that was tried waits for none."""
    due = first_try(priority, rank, MADE.wall, join)
    row = delivery(priority=priority, rank=rank, next_try=due, attempts=attempts)

    assert due - first_try(priority, rank, MADE.wall) == join
    assert gathering(row) == (0 if attempts else join)
    assert due_in(row, MADE) == due - MADE.wall


def test_hurried_gathers_nobody() -> None:
    """A delivery that was brought forward, or whose clock was set since, waits for none."""
    assert gathering(delivery(next_try=0)) == 0
    assert gathering(delivery(next_try=MADE.wall + DAY)) == 0
