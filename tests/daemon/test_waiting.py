"""What waits for the store: packed small, within bounds, and nothing but rows is ever left out."""

from gatewayd.daemon.waiting import ROWS_AT_ONCE, ROWS_MOST, Waiting, thin
from gatewayd.model.effect import Restamp
from gatewayd.model.moment import MINUTE
from gatewayd.store.batch import Batch
from tests.store.make import T0, at, bad, deliveries, event, reading


def fill(waiting: Waiting, rows: int, number: int = 1) -> None:
    """Let so many rows, an event and its messages wait."""
    batch = waiting.open(at(T0))
    batch.readings += [reading(T0 + n * MINUTE, -20 + n % 7) for n in range(rows)]
    batch.events.append(event(number))
    batch.deliveries += deliveries(number)
    batch.snapshot = f"after {number}"
    waiting.close(at(T0))


def test_packed_into_a_small_head_and_chunks() -> None:
    """Many failed batches become one with every event and the newest snapshot, and then rows in pieces, in order."""
    waiting = Waiting(at(T0))
    for number in range(1, 40):
        fill(waiting, 60, number)
    waiting.pack(at(T0))
    batches = list(waiting.batches())

    assert [e.number for e in batches[0].events] == list(range(1, 40))
    assert len(batches[0].deliveries) == 78
    assert (batches[0].snapshot, batches[0].readings) == ("after 39", [])
    assert [len(b.readings) for b in batches[1:]] == [ROWS_AT_ONCE, ROWS_AT_ONCE, 340, 0]
    assert all(not b.events and b.snapshot is None for b in batches[1:])


def test_order_about_a_shift_is_kept() -> None:
    """What was stamped before the clock was set stays before the re-stamping, and what came after stays behind it."""
    waiting, shift = Waiting(at(T0)), Restamp("boot-a", 0, T0, 5)
    fill(waiting, 3, 1)
    waiting.shift(shift)
    fill(waiting, 2, 2)
    waiting.pack(at(T0))
    order = []
    while (first := waiting.first) is not None:
        order.append(first if first is shift else ([e.number for e in first.events], len(first.readings)))
        waiting.done(first)

    assert order == [([1], 0), ([], 3), shift, ([2], 0), ([], 2)]


def test_rows_are_bounded_events_never() -> None:
    """However long it lasts, rows stay within the bound, the newest whole, and every event and message is kept."""
    waiting = Waiting(at(T0))
    for number in range(1, 31):
        fill(waiting, 2_000, number)
        waiting.pack(at(T0))

    newest = [row for batch in waiting.batches() for row in batch.readings][-2_000:]
    assert waiting.rows() <= ROWS_MOST
    assert waiting.thinned + waiting.rows() == 60_000
    assert sum(len(b.events) for b in waiting.batches()) == 30
    assert len(waiting.deliveries()) == 60
    assert [row.measured_to for row in newest] == [T0 + n * MINUTE for n in range(2_000)]


def test_bound_holds_for_a_thousand_sensors() -> None:
    """Rows of ever other sensors have no partner to choose from; they too stay within the bound."""
    waiting = Waiting(at(T0))
    waiting.open(at(T0)).readings += [reading(T0, sensor=f"s{n}") for n in range(ROWS_MOST + 5_000)]
    waiting.close(at(T0))
    waiting.pack(at(T0))

    assert waiting.rows() <= ROWS_MOST


def test_of_two_the_warmer_stays() -> None:
    """Of each two rows of a sensor the warmer good one stays, so that what is left never flatters the freezer."""
    rows = [reading(T0, -20.0), reading(T0 + 1, -9.0), reading(T0 + 2, -15.0), bad(T0 + 3), reading(T0 + 4, -30.0)]
    other = [reading(T0, -5.0, sensor="porch")]

    assert [row.value for row in thin(rows)] == [-9.0, -15.0, -30.0]
    assert thin(rows + other)[-1] == other[0]


def test_stored_batch_is_not_stored_again() -> None:
    """A batch that is safe although its answer was lost is not packed with the others."""
    waiting = Waiting(at(T0))
    safe = Batch(at(T0), readings=[reading(T0)])
    safe.stored = []
    waiting.put_first(safe)
    waiting.pack(at(T0))

    assert waiting.rows() == 0
