"""Why people were told or not is kept with the events."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from gatewayd.daemon.unsaved import Unsaved
from gatewayd.model.event import Decision
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from gatewayd.store.batch import Batch
from gatewayd.store.copy import copies
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.migrations import MIGRATIONS
from gatewayd.store.read import decisions
from gatewayd.store.store import Store
from gatewayd.store.tidy import KEEP_DECISIONS
from tests.store.make import LONDON, T0, at, batch, event, reading, rows

STAMP = "20261125T100000Z"
TOLD = Decision(7, "robin", "NEW", at(T0))
WAITS = Decision(7, "ann", "QUIET_HOURS", at(T0), T0 + 9 * HOUR)
LATER = Decision(7, "ann", "NEW", at(T0 + 9 * HOUR))
OTHER = Decision(8, "", "LOW", at(T0 + MINUTE))


def kept(path: Path, event: int | None = None, since: int | None = None) -> list[Decision]:
    """Return what the file holds, by a reader of its own."""
    with closing(open_reader(path)) as conn:
        return decisions(conn, event, since)


async def test_kept_with_the_events(store: Store, path: Path) -> None:
    """What was decided comes back whole, by event or since a time, and the same batch twice is kept once."""
    made = batch(events=[event(7), event(8)], decisions=[TOLD, WAITS, OTHER])
    await store.commit(made)
    await store.commit(replace(made, stored=None))
    await store.commit(batch(decisions=[LATER]))

    assert kept(path) == [WAITS, TOLD, LATER, OTHER]
    assert kept(path, event=8) == [OTHER]
    assert kept(path, since=T0 + 1) == [LATER, OTHER]
    assert kept(path, event=7, since=T0 + 1) == [LATER]
    assert kept(path, event=9) == []


async def test_together_or_not_at_all(path: Path) -> None:
    """An event is never stored without its decisions: both are in the one transaction of the commit."""
    store = await Store.open(path, LONDON)
    await store.commit(batch(events=[event(7)], decisions=[TOLD]))
    await store.close()

    with closing(open_writer(path)) as conn:
        conn.execute("CREATE TRIGGER no BEFORE INSERT ON decision BEGIN SELECT raise(ABORT, 'no'); END")
    store = await Store.open(path, LONDON)
    failed = None
    try:
        await store.commit(batch(events=[event(8)], decisions=[OTHER]))
    except Exception as error:  # noqa: BLE001 - which trouble it is does not matter here
        failed = error
    await store.close()

    assert failed is not None
    assert rows(path, "SELECT number FROM event") == [(7,)]


async def test_restamped(store: Store, path: Path) -> None:
    """After a clock step the decisions move with their events, the end of a wait with them, and none is lost."""
    close = [Decision(7, "ann", "NEW", at(T0 + n * MINUTE)) for n in range(4)]
    after = Decision(9, "ann", "NEW", at(T0 + HOUR))
    await store.commit(batch(events=[event(7)], decisions=[WAITS, *close, after]))

    await store.restamp("boot-a", 0, T0 + HOUR - 1, MINUTE)

    found = kept(path)
    assert [d.at.wall - T0 for d in found] == [MINUTE, MINUTE, 2 * MINUTE, 3 * MINUTE, 4 * MINUTE, HOUR]
    assert [d.until for d in found if d.until] == [T0 + 9 * HOUR + MINUTE]


async def test_forgotten_after_400_days(store: Store, path: Path) -> None:
    """Decisions go after 400 days, while the events stay; also where every reading is kept for ever."""
    await store.commit(batch(events=[event(7), event(8)], decisions=[TOLD, OTHER]))

    await store.tidy(at(T0 + KEEP_DECISIONS + MINUTE), 0)

    assert kept(path) == [OTHER]
    assert rows(path, "SELECT count(*) FROM event") == [(2,)]


async def test_wrong_year_costs_a_week(store: Store, path: Path) -> None:
    """A clock that stands in the wrong year for an hour costs a week of the oldest decisions and not all."""
    old = [Decision(n, "ann", "NEW", at(T0 + n * DAY)) for n in range(20)]
    await store.commit(batch(decisions=old))

    await store.tidy(at(T0 + 30 * 365 * DAY), 0)

    assert [d.event for d in kept(path)] == list(range(7, 20))


async def test_in_the_copy(store: Store, path: Path, tmp_path: Path) -> None:
    """The nightly copy has the decisions."""
    await store.commit(batch(events=[event(7)], decisions=[TOLD, WAITS]))

    made = await store.copy(tmp_path / "copies", at(T0), 7)

    assert kept(made) == [WAITS, TOLD]


async def test_salvaged(path: Path, tmp_path: Path) -> None:
    """What a damaged file has beyond the copy is brought over, decisions like events."""
    store = await Store.open(path, LONDON)
    await store.commit(batch(events=[event(7)], decisions=[TOLD]))
    await store.copy(tmp_path / "copies", at(T0), 7)
    await store.commit(batch(events=[event(8)], decisions=[WAITS, OTHER]))
    done = await store.mend(copies(tmp_path / "copies"), STAMP, 8)
    await store.close()

    assert done.saved.whole
    assert kept(path) == [WAITS, TOLD, OTHER]


async def test_salvaged_of_an_older_file(path: Path, tmp_path: Path) -> None:
    """A file from before there were decisions is brought over whole: what it never had is not missed."""
    open_writer(path, MIGRATIONS[:2]).close()
    with closing(open_writer(path, MIGRATIONS[:2])) as conn:
        conn.execute("INSERT INTO boot VALUES (1, 'boot-a', 0)")
    store = Store(path, LONDON)
    done = await store.mend([], STAMP, 8)
    await store.close()

    assert done.saved.whole
    assert kept(path) == []


async def test_file_of_the_second_version(path: Path) -> None:
    """A file from before there were decisions can be read as it is, keeps its rows, and takes decisions once opened."""
    open_writer(path, MIGRATIONS[:2]).close()
    before = kept(path)
    with closing(open_writer(path, MIGRATIONS[:2])) as conn:
        conn.execute("INSERT INTO boot VALUES (1, 'boot-a', 0)")
        conn.execute("INSERT INTO event VALUES (6, 1, 1, 1, 'shed-chest', 'high', 'raised', 3, 1, 6, '', '', '{}', '')")
    store = await Store.open(path, LONDON)
    await store.commit(batch(reading(T0), events=[event(7)], decisions=[TOLD]))
    await store.close()

    assert before == []
    assert kept(path) == [TOLD]
    assert rows(path, "SELECT number FROM event") == [(6,), (7,)]
    assert path.with_name(f"{path.name}.before-3").exists()


def test_in_the_note_of_what_was_not_saved(tmp_path: Path) -> None:
    """The note beside the store carries decisions through a crash, and one from before there were any can be read."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    note.keep([Batch(at(T0), events=[event(7)], decisions=[TOLD, WAITS])], orderly=False)
    (found,) = Unsaved(tmp_path / "house.db").take()
    old = pack(Batch(at(T0), events=[event(7)]))
    del old["decisions"]

    assert found.decisions == [TOLD, WAITS]
    assert unpack(Batch, old) == Batch(at(T0), events=[event(7)])


def test_alone_in_the_note(tmp_path: Path) -> None:
    """A decision that came without an event, as at the end of the quiet hours, is written down too."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    note.keep([Batch(at(T0), decisions=[LATER])], orderly=False)

    assert [b.decisions for b in Unsaved(tmp_path / "house.db").take()] == [[LATER]]
