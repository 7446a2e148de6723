"""Reading the file from a command, while the daemon writes it."""

from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.reading import Quantity
from gatewayd.store import read
from gatewayd.store.file import open_reader
from gatewayd.store.read import Rollup, Tier
from gatewayd.store.store import Store
from tests.store.make import T0, at, batch, event, late, reading


async def test_in_order(store: Store, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings of all sensors come in order of time from table, log and late rows, in pages of any size, each once."""
    monkeypatch.setattr(read, "PAGE", 3)
    first = [reading(T0 + n * MINUTE, -18.0 - n, sensor) for n in range(10) for sensor in ("cellar", "porch", "shed")]
    spread = [late(T0 + n * MINUTE + 1, T0 + HOUR, T0 + HOUR, -1.0 * n) for n in (2, 2, 2, 2, 2, 7)]
    await store.commit(batch(*first, *spread))
    await store.tidy(at(T0), 0)
    second = [reading(T0 + n * MINUTE + 2, -10.0 - n, "porch") for n in range(-5, 15)]
    await store.commit(batch(*second))

    with closing(open_reader(path)) as conn:
        found = list(read.readings(conn, 0))
        counted = read.count(conn, 0)

    expected = sorted([*first, *second, *spread], key=lambda r: r.measured_from)
    assert [r.measured_from for r in found] == [r.measured_from for r in expected]
    assert sorted(map(repr, found)) == sorted(map(repr, expected))
    assert counted == len(expected)


async def test_span_and_sensors(store: Store, path: Path) -> None:
    """The span begins with its first ms and ends before its last; only the sensors asked for come."""
    walls = [T0 + n * HOUR for n in range(4)]
    await store.commit(batch(*(reading(w, sensor=s) for w in walls for s in ("cellar", "porch"))))
    span = (T0 + HOUR, T0 + 3 * HOUR, ("porch",))

    with closing(open_reader(path)) as conn:
        found = [(r.sensor, r.measured_to) for r in read.readings(conn, *span)]

        assert found == [("porch", walls[1]), ("porch", walls[2])]
        assert read.count(conn, *span) == 2


async def test_while_it_grows(store: Store, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that is slow leaves no transaction open, and meets no row twice when the log is moved meanwhile."""
    monkeypatch.setattr(read, "PAGE", 4)
    walls = [T0 + n * MINUTE for n in range(20)]
    await store.commit(batch(*(reading(w) for w in walls)))

    with closing(open_reader(path)) as conn:
        answer = read.readings(conn, 0)
        found = [next(answer) for _ in range(6)]
        await store.tidy(at(T0), 0)
        boot_b = at(T0 + DAY, "boot-b")
        await store.commit(batch(reading(T0 + DAY, heard=boot_b)))
        busy, _, _ = await store._run(lambda c: c.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone())
        found += list(answer)

    assert busy == 0
    assert [r.measured_to for r in found] == [*walls, T0 + DAY]
    assert found[-1].heard.boot == "boot-b"


async def test_events(store: Store, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Events come back as they were, in the order of their numbers."""
    monkeypatch.setattr(read, "PAGE", 2)
    given = [event(n, T0 + n * HOUR, why="lid", who="robin", settings="v1") for n in range(1, 6)]
    await store.commit(batch(events=given))

    with closing(open_reader(path)) as conn:
        assert list(read.events(conn)) == given
        assert list(read.events(conn, T0 + 2 * HOUR, T0 + 4 * HOUR)) == given[1:3]
        assert read.count_events(conn, T0 + 2 * HOUR) == 4


async def test_rollups(store: Store, path: Path) -> None:
    """Quarters and days come with count, lowest, highest and mean in the unit of the quantity."""
    await store.commit(batch(reading(T0, -18.0), reading(T0 + MINUTE, -17.0), reading(T0 + HOUR, -19.5)))
    await store.tidy(at(T0), 0)

    with closing(open_reader(path)) as conn:
        series = ("shed-chest-air", Quantity.TEMPERATURE)
        quarters = list(read.rollups(conn, Tier.QUARTER, *series, T0, T0 + HOUR))
        (day,) = read.rollups(conn, Tier.DAY, *series, T0 - DAY)

    assert quarters == [Rollup(T0, 2, -18.0, -17.0, -17.5)]
    assert (day.start, day.n, day.low, day.high) == (T0 - 10 * HOUR, 3, -19.5, -17.0)
