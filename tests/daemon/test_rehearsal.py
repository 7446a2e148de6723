"""A rehearsal with the settings as they are shows what was; with others, what would have been."""

import asyncio
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from gatewayd.cli.rehearse import changed
from gatewayd.daemon.rehearsal import Rehearsed, rehearse
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.store.batch import Batch
from gatewayd.store.file import open_reader
from gatewayd.store.store import Store
from gatewayd.upkeep.compare import Change, compare
from tests.cli.household import LONDON
from tests.cli.lived import Lived, cycling, read_house
from tests.store.make import T0

CHEST, CELLAR = "shed-chest-air", "cellar-upright-air"


def lid_left_open(sensor: str, at: int) -> float:
    """Return the air while the shed chest stands open from day 8, 12:00 to 15:00: up to -9 °C."""
    opened = at - (8 * DAY + 12 * HOUR)
    if sensor == CHEST and 0 <= opened < 3 * HOUR:
        return -9.0 - 4.0 * max(0.0, 1 - opened / HOUR)
    return cycling(sensor, at)


def cellar_silent(sensor: str, at: int) -> float | None:
    """Return the air while the cellar's sensor is silent on day 9 from 12:00 to 15:00."""
    return None if sensor == CELLAR and 9 * DAY + 12 * HOUR <= at < 9 * DAY + 15 * HOUR else lid_left_open(sensor, at)


@cache
def life() -> tuple[House, list[Batch]]:
    """Live eleven days: a chest left open and acknowledged, a silent sensor, a freezer shelved, two dark spells."""
    with TemporaryDirectory() as folder:
        lived = Lived(read_house(Path(folder)))
    lived.until(8 * DAY + 13 * HOUR + 30 * MINUTE, lid_left_open)
    lived.order("acknowledge", alarm=next(e.first for e in lived.events if e.kind == "high"))
    lived.until(10 * DAY, cellar_silent)
    lived.order("at the freezer", subject="shed-chest", span=2 * HOUR)
    lived.until(
        10 * DAY + 2 * HOUR, lambda s, at: -10.0 if s == CHEST and at < 10 * DAY + 90 * MINUTE else cycling(s, at)
    )
    lived.until(10 * DAY + 4 * HOUR)
    lived.dark(5 * HOUR)
    lived.until(10 * DAY + 12 * HOUR)
    lived.dark(2 * HOUR, reboot=False)
    lived.until(11 * DAY)
    return lived.house, lived.kept()


def played(tmp_path: Path, *sets: str, batches: Sequence[Batch] | None = None) -> tuple[Rehearsed, list[Change]]:
    """Rehearse from day 7 with other settings."""
    wired, kept = life()
    house, faults = changed(wired, sets)
    assert not faults
    path = tmp_path / "house.db"

    async def fill() -> None:
        store = await Store.open(path, LONDON)
        for batch in batches if batches is not None else kept:
            await store.commit(replace(batch, stored=None))
        await store.tidy(kept[-1].alive, 0)
        await store.close()

    asyncio.run(fill())
    with closing(open_reader(path)) as conn:
        found = rehearse(conn, house, T0 + 7 * DAY, T0 + 11 * DAY)
    return found, compare(found.past, found.events, found.since, found.until, 2 * MINUTE)


def verdicts(changes: list[Change]) -> list[tuple[str, str, str]]:
    """Return them in short."""
    return [(c.verdict.value, c.spell.subject, c.spell.kind) for c in changes]


def test_same_settings(tmp_path: Path) -> None:
    """With the settings as they are every alarm comes again when it came, over restarts and a dark spell too."""
    found, changes = played(tmp_path)

    assert {verdict for verdict, _, _ in verdicts(changes)} == {"same"}
    for kind in ("high", "rising", "lid-open"):
        assert ("same", "shed-chest", kind) in verdicts(changes)
    assert ("same", "cellar-upright", "unwatched") in verdicts(changes)
    turns = [
        [(e.at.wall, e.subject, e.kind, e.what, e.priority) for e in those] for those in (found.events, found.past)
    ]
    assert [turn for turn in turns[0] if turn[0] >= found.since] == [
        turn for turn in turns[1] if turn[0] >= found.since
    ]
    assert found.rows > 2 * 10 * DAY // (5 * MINUTE)
    assert found.skipped == 0
    assert [n.made.wall for n in found.notices] == [n.made.wall for n in found.past_notices]


def test_warmer_limit(tmp_path: Path) -> None:
    """With a limit above the peak that alarm is gone, and others stay."""
    found, changes = played(tmp_path, "shed-chest.high=-8C", "shed-chest.highhigh=-1C")

    assert ("gone", "shed-chest", "high") in verdicts(changes)
    assert ("same", "cellar-upright", "unwatched") in verdicts(changes)
    assert len(found.notices) < len(found.past_notices)


def test_longer_delay(tmp_path: Path) -> None:
    """With a longer delay the same alarm comes later, by as much."""
    _, changes = played(tmp_path, "*.high_on_delay=90min")
    (moved,) = (c for c in changes if c.verdict.value == "moved")

    assert moved.was is not None
    assert moved.would is not None
    assert moved.would.raised - moved.was.raised == 45 * MINUTE


def test_colder_limit(tmp_path: Path) -> None:
    """With a limit inside its cycle a freezer alarms that did not."""
    _, changes = played(tmp_path, "cellar-upright.high=-19C", "cellar-upright.high_on_delay=5min")

    assert ("added", "cellar-upright", "high") in verdicts(changes)


def test_acknowledged_as_it_was(tmp_path: Path) -> None:
    """What people acknowledged and shelved is played: nobody is told of an alarm that was shelved then."""
    found, _ = played(tmp_path)

    assert [e.at.wall for e in found.events if e.what.value == "acknowledged"] == [
        T0 + 8 * DAY + 13 * HOUR + 30 * MINUTE
    ]
    shelved = [e for e in found.events if e.what.value == "shelved" and e.kind == "high"]
    assert [(e.at.wall, e.facts["until"]) for e in shelved] == [(T0 + 10 * DAY, T0 + 10 * DAY + 2 * HOUR)]


def test_nothing_stored(tmp_path: Path) -> None:
    """A store without readings yields nothing, and the file is only read."""
    _, kept = life()
    found, changes = played(tmp_path, batches=[Batch(kept[-1].alive)])

    assert (found.rows, found.oldest, changes) == (0, None, [])


def test_told_how_far(tmp_path: Path) -> None:
    """Whoever waits hears how far it has come, up to the end."""
    played(tmp_path)
    wired, _ = life()
    heard: list[int] = []
    with closing(open_reader(tmp_path / "house.db")) as conn:
        rehearse(conn, wired, T0 + 7 * DAY, T0 + 11 * DAY, heard.append)

    assert heard == sorted(heard)
    assert heard[-1] == T0 + 11 * DAY
