"""Mending: a damaged, torn or vanished file is put right, kept, and as much as possible brought over."""

# ruff: noqa: ASYNC240 -- the loop of a test has nothing else to do while a file is looked at

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.model.moment import MINUTE
from gatewayd.store.copy import copies
from gatewayd.store.recollect import glance
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.store.make import LONDON, T0, at, batch, deliveries, event, reading, rows

STAMP = "20261125T100000Z"


async def lived_in(path: Path, folder: Path) -> None:
    """Leave a file with 3000 readings and an event before the nightly copy, and as much after it."""
    store = await Store.open(path, LONDON)
    await store.commit(batch(*(reading(T0 + n * MINUTE) for n in range(3000)), events=[event(5)], wall=T0))
    await store.copy(folder, at(T0), 7)
    more = (reading(T0 + n * MINUTE) for n in range(3000, 6000))
    await store.commit(batch(*more, events=[event(6), event(7)], deliveries=deliveries(7), wall=T0 + 1, snapshot="s"))
    await store.tidy(at(T0), 0)
    await store.close()


def pages_of(path: Path, table: str) -> list[int]:
    """Return the page numbers of a table's leaves, in order."""
    with closing(sqlite3.connect(path)) as conn:
        found = conn.execute("SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf'", (table,)).fetchall()
    return [row[0] for row in found]


def hurt(path: Path, page: int, pages: int = 1) -> None:
    """Overwrite pages with what a dying card returns."""
    with path.open("r+b") as raw:
        raw.seek((page - 1) * 4096)
        raw.write(b"\xa5" * 4096 * pages)


async def mended(path: Path, folder: Path, floor: int = 0) -> tuple[object, Store]:
    """Mend the file and return what was done, and the open store."""
    store = Store(path, LONDON)
    done = await store.mend(copies(folder), STAMP, floor)
    return done, store


async def test_damaged_page_costs_its_rows(path: Path, tmp_path: Path) -> None:
    """Of a file with one damaged page everything else is brought over into the copy, and the file is kept."""
    await lived_in(path, tmp_path / "copies")
    leaves = pages_of(path, "reading")
    hurt(path, leaves[len(leaves) // 2])
    before = path.read_bytes()
    done, store = await mended(path, tmp_path / "copies")
    left = len(await store.since(0))
    found = (await store.last_event(), len(await store.pending()), await store.snapshot())
    await store.close()

    assert done.aside.read_bytes() == before
    assert done.copy is not None
    assert done.saved.events == 2
    assert not done.saved.whole
    assert 5000 < left < 6000
    assert found[:2] == (7, 2)
    assert found[2][0] == "s"
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]
    assert rows(path, "PRAGMA foreign_key_check") == []


async def test_destroyed_file(path: Path, tmp_path: Path) -> None:
    """Of a file that cannot be read at all the newest copy is left, and no number of an event is given twice."""
    await lived_in(path, tmp_path / "copies")
    path.write_bytes(b"\xa5" * 50_000)
    done, store = await mended(path, tmp_path / "copies")
    last = await store.last_event()
    await store.close()

    assert done.reaches.wall == T0
    assert done.saved.events == 0
    assert last > 7


async def test_damaged_copy_is_passed_over(path: Path, tmp_path: Path) -> None:
    """A copy that is damaged too is not taken; the next older one is."""
    await lived_in(path, tmp_path / "copies")
    good = copies(tmp_path / "copies")[0]
    bad = good.with_name("gatewayd-2026-11-26.db")
    bad.write_bytes(b"\xa5" * 50_000)
    path.write_bytes(b"\xa5" * 50_000)
    done, store = await mended(path, tmp_path / "copies")
    await store.close()

    assert done.copy == good


async def test_no_copy_begins_anew(path: Path, tmp_path: Path) -> None:
    """Without any copy a new file is begun, what can be read is brought over, and the given number is respected."""
    await lived_in(path, tmp_path / "copies")
    leaves = pages_of(path, "reading")
    hurt(path, leaves[-2])
    done, store = await mended(path, tmp_path / "nothing", floor=70)
    found = (await store.last_event(), len(await store.since(0)))
    await store.close()

    assert done.copy is None
    assert found[0] == 70
    assert found[1] > 5000


async def test_another_line_is_not_mixed(path: Path, tmp_path: Path) -> None:
    """A copy of another file takes its place alone: ids that mean something else there are not mixed."""
    await lived_in(path, tmp_path / "copies")
    other = await Store.open(tmp_path / "other.db", LONDON)
    await other.commit(batch(reading(T0, sensor="porch-air"), events=[event(1, boot="boot-z")]))
    await other.copy(tmp_path / "others", at(T0), 7)
    await other.close()
    done, store = await mended(path, tmp_path / "others")
    found = {r.sensor for r in await store.newest()}
    await store.close()

    assert done.saved.events == 0
    assert "shed-chest-air" not in found


@pytest.mark.parametrize("how", ["deleted", "folder deleted", "replaced"])
async def test_rescued(path: Path, tmp_path: Path, how: str) -> None:
    """A file that loses its name while open is written anew with nothing missing; a stranger's file is kept."""
    place = tmp_path / "state"
    place.mkdir()
    path = place / "house.db"
    store = await Store.open(path, LONDON)
    await store.commit(batch(*(reading(T0 + n) for n in range(500)), events=[event(3)]))
    for part in place.iterdir():
        part.unlink()
    if how == "folder deleted":
        place.rmdir()
    elif how == "replaced":
        path.write_text("plums and beans")
    with pytest.raises(StoreTrouble) as caught:
        await store.commit(batch(reading(T0 + 1000)))
    aside = await store.rescue(STAMP)
    await store.commit(batch(reading(T0 + 1000)))
    found = len(await store.since(0))
    await store.close()

    assert caught.value.gone
    assert found == 501
    assert rows(path, "SELECT number FROM event") == [(3,)]
    assert (aside.read_text() if aside else "") == ("plums and beans" if how == "replaced" else "")


async def test_torn_log_is_kept_and_told(path: Path, tmp_path: Path) -> None:
    """Commits that SQLite drops from a damaged log after a crash are counted, and the log is kept beside."""
    await _crashed(path, tmp_path / "crashed.db", commits=10, hurt_at=0.5)
    store = await Store.open(tmp_path / "crashed.db", LONDON)
    dropped = store.dropped
    await store.close()

    assert 2 <= dropped < 15
    assert list(tmp_path.glob("crashed.db.damaged-1-wal"))


@pytest.mark.parametrize("hurt_at", [None, 0.999])
async def test_whole_log_is_no_damage(path: Path, tmp_path: Path, hurt_at: float | None) -> None:
    """A log that is whole, or torn in the commit that a power cut caught, is no damage."""
    await _crashed(path, tmp_path / "crashed.db", commits=10, hurt_at=hurt_at)
    store = await Store.open(tmp_path / "crashed.db", LONDON)
    dropped = store.dropped
    await store.close()

    assert dropped == 0
    assert not list(tmp_path.glob("*-wal"))


async def _crashed(path: Path, target: Path, commits: int, hurt_at: float | None) -> None:
    """Leave a file with its log as a crash would, the log damaged at that part of its length."""
    store = await Store.open(path, LONDON)
    await store.tidy(at(T0), 0)
    for n in range(commits):
        await store.commit(batch(reading(T0 + n), wall=T0 + n))
    target.write_bytes(path.read_bytes())
    log = bytearray(path.with_name(path.name + "-wal").read_bytes())
    if hurt_at is not None:
        place = int(len(log) * hurt_at)
        log[place : place + 4] = b"\xa5\x5a\xa5\x5a"
    target.with_name(target.name + "-wal").write_bytes(log)
    await store.close()


async def test_glance_at_a_locked_file(path: Path, tmp_path: Path) -> None:
    """What a start wants to know can be read from a file in which somebody else is writing."""
    await lived_in(path, tmp_path / "copies")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreTrouble) as caught:
            await Store.open(path, LONDON)
        found = glance(path)

    assert caught.value.busy
    assert (found.last_event, found.snapshot, len(found.pending), found.known) == (7, "s", 2, True)


async def test_shut_store_says_why(path: Path) -> None:
    """A store that could not be opened raises the reason for everything, and works once it is opened."""
    store = Store(path / "missing" / "house.db", LONDON)
    with pytest.raises(StoreTrouble):
        await store.reopen()
    with pytest.raises(StoreTrouble, match="does not exist") as caught:
        await store.commit(batch(reading(T0)))
    (path / "missing").mkdir(parents=True)
    await store.reopen()
    await store.commit(batch(reading(T0)))
    await store.close()

    assert caught.value.passes


async def test_examine_finds_cold_damage(path: Path, tmp_path: Path) -> None:
    """Damage in a page that nobody reads is found by reading every page."""
    await lived_in(path, tmp_path / "copies")
    store = await Store.open(path, LONDON)
    await store.examine()
    hurt(path, pages_of(path, "reading")[10])
    with pytest.raises(StoreTrouble) as caught:
        await store.examine()
    await store.close()

    assert caught.value.damaged
