"""Copies: nightly, whole, and back."""

# ruff: noqa: ASYNC240 -- the loop of a test has nothing else to do while a file is looked at

import asyncio
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.model.delivery import Progress
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.store import copy
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.store.make import LONDON, T0, at, batch, deliveries, event, late, reading, rolled_up, rows

STAMP = "before-restore"


async def fill(store: Store, rows_: int = 500) -> None:
    """Put some hours of readings, an event and a notice into the store."""
    walls = [T0 + n * MINUTE for n in range(rows_)]
    await store.commit(
        batch(
            *(reading(wall) for wall in walls),
            late(T0, T0 + HOUR, T0 + HOUR),
            events=[event(5)],
            deliveries=deliveries(5),
            snapshot="s",
            wall=walls[-1],
        )
    )


def sound(path: Path) -> bool:
    """Return whether SQLite finds no fault in a file."""
    return rows(path, "PRAGMA integrity_check") == [("ok",)]


class TestNightly:
    async def test_all_but_raw(self, store: Store, path: Path, tmp_path: Path) -> None:
        """The nightly copy has everything but the raw readings, and can be opened as a store."""
        await fill(store)
        made = await store.copy(tmp_path / "copies", at(T0 + DAY), 7)

        assert made.name == "gatewayd-2026-11-26.db"
        assert sound(made)
        assert rolled_up(made) == rolled_up(path)
        for table in copy.RAW:
            assert rows(made, f"SELECT count(*) FROM {table}") == [(0,)]  # noqa: S608  # our own names
        kept = await Store.open(made, LONDON)
        found = (await kept.last_event(), await kept.snapshot(), await kept.alive(), await kept.pending())
        await kept.close()
        assert found == (5, await store.snapshot(), await store.alive(), await store.pending())

    async def test_one_moment(self, store: Store, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """What is committed while the copy is made is in none of its tables."""
        await fill(store)
        copied: list[str] = []
        real = copy._copy_rows

        def slow(reader: sqlite3.Connection, target: sqlite3.Connection, table: str) -> None:
            real(reader, target, table)
            with closing(sqlite3.connect(path, isolation_level=None)) as other:
                other.execute("INSERT INTO settings VALUES (?, 0, '{}')", (f"v{len(copied)}",))
            copied.append(table)

        monkeypatch.setattr(copy, "_copy_rows", slow)
        made = await store.copy(tmp_path / "copies", at(T0), 7)

        assert copied.index("settings") > 0
        assert rows(made, "SELECT count(*) FROM settings") == [(0,)]
        assert rows(path, "SELECT count(*) FROM settings") == [(len(copied),)]

    async def test_keeps_so_many(self, store: Store, tmp_path: Path) -> None:
        """The newest by date are kept, older ones go, other files in the folder stay."""
        folder = tmp_path / "copies"
        folder.mkdir()
        (folder / "notes.txt").write_text("mine")
        for day in range(5):
            await store.copy(folder, at(T0 + day * DAY), 3)

        assert [p.name[14:19] for p in copy.copies(folder)] == ["11-29", "11-28", "11-27"]
        assert (folder / "notes.txt").exists()

    async def test_same_night_twice(self, store: Store, tmp_path: Path) -> None:
        """A second copy on the same day takes the place of the first."""
        await store.copy(tmp_path / "copies", at(T0), 3)
        await fill(store)
        made = await store.copy(tmp_path / "copies", at(T0 + HOUR), 3)

        assert rows(made, "SELECT count(*) FROM event") == [(1,)]
        assert sorted((tmp_path / "copies").iterdir()) == [made]


class TestBackup:
    async def test_while_committing(self, store: Store, tmp_path: Path) -> None:
        """A backup holds the store of one moment, while commits go on, and tells how far it is."""
        await fill(store, 60_000)
        seen: list[tuple[int, int]] = []
        task = asyncio.create_task(store.backup(tmp_path / "b.db", lambda done, total: seen.append((done, total))))
        commits = 0
        while not task.done():
            await store.commit(batch(reading(T0 + 40 * DAY + commits)))
            commits += 1
        await task

        assert commits > 0
        assert sound(tmp_path / "b.db")
        ((kept,),) = rows(
            tmp_path / "b.db", "SELECT (SELECT count(*) FROM log WHERE series > 0) + count(*) FROM reading"
        )
        assert 60_000 <= kept <= 60_000 + commits
        assert seen[-1][0] == seen[-1][1] > 100
        assert len(seen) > 1

    async def test_refuses_to_overwrite(self, store: Store, tmp_path: Path) -> None:
        """A backup never writes over a file that is there."""
        (tmp_path / "b.db").write_text("mine")

        with pytest.raises(StoreTrouble, match="exists already"):
            await store.backup(tmp_path / "b.db")
        with pytest.raises(StoreTrouble, match="does not exist"):
            await store.backup(tmp_path / "nowhere" / "b.db")

        assert (tmp_path / "b.db").read_text() == "mine"

    def test_stopped(self, path: Path, tmp_path: Path) -> None:
        """A backup that is stopped leaves nothing behind."""
        copy.open_writer(path).close()

        with pytest.raises(StoreTrouble, match="stopped"):
            copy.backup(path, tmp_path / "b.db", stop=lambda: True)

        assert not [p for p in tmp_path.iterdir() if "b.db" in p.name]


class TestRestore:
    async def test_back_to_then(self, store: Store, path: Path, tmp_path: Path) -> None:
        """After a restore the store is as it was, the file before is kept, and the store goes on."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        await store.commit(batch(reading(T0 + DAY), events=[event(9)]))

        aside = await store.restore(tmp_path / "b.db", STAMP)

        assert aside == path.with_name(f"{path.name}.{STAMP}")
        assert rows(aside, "SELECT max(number) FROM event") == [(9,)]
        assert rows(path, "SELECT max(number) FROM event") == [(5,)]
        assert (tmp_path / "b.db").exists()
        await store.commit(batch(reading(T0 + DAY + 1)))
        assert (await store.since(T0 + DAY))[0].measured_to == T0 + DAY + 1
        assert sound(path)

    async def test_numbers_go_on(self, store: Store, tmp_path: Path) -> None:
        """Event numbers and delivery ids go on above both files, so that none comes to mean something else."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        await store.commit(batch(events=[event(9)], deliveries=deliveries(9)))

        await store.restore(tmp_path / "b.db", STAMP)
        above = await store.last_event()
        (new, _) = await store.commit(batch(events=[event(above + 1)], deliveries=deliveries(above + 1)))

        assert (above, await store.last_event(), new.id) == (9, 10, 5)

    async def test_not_sent_twice(self, store: Store, tmp_path: Path) -> None:
        """A message that waited in the copy and was sent since is not sent again."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        (first, _) = await store.pending()
        await store.finished(first, Progress.SENT, at(T0), 0, "", False)

        await store.restore(tmp_path / "b.db", STAMP)

        assert await store.pending() == []

    async def test_while_committing(self, store: Store, tmp_path: Path) -> None:
        """Commits that are handed in during a restore wait for it and go into the new file."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        task = asyncio.create_task(store.restore(tmp_path / "b.db", STAMP))
        walls = [T0 + DAY + n for n in range(50)]
        for wall in walls[:25]:
            await store.commit(batch(reading(wall)))
        await task
        for wall in walls[25:]:
            await store.commit(batch(reading(wall)))

        found = {r.measured_to for r in await store.since(T0 + DAY)}
        assert set(walls[25:]) <= found <= set(walls)

    async def test_reader_has_it_open(self, store: Store, path: Path, tmp_path: Path) -> None:
        """A command that is reading the old file hinders nothing, and neither file loses a row."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        with closing(sqlite3.connect(path, isolation_level=None)) as reader:
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM log").fetchone()
            await store.commit(batch(events=[event(9)]))
            aside = await store.restore(tmp_path / "b.db", STAMP)

        assert aside is not None
        assert rows(aside, "SELECT max(number) FROM event") == [(9,)]
        assert await store.last_event() == 9
        assert sound(path)

    @pytest.mark.parametrize("wrong", ["text", "other", "damaged", "a little damaged", "missing"])
    async def test_refused(self, store: Store, path: Path, tmp_path: Path, wrong: str) -> None:
        """A copy that is not sound or not ours is refused with a sentence, and the store goes on as it was."""
        await fill(store, 3000)
        source = tmp_path / "b.db"
        if wrong == "text":
            source.write_text("plums and beans\n" * 100)
        elif wrong == "other":
            with closing(sqlite3.connect(source)) as conn:
                conn.execute("CREATE TABLE song (title)")
        elif wrong != "missing":
            await store.backup(source)
            whole = bytearray(source.read_bytes())
            pages = range(len(whole) // 2 // 4096 * 4096, len(whole), 4096)
            leaf = next(at for at in pages if whole[at] == 13 and whole[at + 4])
            if wrong == "damaged":
                whole[leaf : leaf + 8192] = b"\xa5" * 8192
            else:
                whole[leaf + 4] -= 1  # the leaf says it holds a row less (sqlite.org/fileformat2.html#b_tree_pages)
            source.write_bytes(whole)

        with pytest.raises(StoreTrouble, match=r"not a database|another program|damaged|no store"):
            await store.restore(source, STAMP)

        await store.commit(batch(events=[event(6)]))
        assert await store.last_event() == 6
        assert not path.with_name(f"{path.name}.{STAMP}").exists()

    async def test_nightly_after_damage(self, path: Path, tmp_path: Path) -> None:
        """With the file destroyed the newest nightly copy brings back all but the raw readings, doubts included."""
        store = await Store.open(path, LONDON)
        await fill(store)
        made = await store.copy(tmp_path / "copies", at(T0), 7)
        before = rolled_up(path)
        await store.close()
        path.write_bytes(b"\xa5" * 50_000)

        aside = copy.put_back(path, made, STAMP, floor=40)
        store = await Store.open(path, LONDON)
        found = (await store.last_event(), [d.maybe_sent for d in await store.pending()])
        await store.commit(batch(reading(T0 + 499 * MINUTE + 1, -10.0)))
        await store.tidy(at(T0), 0)
        await store.close()

        assert found == (40, [True, True])
        assert aside is not None
        assert aside.read_bytes() == b"\xa5" * 50_000
        assert sum(n for _, _, n, *_ in rolled_up(path)[0]) == sum(n for _, _, n, *_ in before[0]) + 1

    async def test_in_an_empty_place(self, store: Store, path: Path, tmp_path: Path) -> None:
        """A copy can be put where there is no file."""
        await fill(store)
        await store.backup(tmp_path / "b.db")

        assert copy.put_back(tmp_path / "new.db", tmp_path / "b.db", STAMP) is None

        assert rows(tmp_path / "new.db", "SELECT max(number) FROM event") == [(5,)]

    async def test_name_taken(self, store: Store, path: Path, tmp_path: Path) -> None:
        """A file that was set aside before is never written over."""
        await fill(store)
        await store.backup(tmp_path / "b.db")
        await store.restore(tmp_path / "b.db", STAMP)

        with pytest.raises(StoreTrouble, match="exists already"):
            await store.restore(tmp_path / "b.db", STAMP)

        assert await store.last_event() == 5


async def test_set_aside(path: Path) -> None:
    """A damaged file is moved out of the way with its log, and a new one can be begun."""
    store = await Store.open(path, LONDON)
    await fill(store)
    await store.close()

    aside = copy.set_aside(path, "damaged-1")
    store = await Store.open(path, LONDON)
    fresh = await store.last_event()
    await store.close()

    assert (fresh, rows(aside, "SELECT max(number) FROM event")) == (0, [(5,)])
