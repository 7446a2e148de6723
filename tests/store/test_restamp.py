"""What a boot wrote while its clock was wrong."""

from pathlib import Path

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.store.store import Store
from tests.store.make import T0, at, batch, deliveries, event, late, reading, rows

NINE = 9 * HOUR


async def test_readings(store: Store) -> None:
    """Rows of that boot in the span move; other boots' and later ones stay."""
    other = reading(T0, -20.0, heard=at(T0, "boot-0"))
    await store.commit(batch(other, reading(T0 + MINUTE), reading(T0 + HOUR)))

    moved = await store.restamp("boot-a", 0, T0 + HOUR - 1, NINE)

    assert moved == 1
    assert [r.measured_to for r in await store.since(0)] == [T0, T0 + HOUR, T0 + MINUTE + NINE]


async def test_collision(store: Store) -> None:
    """A row that lands on one of another boot is put a ms later and both are kept."""
    await store.commit(batch(reading(T0 + DAY, -1.0, heard=at(T0 + DAY, "boot-0")), reading(T0, -2.0)))

    await store.restamp("boot-a", 0, T0, DAY)

    assert [(r.measured_to, r.value) for r in await store.since(0)] == [(T0 + DAY, -1.0), (T0 + DAY + 1, -2.0)]


async def test_overlap(store: Store) -> None:
    """Rows that move into each other's places all arrive, forward and back."""
    walls = [T0 + n * MINUTE for n in range(100)]
    await store.commit(batch(*(reading(wall, -n / 10) for n, wall in enumerate(walls))))
    before = await store.since(0)

    await store.restamp("boot-a", 0, T0 + DAY, 30 * MINUTE)
    there = [(r.measured_to, r.value) for r in await store.since(0)]
    await store.restamp("boot-a", 0, T0 + DAY, -30 * MINUTE)

    assert there == [(wall + 30 * MINUTE, -n / 10) for n, wall in enumerate(walls)]
    assert await store.since(0) == before


async def test_own_stamp_stays(store: Store) -> None:
    """A sensor's own stamp is not this computer's to shift: only the time at which it was heard moves."""
    await store.commit(batch(reading(T0, heard=at(T0 + 500))))

    await store.restamp("boot-a", T0 + 500, T0 + 500, NINE)

    (found,) = await store.since(0)
    assert (found.measured_to, found.heard.wall) == (T0, T0 + 500 + NINE)


async def test_late_span(store: Store, path: Path) -> None:
    """A late span keeps its beginning when the clock was behind, and is shifted whole when it was ahead."""
    await store.commit(batch(late(T0, T0 + HOUR, T0 + HOUR)))

    await store.restamp("boot-a", 0, T0 + HOUR, NINE)
    ahead = rows(path, "SELECT first, last, heard FROM late")
    await store.restamp("boot-a", 0, T0 + DAY, -NINE)

    assert ahead == [(T0, T0 + HOUR + NINE, T0 + HOUR + NINE)]
    assert rows(path, "SELECT first, last, heard FROM late") == [(T0 - NINE, T0 + HOUR, T0 + HOUR)]


async def test_everything_else(store: Store, path: Path) -> None:
    """Events, notices, next tries, snapshot, answers and the time awake move with the boot, others' do not."""
    mine = batch(events=[event(2)], deliveries=deliveries(2), snapshot="s", answers=[("k", "a")])
    theirs = batch(events=[event(1, boot="boot-0")], deliveries=deliveries(1, boot="boot-0"))
    await store.commit(theirs)
    await store.commit(mine)

    await store.restamp("boot-a", 0, T0, NINE)

    assert rows(path, "SELECT number, at - ? FROM event", T0) == [(1, 0), (2, NINE)]
    assert rows(path, "SELECT event, at - ? FROM notice", T0) == [(1, 0), (2, NINE)]
    assert [d.next_try - T0 for d in await store.pending()] == [0, 2 * MINUTE, NINE, NINE + 2 * MINUTE]
    assert await store.snapshot() == ("s", Moment(T0 + NINE, at(T0).steady, "boot-a"))
    assert (await store.alive()).wall == T0 + NINE  # type: ignore[union-attr]
    assert rows(path, "SELECT at - ? FROM answer", T0) == [(NINE,)]


async def test_nothing_to_do(store: Store) -> None:
    """A boot that never wrote, or a step of nothing, shifts nothing."""
    await store.commit(batch(reading(T0)))

    assert await store.restamp("boot-x", 0, T0, NINE) == 0
    assert await store.restamp("boot-a", 0, T0, 0) == 0
