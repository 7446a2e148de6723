"""When a message is tried, tried again and given up; and what goes out together."""

import random
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.join import (
    LETTER,
    MOST_AT_ONCE,
    MOST_DOUBTFUL,
    SENT_AGAIN,
    Known,
    Parcel,
    after,
    compose,
    key,
    plan,
)
from gatewayd.message.retry import BACK_OFF, LEAST_TRIES, after_failure, due_in, first_try
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority

MADE = Moment(1_795_600_000_000, 3_600_000, "boot-a")


def delivery(
    number: int = 1,
    *,
    route: str = "mail",
    rank: int = 0,
    attempts: int = 0,
    priority: Priority = Priority.HIGH,
    made: Moment = MADE,
    next_try: int | None = None,
    event: int | None = None,
    body: str = "Shed chest is at −9 °C.",
    maybe: bool = False,
    person: str = "ann",
) -> Delivery:
    """Make a delivery of a notice of its own, due when it was made unless said otherwise."""
    event = event or number
    notice = Notice(
        event, person, Stage.NEW, priority, f"Shed chest is warm (no. {event})", body, made, ("mail", "chat")
    )
    due = made.wall if next_try is None else next_try
    return Delivery(number, notice, route, rank, Progress.WAITING, attempts, due, maybe)


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


def test_urgent_before_old() -> None:
    """Of two that wait for one route the urgent goes first, of equals the older, and only one at a time."""
    low = delivery(1, priority=Priority.LOW)
    high = delivery(2, made=MADE.later(MINUTE))
    young = delivery(3, made=MADE.later(2 * MINUTE))

    chosen = plan([low, young, high], MADE.later(3 * MINUTE), Known())

    assert [[d.id for d in parcel.deliveries] for parcel in chosen.parcels] == [[2]]


def test_one_notice_on_one_route_at_a_time() -> None:
    """While a notice is on its way by one route the next route waits, and other routes are not held up."""
    mail = delivery(1, event=9)
    chat = delivery(2, event=9, route="chat", rank=1)
    other = delivery(3, route="chat")

    chosen = plan([mail, chat, other], MADE, Known(flying=[Parcel("mail", (mail,))]))

    assert [parcel.deliveries for parcel in chosen.parcels] == [(other,)]


def test_three_children_at_once() -> None:
    """No more than three letters are under way, and the wait names the next time only."""
    rows = [delivery(n, route=f"r{n}") for n in range(1, 6)] + [delivery(9, next_try=MADE.wall + MINUTE)]

    first = plan(rows, MADE, Known())
    second = plan(rows, MADE, Known(flying=first.parcels))

    assert len(first.parcels) == MOST_AT_ONCE
    assert second.parcels == ()
    assert second.wait == MINUTE


def test_failing_routes_leave_a_place() -> None:
    """However many urgent messages wait for routes that failed, a route that works gets a place at once."""
    rows = [delivery(n, route=f"bad{n}") for n in range(1, 6)]
    good = delivery(9, route="good", priority=Priority.LOW)
    known = Known(doubtful={d.route for d in rows})

    chosen = plan([*rows, good], MADE, known)

    assert sum(parcel.route != "good" for parcel in chosen.parcels) == MOST_DOUBTFUL
    assert good in chosen.parcels[-1].deliveries


def test_hurried_need_not_wait() -> None:
    """A delivery whose route before it is hopeless goes at once."""
    chat = delivery(2, event=9, route="chat", rank=1, next_try=MADE.wall + 2 * MINUTE)

    assert plan([chat], MADE, Known()).parcels == ()
    assert plan([chat], MADE, Known(hurried={2})).parcels == (Parcel("chat", (chat,)),)


def test_three_go_singly_four_together() -> None:
    """Up to three that wait go one by one; more go as one letter, with those that wait out a failure."""
    rows = [delivery(n, made=MADE.later(n)) for n in range(1, 4)]
    backing_off = delivery(4, attempts=2, next_try=MADE.wall + 5 * MINUTE)
    not_yet = delivery(5, rank=1, next_try=MADE.wall + 2 * MINUTE)
    stranger = delivery(6, person="bea", made=MADE.later(9))
    now = MADE.later(10)

    few = plan([*rows, not_yet], now, Known())
    many = plan([*rows, backing_off, not_yet, stranger], now, Known())

    assert [d.id for d in few.parcels[0].deliveries] == [1]
    assert [d.id for d in many.parcels[0].deliveries] == [4, 1, 2, 3]


def test_next_route_of_a_notice() -> None:
    """The route after a delivery is the nearest later one of the same event, person and stage."""
    rows = [delivery(n, event=9, rank=n, route=f"r{n}") for n in range(3)] + [delivery(7, rank=1)]

    assert after(rows[0], rows) == rows[1]
    assert after(rows[2], rows) is None


def test_single_letter_says_sent_again() -> None:
    """A message that may have arrived begins with a line that says so; another stays as it is."""
    plain, again = delivery(1), delivery(2, maybe=True)

    assert compose([plain]) == (plain.notice.title, plain.notice.body)
    assert compose([again])[1] == f"{SENT_AGAIN}\n{again.notice.body}"
    assert compose([plain], {key(plain)})[1].startswith(SENT_AGAIN)


def test_joined_letter_lists_oldest_first() -> None:
    """A joined letter names its number and the gravest in the title and lists each, marked where it may be a repeat."""
    rows = [delivery(n, made=MADE.later(n), priority=Priority.LOW, body=f"text {n}") for n in range(1, 6)]
    rows[2] = delivery(3, made=MADE.later(3), body="text 3", maybe=True)

    title, body = compose(rows)

    assert title == "5 messages that waited: Shed chest is warm (no. 3)"
    assert [body.index(f"text {n}") for n in range(1, 6)] == sorted(body.index(f"text {n}") for n in range(1, 6))
    assert body.count(SENT_AGAIN) == 1


@given(count=st.integers(4, 300), length=st.integers(0, 3_000))
def test_joined_letter_fits(count: int, length: int) -> None:
    """A joined letter never grows past its room, keeps the newest message whole, and says how many it leaves out."""
    rows = [delivery(n, made=MADE.later(n), body=f"<{n}>" + "x" * length) for n in range(1, count + 1)]

    _, body = compose(rows)

    assert len(body) <= LETTER
    assert f"<{count}>" + "x" * length in body
    assert body.count("is warm (no. ") == count or "older ones are left out" in body
