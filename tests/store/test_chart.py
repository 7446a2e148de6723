"""Charts: bucketed by SQLite, equal to a recount, and never hiding the warmest moment."""

import random
from contextlib import closing
from datetime import UTC
from pathlib import Path

import pytest

from gatewayd.model.event import Event, What
from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.chart import Spell, chart, late, openings, spells, sums, whole
from gatewayd.store.file import open_reader
from gatewayd.store.store import Store

BEGIN = 1_795_564_800_000  # wall ms; a midnight in UTC
WARM = Quantity.TEMPERATURE


async def filled(path: Path, days: int, *, tidied: bool) -> list[tuple[int, float]]:
    """Fill a store with a reading every ten minutes and some bad ones, and return the good ones."""
    rng, good = random.Random(7), []
    store = await Store.open(path, UTC)
    for day in range(days):
        rows = []
        for n in range(144):
            at = Moment(BEGIN + day * DAY + n * 10 * MINUTE, HOUR + day * DAY + n * 10 * MINUTE, "boot")
            bad = rng.random() < 0.02
            value = 85.0 if bad else round(-18 + rng.uniform(-2, 2), 1)
            quality = Quality.POWER_ON if bad else Quality.GOOD
            rows.append(Reading("air", WARM, value, at, at.wall, at.wall, quality=quality))
            if not bad:
                good.append((at.wall, value))
        await store.commit(Batch(rows[-1].heard, readings=rows))
        if tidied:
            await store.tidy(rows[-1].heard, 0)
    await store.close()
    return good


@pytest.mark.parametrize("tidied", [True, False])
@pytest.mark.parametrize("points", [1, 7, 50, 800])
async def test_buckets_equal_a_recount(tmp_path: Path, points: int, *, tidied: bool) -> None:
    """From raw rows, moved or not, every bucket has the lowest, highest and mean that its good rows have."""
    good = await filled(tmp_path / "house.db", 3, tidied=tidied)
    since, until = BEGIN + 5 * HOUR, BEGIN + 5 * HOUR + min(points, 60) * 14 * MINUTE
    with closing(open_reader(tmp_path / "house.db")) as conn:
        found = chart(conn, "air", WARM, since, until, points)
    step = -(-(until - since) // points)
    groups: dict[int, list[tuple[int, float]]] = {}
    for t, value in good:
        if since <= t < until:
            groups.setdefault((t - since) // step, []).append((t, value))

    assert [(b.start, b.count, b.low, b.high) for b in found] == [
        (g[0][0], len(g), min(v for _, v in g), max(v for _, v in g)) for g in groups.values()
    ]
    assert [b.mean for b in found] == pytest.approx([sum(v for _, v in g) / len(g) for g in groups.values()])


async def test_coarse_tiers_keep_the_peak(tmp_path: Path) -> None:
    """A chart from quarters or days shows the same lowest and highest as the rows, and counts them all."""
    good = await filled(tmp_path / "house.db", 12, tidied=True)
    with closing(open_reader(tmp_path / "house.db")) as conn:
        for points in (100, 6):
            found = chart(conn, "air", WARM, BEGIN, BEGIN + 12 * DAY, points)
            assert len(found) <= points + 1
            assert sum(b.count for b in found) == len(good)
            assert max(b.high for b in found) == max(v for _, v in good)
            assert min(b.low for b in found) == min(v for _, v in good)


async def test_unknown_sensor_is_empty_and_no_window_is_refused(tmp_path: Path) -> None:
    """A sensor that was never stored has an empty chart; a window that ends before it begins raises."""
    await filled(tmp_path / "house.db", 1, tidied=True)
    with closing(open_reader(tmp_path / "house.db")) as conn:
        assert chart(conn, "attic", WARM, BEGIN, BEGIN + DAY) == []
        with pytest.raises(ValueError, match="window"):
            chart(conn, "air", WARM, BEGIN, BEGIN)


async def test_newest_rows_are_in_every_tier(tmp_path: Path) -> None:
    """What came after the last hourly move is in a chart from quarters and in one from days."""
    good = await filled(tmp_path / "house.db", 12, tidied=True)
    store = await Store.open(tmp_path / "house.db", UTC)
    at = Moment(BEGIN + 12 * DAY, HOUR + 12 * DAY, "boot")
    await store.commit(Batch(at, readings=[Reading("air", WARM, 3.5, at, at.wall, at.wall)]))
    with closing(open_reader(tmp_path / "house.db")) as conn:
        for points in (100, 6):
            found = chart(conn, "air", WARM, BEGIN, BEGIN + 12 * DAY + HOUR, points)
            assert found[-1].high == 3.5
            assert sum(b.count for b in found) == len(good) + 1
        days = sums(conn, "air", WARM, [BEGIN + n * DAY for n in range(14)])
    await store.close()

    assert days[-1] is not None
    assert (days[-1].count, days[-1].high) == (1, 3.5)


@pytest.mark.parametrize("step", [HOUR, DAY])
async def test_sums_equal_a_recount(tmp_path: Path, step: int) -> None:
    """The lines of a table have the lowest, highest and mean of their rows; one without rows is None."""
    good = await filled(tmp_path / "house.db", 3, tidied=True)
    edges = [BEGIN - step + n * step for n in range(3 * DAY // step + 3)]
    with closing(open_reader(tmp_path / "house.db")) as conn:
        found = sums(conn, "air", WARM, edges)
        nothing = sums(conn, "attic", WARM, edges)

    assert found[0] is found[-1] is None
    assert set(nothing) == {None}
    for begin, end, line in zip(edges[1:-2], edges[2:-1], found[1:-1], strict=True):
        values = [value for t, value in good if begin <= t < end]
        assert line is not None
        assert (line.low, line.high, line.count) == (min(values), max(values), len(values))
        assert line.mean == pytest.approx(sum(values) / len(values))


async def test_window_as_a_whole(tmp_path: Path) -> None:
    """Lowest, highest and mean of a window are those of its rows, whatever the buckets."""
    good = await filled(tmp_path / "house.db", 2, tidied=True)
    with closing(open_reader(tmp_path / "house.db")) as conn:
        found = whole(chart(conn, "air", WARM, BEGIN, BEGIN + 2 * DAY, 50))

    assert found is not None
    assert (found.count, found.low, found.high) == (len(good), min(v for _, v in good), max(v for _, v in good))
    assert found.mean == pytest.approx(sum(v for _, v in good) / len(good))
    assert whole([]) is None


async def test_late_readings_are_apart(tmp_path: Path) -> None:
    """A late reading without a stamp is in no bucket, and is found with the span in which it was measured."""
    store = await Store.open(tmp_path / "house.db", UTC)
    at = Moment(BEGIN + HOUR, 2 * HOUR, "boot")
    tardy = Reading("air", WARM, -9.0, at, BEGIN, BEGIN + HOUR, arrival=Arrival.LATE)
    await store.commit(Batch(at, readings=[tardy]))
    await store.close()
    with closing(open_reader(tmp_path / "house.db")) as conn:
        assert chart(conn, "air", WARM, BEGIN, BEGIN + DAY) == []
        assert late(conn, "air", WARM, BEGIN, BEGIN + DAY) == [(BEGIN, BEGIN + HOUR, -9.0)]
        assert late(conn, "air", WARM, BEGIN + 2 * HOUR, BEGIN + DAY) == []


async def test_lid_openings(tmp_path: Path) -> None:
    """A contact's readings become spans in which the lid was open; one still open ends with the last heard."""
    store = await Store.open(tmp_path / "house.db", UTC)
    said = [(0, 0.0), (5, 1.0), (6, 1.0), (8, 0.0), (20, 1.0), (25, 1.0)]
    moments = [(Moment(BEGIN + n * MINUTE, HOUR + n * MINUTE, "boot"), value) for n, value in said]
    rows = [Reading("lid", Quantity.LID, value, at, at.wall, at.wall) for at, value in moments]
    await store.commit(Batch(rows[-1].heard, readings=rows))
    await store.close()
    with closing(open_reader(tmp_path / "house.db")) as conn:
        found = openings(conn, "lid", BEGIN, BEGIN + DAY)

    assert found == [(BEGIN + 5 * MINUTE, BEGIN + 8 * MINUTE), (BEGIN + 20 * MINUTE, BEGIN + 25 * MINUTE)]


async def test_spells_of_alarms(tmp_path: Path) -> None:
    """A spell begins when its condition did and ends with its end, and is cut at the edges of the window."""
    store = await Store.open(tmp_path / "house.db", UTC)

    def turn(number: int, minute: int, what: What, kind: str = "high", **facts: int) -> Event:
        at = Moment(BEGIN + minute * MINUTE, HOUR + minute * MINUTE, "boot")
        return Event(number, at, "shed", kind, what, Priority.HIGH, facts=facts)

    events = [
        turn(1, 60, What.RAISED, since=BEGIN + 15 * MINUTE),
        turn(2, 120, What.OVER),
        turn(3, 200, What.RAISED, "lid-open"),
        turn(4, 210, What.RAISED, "battery"),
    ]
    await store.commit(Batch(events[-1].at, events=events))
    await store.close()
    with closing(open_reader(tmp_path / "house.db")) as conn:
        day = spells(conn, "shed", ["high", "lid-open"], BEGIN, BEGIN + DAY)
        within = spells(conn, "shed", ["high", "lid-open"], BEGIN + 90 * MINUTE, BEGIN + 100 * MINUTE)

    assert day == [
        Spell(BEGIN + 15 * MINUTE, BEGIN + 120 * MINUTE, "high"),
        Spell(BEGIN + 200 * MINUTE, BEGIN + DAY, "lid-open"),
    ]
    assert within == [Spell(BEGIN + 90 * MINUTE, BEGIN + 100 * MINUTE, "high")]
