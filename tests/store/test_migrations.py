"""From one schema to the next."""

# ruff: noqa: ASYNC240 -- the loop of a test has nothing else to do while a file is looked at

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.migrations import MIGRATIONS, Migration, migrate, version
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.store.make import LONDON, T0, batch, event, reading, rows

NEXT = len(MIGRATIONS) + 1
GOOD = Migration(NEXT, "add a remark", ("ALTER TABLE event ADD COLUMN remark TEXT NOT NULL DEFAULT ''",))
WRONG = Migration(NEXT, "half of it fails", ("CREATE TABLE extra (x)", "INSERT INTO nowhere VALUES (1)"))


async def filled(path: Path) -> None:
    """Make a file of the first version with rows in it."""
    open_writer(path, MIGRATIONS[:1]).close()
    store = await Store.open(path, LONDON)
    await store.commit(batch(reading(T0), events=[event(1)]))
    await store.close()


def test_numbered() -> None:
    """The steps are numbered from one without a gap, and each has a name of its own."""
    assert [step.number for step in MIGRATIONS] == list(range(1, NEXT))
    assert len({step.name for step in MIGRATIONS}) == len(MIGRATIONS)


def test_fresh(path: Path) -> None:
    """A new file gets every step, and no copy is made of nothing."""
    open_writer(path).close()

    assert [p.name for p in path.parent.iterdir()] == [path.name]
    assert rows(path, "SELECT number, name FROM migration") == [(s.number, s.name) for s in MIGRATIONS]


async def test_from_first_version(path: Path) -> None:
    """A file of the first version with rows keeps them, and is copied beside itself before the step."""
    await filled(path)

    with closing(open_writer(path, (*MIGRATIONS, GOOD))) as conn:
        assert version(conn) == NEXT

    assert rows(path, "SELECT number, remark FROM event") == [(1, "")]
    assert rows(path.with_name(f"{path.name}.before-{NEXT}"), "SELECT count(*) FROM log WHERE series > 0") == [(1,)]


async def test_failing_step(path: Path) -> None:
    """A step that fails leaves neither half of its work nor the record that it ran."""
    await filled(path)

    with pytest.raises(StoreTrouble, match="no such table: nowhere"):
        open_writer(path, (*MIGRATIONS, WRONG))

    assert rows(path, "SELECT name FROM sqlite_master WHERE name = 'extra'") == []
    assert rows(path, "SELECT max(number) FROM migration") == [(NEXT - 1,)]


def test_runs_once(path: Path) -> None:
    """A file that has every step is left alone."""
    with closing(open_writer(path)) as conn:
        assert migrate(conn, path) == []


@pytest.mark.parametrize("opener", [open_writer, open_reader])
def test_newer(path: Path, opener: object) -> None:
    """A file of a newer gatewayd is refused with a sentence, and not changed."""
    open_writer(path, (*MIGRATIONS, GOOD)).close()
    before = path.read_bytes()

    with pytest.raises(StoreTrouble, match="written by a newer gatewayd"):
        opener(path)  # type: ignore[operator]

    assert path.read_bytes() == before


class TestWrongFile:
    async def test_not_a_database(self, path: Path) -> None:
        """A file that is no database is refused with a sentence, and not changed."""
        path.write_text("Trout and venison, 3 kg\n" * 100)

        with pytest.raises(StoreTrouble, match="not a database"):
            await Store.open(path, LONDON)

        assert path.read_text().startswith("Trout")

    async def test_other_program(self, path: Path) -> None:
        """Another program's database is refused with a sentence, and not changed."""
        with closing(sqlite3.connect(path)) as conn:
            conn.execute("CREATE TABLE song (title)")
        before = path.read_bytes()

        with pytest.raises(StoreTrouble, match="belongs to another program"):
            await Store.open(path, LONDON)

        assert path.read_bytes() == before

    async def test_no_folder(self, tmp_path: Path) -> None:
        """A folder that does not exist is named."""
        with pytest.raises(StoreTrouble, match=r"folder .*nowhere.* does not exist"):
            await Store.open(tmp_path / "nowhere" / "gatewayd.db", LONDON)

    def test_nothing_to_read(self, path: Path) -> None:
        """A command that only reads says that there is no store yet, and makes none."""
        with pytest.raises(StoreTrouble, match="There is no store at"):
            open_reader(path)

        assert not path.exists()

    def test_folder_instead_of_file(self, tmp_path: Path) -> None:
        """A folder in the place of the file is refused with a sentence."""
        with pytest.raises(StoreTrouble, match="cannot be opened"):
            open_writer(tmp_path)

    def test_reader_cannot_write(self, path: Path) -> None:
        """A connection for reading refuses to write."""
        open_writer(path).close()

        with closing(open_reader(path)) as conn, pytest.raises(sqlite3.OperationalError, match="readonly"):
            conn.execute("DELETE FROM event")

    def test_read_only_folder(self, path: Path) -> None:
        """A store on a disk that cannot be written can be read all the same."""
        open_writer(path).close()
        for name in ("-wal", "-shm"):
            path.with_name(path.name + name).unlink(missing_ok=True)
        # root may write anywhere, so the index that a reader would make is given the shape of a folder
        path.with_name(path.name + "-shm").mkdir()

        with closing(open_reader(path)) as conn:
            assert version(conn) == NEXT - 1
