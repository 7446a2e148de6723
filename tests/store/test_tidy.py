"""The hourly work: roll-ups and retention."""

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gatewayd.model.moment import DAY, HOUR, MINUTE, to_wall
from gatewayd.store.rollup import day_span
from gatewayd.store.store import Store
from tests.store.make import LONDON, T0, at, bad, batch, from_scratch, late, reading, rolled_up, rows


def test_days_of_23_and_25_hours() -> None:
    """A local day runs from midnight to midnight, 23 h long in March and 25 h in October."""
    spans = [
        day_span(to_wall(datetime(2026, month, day, 12, tzinfo=UTC)), LONDON) for month, day in ((3, 29), (10, 25))
    ]

    assert [(end - start) // HOUR for start, end in spans] == [23, 25]
    assert spans[0][0] == to_wall(datetime(2026, 3, 29, tzinfo=UTC))
    assert spans[1][0] == to_wall(datetime(2026, 10, 24, 23, tzinfo=UTC))


@pytest.mark.parametrize(("month", "day", "hours"), [(3, 29, 23), (10, 25, 25)])
async def test_day_rollup(store: Store, path: Path, month: int, day: int, hours: int) -> None:
    """A day with a change of the clock holds exactly the rows of its 23 or 25 hours."""
    noon = to_wall(datetime(2026, month, day, 12, tzinfo=UTC))
    start, end = day_span(noon, LONDON)
    walls = range(start - HOUR, end + HOUR, HOUR)

    await store.commit(batch(*(reading(wall, heard=at(wall)) for wall in walls)))
    await store.tidy(at(end), 0)

    assert (start, hours) in rows(path, "SELECT start, n FROM day")
    assert rolled_up(path) == from_scratch(path)


async def test_sums(store: Store, path: Path) -> None:
    """A quarter holds count, lowest, highest and total of its good rows; bad and unstamped late ones stay out."""
    await store.commit(
        batch(
            reading(T0, -18.5),
            reading(T0 + MINUTE, -17.25),
            bad(T0 + 2 * MINUTE),
            late(T0, T0 + HOUR, T0 + HOUR, value=30.0),
            late(T0 + 3 * MINUTE, T0 + 3 * MINUTE, T0 + HOUR, value=-19.0),
        )
    )
    await store.tidy(at(T0 + HOUR), 0)

    assert rows(path, "SELECT n, low, high, total FROM quarter") == [(3, -19000, -17250, -54750)]


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("keep"), st.lists(st.tuples(st.integers(0, 400), st.integers(-30, 30)), max_size=12)),
        st.tuples(st.just("late"), st.lists(st.tuples(st.integers(0, 400), st.integers(-30, 30)), max_size=4)),
        st.tuples(st.just("bad"), st.lists(st.tuples(st.integers(0, 400), st.just(85)), max_size=2)),
        st.tuples(st.just("restamp"), st.tuples(st.integers(0, 400), st.integers(0, 400), st.integers(-200, 200))),
        st.tuples(st.just("tidy"), st.none()),
        st.tuples(st.just("boot"), st.none()),
    ),
    max_size=10,
)
UNIT = 7 * MINUTE  # stamps on this grid fall into quarters unevenly, and shifts collide often
MIDNIGHT = day_span(T0, LONDON)[0]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
async def test_rollups_equal_scratch(tmp_path_factory: pytest.TempPathFactory, steps: list) -> None:
    """After any sequence of commits, late rows, restamps and moves the roll-ups equal a count from scratch."""
    path = tmp_path_factory.mktemp("p") / "s.db"
    store = await Store.open(path, LONDON)
    boot, kept = 0, 0
    for what, how in steps:
        if what == "restamp":
            first, last, delta = (MIDNIGHT - DAY + n * UNIT for n in how)
            await store.restamp(f"boot-{boot}", first, last, delta - MIDNIGHT + DAY)
        elif what == "tidy":
            await store.tidy(at(T0), 0)
        elif what == "boot":
            boot += 1
        else:
            walls = [(MIDNIGHT - DAY + n * UNIT, float(value)) for n, value in how]
            rows_in = [
                late(wall, wall, T0 + DAY, value)
                if what == "late"
                else bad(wall)
                if what == "bad"
                else reading(wall, value, heard=at(wall, f"boot-{boot}"))
                for wall, value in walls
            ]
            before = await store.since(0)
            await store.commit(batch(*rows_in))
            kept += len(await store.since(0)) - len(before)
    await store.tidy(at(T0), 0)
    total = len(await store.since(0))
    await store.close()

    assert rolled_up(path) == from_scratch(path)
    assert total == kept


async def test_retention(store: Store, path: Path) -> None:
    """Raw rows go by whole local days once they are old enough; roll-ups stay as they were."""
    walls = range(MIDNIGHT, MIDNIGHT + 3 * DAY, 6 * HOUR)
    await store.commit(batch(*(reading(wall) for wall in walls), late(MIDNIGHT, MIDNIGHT + 1, MIDNIGHT + 1)))
    await store.tidy(at(MIDNIGHT), 0)
    before = rolled_up(path)

    gone = await store.tidy(at(MIDNIGHT + 32 * DAY + HOUR), 30 * DAY)

    assert gone == 9
    assert [r.measured_to for r in await store.since(0)] == [w for w in walls if w >= MIDNIGHT + 2 * DAY]
    assert rolled_up(path) == before


async def test_late_row_after_retention(store: Store, path: Path) -> None:
    """A late reading of a day whose rows have gone is added to its roll-ups, which do not shrink."""
    await store.commit(batch(reading(T0, -18.0), reading(T0 + 1, -19.0)))
    await store.tidy(at(T0 + 40 * DAY), 30 * DAY)
    await store.commit(batch(late(T0 + 2, T0 + 2, T0 + 40 * DAY, value=-17.0)))
    await store.tidy(at(T0 + 40 * DAY), 0)

    assert rows(path, "SELECT n, low, high, total FROM quarter") == [(3, -19000, -17000, -54000)]
    assert rows(path, "SELECT n, low, high, total FROM day") == [(3, -19000, -17000, -54000)]


async def test_restamp_after_retention(store: Store, path: Path) -> None:
    """Shifting the rows that are left in a quarter does not make it forget those that have gone."""
    await store.commit(batch(reading(T0, -18.0)))
    await store.tidy(at(T0 + 40 * DAY), 30 * DAY)
    await store.commit(batch(reading(T0 + MINUTE, -10.0, heard=at(T0 + MINUTE, "boot-b"))))

    await store.restamp("boot-b", 0, T0 + HOUR, HOUR)

    found = rows(path, "SELECT slot * 900000, n, total FROM quarter ORDER BY slot")
    assert found == [(T0, 1, -18000), (T0 + HOUR, 1, -10000)]


async def test_wrong_year(store: Store) -> None:
    """A clock that stands decades ahead costs a week of the oldest rows at most, not all of them."""
    walls = range(MIDNIGHT, MIDNIGHT + 30 * DAY, 12 * HOUR)
    await store.commit(batch(*(reading(wall) for wall in walls)))

    await store.tidy(at(T0 + 40 * 365 * DAY), 400 * DAY)

    assert len(await store.since(0)) == len(walls) - 14


async def test_new_zone(path: Path) -> None:
    """When the house's time zone is changed the days are made anew in it."""
    store = await Store.open(path, LONDON)
    await store.commit(batch(*(reading(wall) for wall in range(MIDNIGHT, MIDNIGHT + 2 * DAY, HOUR))))
    await store.tidy(at(T0), 0)
    await store.close()
    zone = ZoneInfo("Asia/Kathmandu")  # 5 h 45 min: off by quarters of an hour

    store = await Store.open(path, zone)
    await store.close()

    assert rolled_up(path) == from_scratch(path, zone)
