"""Charts: bucketed by SQLite, equal to a recount, and never hiding the warmest moment."""

import random
from contextlib import closing
from datetime import UTC
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.reading import Quality, Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.chart import chart
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
