"""What goes out together, in which order, and how the letter is written."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.join import (
    LATE,
    LETTER,
    MOST_AT_ONCE,
    MOST_DOUBTFUL,
    SENT_AGAIN,
    Known,
    Parcel,
    after,
    compose,
    key,
    overtaken,
    plan,
)  # fmt: skip
from gatewayd.message.retry import first_try
from gatewayd.model.delivery import Delivery
from gatewayd.model.event import Stage
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment, to_wall
from gatewayd.model.priority import Priority
from tests.message.post import MADE, delivery

BERLIN = ZoneInfo("Europe/Berlin")
SHED = ("shed-chest", "high")


def gathered(
    number: int,
    made: Moment,
    join: int = MINUTE,
    rank: int = 0,
    priority: Priority = Priority.HIGH,
    person: str = "ann",
) -> Delivery:
    """Make a delivery that waits `join` ms for others."""
    due = first_try(priority, rank, made.wall, join)
    return delivery(number, made=made, rank=rank, priority=priority, person=person, next_try=due)


def test_urgent_before_old() -> None:
    """What waits for one route goes as one letter: the urgent first, of equals the older."""
    low = delivery(1, priority=Priority.LOW)
    high = delivery(2, made=MADE.later(MINUTE))
    young = delivery(3, made=MADE.later(2 * MINUTE))

    chosen = plan([low, young, high], MADE.later(3 * MINUTE), Known())

    assert [[d.id for d in parcel.deliveries] for parcel in chosen.parcels] == [[2, 3, 1]]


def test_within_a_minute_is_one_message() -> None:
    """What is made within the minute after the first goes with it when the minute is over; later things wait."""
    first, second = gathered(1, MADE), gathered(2, MADE.later(50 * SECOND), priority=Priority.MEDIUM)
    third = gathered(3, MADE.later(61 * SECOND))
    stranger = gathered(4, MADE.later(10 * SECOND), person="ben")

    early = plan([first], MADE.later(MINUTE - 1), Known())
    due = plan([first, second, third, stranger], MADE.later(MINUTE), Known())
    rest = plan([third], MADE.later(MINUTE), Known())

    assert (early.parcels, early.wait) == ((), 1)
    assert [[d.id for d in parcel.deliveries] for parcel in due.parcels] == [[1, 2]]
    assert rest.wait == 61 * SECOND


def test_joining_is_no_reason_to_skip_a_turn() -> None:
    """A later route is not taken along before its turn, however near it was made."""
    mail, later = gathered(1, MADE), gathered(2, MADE.later(SECOND), rank=1)

    (parcel,) = plan([mail, later], MADE.later(MINUTE), Known()).parcels

    assert parcel.deliveries == (mail,)


@given(st.lists(st.tuples(st.integers(0, 5 * MINUTE), st.sampled_from(Priority)), min_size=1, max_size=12))
def test_each_goes_once_and_none_late(made: list[tuple[int, Priority]]) -> None:
    """Looking whenever the plan asks for it, each message goes once, no later than its own minute."""
    rows = [gathered(n, MADE.later(at), priority=p) for n, (at, p) in enumerate(sorted(made), 1)]
    left, now = {d.id: d for d in rows}, MADE
    while left:
        known = [d for d in left.values() if d.notice.made.wall <= now.wall]
        chosen = plan(known, now, Known())
        for parcel in chosen.parcels:
            for sent in parcel.deliveries:
                del left[sent.id]
                assert now.wall <= sent.notice.made.wall + MINUTE
        now = now.later(1 if chosen.parcels else min(chosen.wait or SECOND, SECOND))


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


def test_what_failed_comes_along() -> None:
    """What waits out a failure comes along with what is due; what has not had its turn yet and another's does not."""
    rows = [delivery(n, made=MADE.later(n)) for n in range(1, 3)]
    backing_off = delivery(4, attempts=2, next_try=MADE.wall + 5 * MINUTE)
    not_yet = delivery(5, rank=1, next_try=MADE.wall + 2 * MINUTE)
    stranger = delivery(6, person="bea", made=MADE.later(9))

    chosen = plan([*rows, backing_off, not_yet, stranger], MADE.later(10), Known())

    assert [d.id for d in chosen.parcels[0].deliveries] == [4, 1, 2]


def test_next_route_of_a_notice() -> None:
    """The route after a delivery is the nearest later one of the same event, person and stage."""
    rows = [delivery(n, event=9, rank=n, route=f"r{n}") for n in range(3)] + [delivery(7, rank=1)]

    assert after(rows[0], rows) == rows[1]
    assert after(rows[2], rows) is None


def test_only_the_end_goes() -> None:
    """Where the end of an alarm waits, all that waits of it before is not needed; other alarms and people are."""
    begin = delivery(1, about=SHED)
    worse = delivery(2, about=SHED, stage=Stage.WORSE, route="chat", rank=1)
    end = delivery(3, about=SHED, stage=Stage.OVER)
    anew = delivery(4, about=SHED)
    others = [
        delivery(5, event=1, about=SHED, person="ben"),
        delivery(6, event=2, about=("shed-chest", "rising")),
        delivery(7, event=1, about=("porch-chest", "high")),
    ]

    assert overtaken([begin, worse, end, anew, *others], ()) == [begin, worse]
    assert overtaken([begin, worse, end], [Parcel("mail", (begin,))]) == [worse]
    assert overtaken([begin, worse, anew], ()) == []


def test_two_notes_are_no_beginning_and_end() -> None:
    """Messages that name no alarm never make each other needless."""
    assert overtaken([delivery(1), delivery(2, stage=Stage.OVER)], ()) == []


def test_single_letter_says_sent_again() -> None:
    """A message that may have arrived begins with a line that says so; another stays as it is."""
    plain, again = delivery(1), delivery(2, maybe=True)

    assert compose([plain], MADE, UTC) == (plain.notice.title, plain.notice.body)
    assert compose([again], MADE, UTC)[1] == f"{SENT_AGAIN}\n{again.notice.body}"
    assert compose([plain], MADE, UTC, {key(plain)})[1].startswith(SENT_AGAIN)


def test_late_message_says_when_it_was_written() -> None:
    """More than two minutes beyond its wait a message says when it was written, by the household's clock."""
    made = Moment(to_wall(datetime(2026, 11, 24, 1, 10, tzinfo=UTC)), HOUR, "boot-a")
    row = gathered(1, made)
    said = "(Written at 02:10; it could not be brought to you earlier.)"

    assert compose([row], made.later(MINUTE + LATE), BERLIN)[1] == row.notice.body
    assert compose([row], made.later(MINUTE + LATE + 1), BERLIN)[1] == f"{said}\n{row.notice.body}"
    assert "(Written yesterday 02:10;" in compose([row], made.later(DAY), BERLIN)[1]


def test_clock_that_was_set_makes_no_message_late() -> None:
    """A wall clock that jumps while a message waits its minute does not make it look late."""
    row = gathered(1, MADE)

    assert compose([row], Moment(MADE.wall + DAY, MADE.steady + MINUTE, MADE.boot), UTC)[1] == row.notice.body


def test_letter_of_one_minute_names_the_worst() -> None:
    """Things of one minute carry the title of the worst, how many more there are, and each its text."""
    rows = [gathered(1, MADE), gathered(2, MADE.later(MINUTE), priority=Priority.MEDIUM)]

    title, body = compose(rows, MADE.later(MINUTE), UTC)

    assert title == "Shed chest is warm (no. 1) (and 1 more)"
    assert body.startswith(
        "2 things happened within a minute. The worst stands first.\n\n1. Shed chest is warm (no. 1)"
    )
    assert "\n\n2. Shed chest is warm (no. 2)\n" in body
    assert "Written" not in body


def test_letter_of_more_minutes_says_so() -> None:
    """Where the household gathers for longer the letter says within how long it all happened."""
    rows = [gathered(1, MADE, 5 * MINUTE), gathered(2, MADE.later(3 * MINUTE + SECOND), 5 * MINUTE)]

    assert "2 things happened within 4 min." in compose(rows, MADE.later(5 * MINUTE), UTC)[1]


def test_joined_letter_lists_worst_first() -> None:
    """A letter of what waited names its number and the gravest in the title, and says of each when it was written."""
    rows = [delivery(n, made=MADE.later(n), priority=Priority.LOW, body=f"text {n}") for n in range(1, 6)]
    rows[2] = delivery(3, made=MADE.later(3), body="text 3", maybe=True)
    (parcel,) = plan(rows, MADE.later(HOUR), Known()).parcels

    title, body = compose(parcel.deliveries, MADE.later(HOUR), UTC)

    assert title == "5 messages that waited: Shed chest is warm (no. 3)"
    places = [body.index(f"text {n}") for n in (3, 1, 2, 4, 5)]
    assert places == sorted(places)
    assert body.count(SENT_AGAIN) == 1
    assert body.count("(Written at ") == 5


@given(count=st.integers(2, 300), length=st.integers(0, 3_000), grave=st.integers(1, 300), wait=st.integers(0, DAY))
def test_joined_letter_fits(count: int, length: int, grave: int, wait: int) -> None:
    """A joined letter never grows past its room, keeps the worst message whole, and says how many it leaves out."""
    grave = 1 + grave % count
    rows = [
        delivery(
            n, made=MADE.later(n), body=f"<{n}>" + "x" * length,
            priority=Priority.HIGH if n == grave else Priority.MEDIUM,
        )
        for n in range(1, count + 1)
    ]  # fmt: skip

    _, body = compose(rows, MADE.later(count + wait), UTC)

    assert len(body) <= LETTER
    assert f"<{grave}>" + "x" * length in body
    assert body.count("is warm (no. ") == count or "older ones are left out" in body
