"""The store as the daemon sees it."""

# ruff: noqa: ASYNC240 -- the loop of a test has nothing else to do while a file is looked at

import asyncio
import math
import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.reading import Arrival, Quality, Quantity
from gatewayd.store import store as module
from gatewayd.store.batch import Batch, Calibration
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.store.make import LONDON, T0, at, bad, batch, deliveries, event, late, reading, rows


async def pragma(store: Store, name: str) -> object:
    """Ask the writer's own connection."""
    return await store._run(lambda conn: conn.execute(f"PRAGMA {name}").fetchone()[0])


class TestSettings:
    async def test_durable(self, store: Store) -> None:
        """The writer uses a write-ahead log, forces every commit to the disk, and waits for a busy file."""
        found = {name: await pragma(store, name) for name in ("journal_mode", "synchronous", "busy_timeout")}

        assert found == {"journal_mode": "wal", "synchronous": 2, "busy_timeout": 1000}

    async def test_one_thread(self, store: Store) -> None:
        """A hundred commits and questions use the same one thread."""
        before = set(threading.enumerate())

        for n in range(100):
            await store.commit(batch(reading(T0 + n)))
            await store.last_event()

        assert set(threading.enumerate()) == before


class TestCommit:
    async def test_round_trip(self, store: Store) -> None:
        """A reading comes back as it was, with value, stamps, boot, quality and offset."""
        given = [
            reading(T0, -18.437, offset=-0.25),
            bad(T0 + 1000),
            reading(T0 + 2000, 61.2, quantity=Quantity.HUMIDITY),
            reading(T0 + 3000, heard=at(T0 + 3450)),
            reading(T0 + 5000, heard=at(T0 + 4000)),
            late(T0 + 6000, T0 + 6000, heard=T0 + HOUR),
        ]

        await store.commit(batch(*given))
        before = await store.since(0)
        await store.tidy(at(T0 + HOUR), 0)

        assert before == await store.since(0) == given

    async def test_no_number(self, store: Store) -> None:
        """A value that is no number is kept as a row without one."""
        await store.commit(batch(reading(T0, math.nan, quality=Quality.UNKNOWN)))

        (found,) = await store.since(0)
        assert math.isnan(found.value)
        assert found.quality is Quality.UNKNOWN

    async def test_retained_left_out(self, store: Store) -> None:
        """A value whose age is not known is not stored."""
        await store.commit(batch(reading(T0, arrival=Arrival.RETAINED)))

        assert await store.since(0) == []

    async def test_late_stored_once(self, store: Store, path: Path) -> None:
        """A late reading with a stamp of its own is stored once, whether its twin lies in the log or was moved."""
        twin = late(T0, T0, heard=T0 + HOUR)
        await store.commit(batch(twin, twin))
        await store.commit(batch(twin))
        await store.tidy(at(T0), 0)
        await store.commit(batch(replace(twin, heard=at(T0 + 2 * HOUR))))

        assert await store.since(0) == [twin]

    async def test_late_kept_apart(self, store: Store, path: Path) -> None:
        """Late readings without a stamp lie in a table of their own, all of them, also equal ones."""
        spread = late(T0, T0 + HOUR, heard=T0 + HOUR)
        no_span = late(T0 + HOUR, T0 + HOUR, heard=T0 + HOUR)

        await store.commit(batch(spread, spread, no_span))

        assert await store.since(0) == []
        assert rows(path, "SELECT first, last, heard FROM late") == [
            (T0, T0 + HOUR, T0 + HOUR),
            (T0, T0 + HOUR, T0 + HOUR),
            (T0 + HOUR, T0 + HOUR, T0 + HOUR),
        ]

    async def test_same_ms(self, store: Store) -> None:
        """Two different live readings heard in the same ms are both kept, the second a ms later."""
        await store.commit(batch(reading(T0, -18.0), reading(T0, -17.0)))
        await store.tidy(at(T0), 0)
        await store.commit(batch(reading(T0, -16.0), reading(T0, -17.0), reading(T0, -18.0)))

        kept = [(r.measured_to - T0, r.value) for r in await store.since(0)]
        assert kept == [(0, -18.0), (1, -17.0), (2, -16.0)]

    async def test_hand_in_again(self, store: Store, path: Path) -> None:
        """The same batch handed in twice, or an equal one, changes nothing and gives the same deliveries."""
        given = batch(reading(T0), events=[event(1)], deliveries=deliveries(1), answers=[("key", "done")])
        first = await store.commit(given)

        again = await store.commit(given)
        equal = await store.commit(replace(given, stored=None))

        assert first == again == equal
        assert [d.id for d in first] == [1, 2]
        assert rows(path, "SELECT (SELECT count(*) FROM log WHERE series > 0), (SELECT count(*) FROM event)") == [
            (1, 1)
        ]

    async def test_half_surrogate(self, store: Store) -> None:
        """Text that cannot be written as UTF-8 is mended, so that it cannot fail every commit it is in."""
        given = event(1, who="robin \ud83d", facts={"text": "\udc00", "value": math.nan})

        await store.commit(batch(events=[given], answers=[("k", "\ud800")]))

        assert await store.answer("k") == "?"

    async def test_one_page(self, store: Store, path: Path) -> None:
        """A commit of ten sensors' readings writes one page: the last one of the log."""
        sensors = [f"probe-{n}" for n in range(10)]
        await store.commit(batch(*(reading(T0, sensor=s) for s in sensors)))
        await pragma(store, "wal_checkpoint(TRUNCATE)")

        await store.commit(batch(*(reading(T0 + MINUTE, sensor=s) for s in sensors), wall=T0 + MINUTE))

        frame, header = 4096 + 24, 32  # sqlite.org/fileformat2.html#walformat
        assert (path.with_name(path.name + "-wal").stat().st_size - header) / frame == 1

    async def test_cancelled(self, store: Store) -> None:
        """A caller who is cancelled leaves a whole batch, and handing it in again tells what was stored."""
        given = batch(*(reading(T0 + n) for n in range(2000)), events=[event(1)], deliveries=deliveries(1))
        task = asyncio.create_task(store.commit(given))
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

        assert len(await store.commit(given)) == 2
        assert len(await store.since(0)) == 2000

    async def test_log_moved_early(self, store: Store, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """A log that grows beyond its bound is moved ahead of its hour."""
        monkeypatch.setattr(module, "LOG_MOST", 10)

        await store.commit(batch(*(reading(T0 + n) for n in range(11))))

        assert rows(path, "SELECT count(*) FROM reading") == [(11,)]


class TestTrouble:
    async def test_locked(self, store: Store, path: Path) -> None:
        """While another program writes the batch is refused with a sentence, and can be handed in again later."""
        given = batch(reading(T0), events=[event(1)])
        await pragma(store, "busy_timeout = 20")
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreTrouble, match="locked by another program"):
                await store.commit(given)
        await store.commit(given)

        assert len(await store.since(0)) == 1

    async def test_full(self, store: Store) -> None:
        """A full disk refuses the whole batch, keeps what was there, and goes on when there is room."""
        await store.commit(batch(reading(T0)))
        pages = await pragma(store, "page_count")
        await pragma(store, f"max_page_count = {pages}")
        given = batch(*(reading(T0 + n, sensor="new") for n in range(1, 3000)), wall=T0 + 1)
        with pytest.raises(StoreTrouble, match=r"full.*free some space"):
            await store.commit(given)
        left = await store.since(0)
        await pragma(store, "max_page_count = 1000000")
        await store.commit(given)

        assert left == [reading(T0)]
        assert len(await store.since(0)) == 3000

    async def test_vanished(self, store: Store, path: Path) -> None:
        """A file that was moved away under the store is told and not written any more."""
        await store.commit(batch(reading(T0)))
        path.rename(path.with_name("elsewhere.db"))

        with pytest.raises(StoreTrouble, match="moved or deleted") as caught:
            await store.commit(batch(reading(T0 + 1)))

        assert caught.value.gone

    async def test_damaged(self, path: Path) -> None:
        """A damaged page is told as damage, so that the caller knows a copy is needed."""
        store = await Store.open(path, LONDON)
        await store.commit(batch(*(reading(T0 + n) for n in range(3000))))
        await store.close()
        whole = path.read_bytes()
        path.write_bytes(whole[:4096] + b"\xa5" * (len(whole) - 4096))

        with pytest.raises(StoreTrouble, match="damaged") as caught:
            await Store.open(path, LONDON)

        assert caught.value.damaged

    async def test_closed(self, path: Path) -> None:
        """A closed store says so, and closing twice is harmless."""
        store = await Store.open(path, LONDON)
        await store.close()
        await store.close()

        with pytest.raises(StoreTrouble, match="closed"):
            await store.alive()

    async def test_reader_blocks_nobody(self, store: Store, path: Path) -> None:
        """Commits and the hourly move go on while another program holds a read transaction open."""
        await store.commit(batch(reading(T0)))
        await pragma(store, "busy_timeout = 20")
        with closing(sqlite3.connect(path, isolation_level=None)) as reader:
            reader.execute("BEGIN")
            seen = reader.execute("SELECT count(*) FROM log").fetchone()
            await store.commit(batch(reading(T0 + MINUTE)))
            await store.tidy(at(T0), 0)

            assert reader.execute("SELECT count(*) FROM log").fetchone() == seen
        assert len(await store.since(0)) == 2


class TestMemory:
    async def test_new_file_knows_nothing(self, store: Store) -> None:
        """A new file has no snapshot, no event, no reading and was never awake."""
        assert await store.snapshot() is None
        assert await store.alive() is None
        assert await store.last_event() == 0
        assert await store.newest() == []

    async def test_last_words(self, path: Path) -> None:
        """After closing and opening, snapshot, time awake, events, answers and settings are there."""
        store = await Store.open(path, LONDON)
        await store.commit(batch(snapshot="{1}", events=[event(7)], settings=("v1", "{}"), answers=[("k", "done")]))
        await store.commit(batch(wall=T0 + MINUTE))
        await store.close()
        store = await Store.open(path, LONDON)
        found = (await store.snapshot(), await store.alive(), await store.last_event(), await store.answer("k"))
        await store.close()

        assert found == (("{1}", at(T0)), at(T0 + MINUTE), 7, "done")
        assert rows(path, "SELECT version, text FROM settings") == [("v1", "{}")]

    async def test_awake_after_move(self, store: Store) -> None:
        """The move of the log does not forget when the watcher was last awake."""
        await store.commit(batch(wall=T0 + 5))
        await store.tidy(at(T0 + 6), 0)

        assert await store.alive() == at(T0 + 5)

    async def test_newest(self, store: Store) -> None:
        """The newest reading of each sensor and quantity is found in the log or in the table."""
        await store.commit(batch(reading(T0, sensor="cellar"), reading(T0, 40.0, quantity=Quantity.BATTERY)))
        await store.tidy(at(T0), 0)
        await store.commit(batch(reading(T0 + 1, -20.0), reading(T0 - 1, -20.0, sensor="cellar", heard=at(T0 + 1))))

        found = {(r.sensor, r.quantity, r.measured_to) for r in await store.newest()}
        assert found == {
            ("cellar", Quantity.TEMPERATURE, T0),
            ("shed-chest-air", Quantity.BATTERY, T0),
            ("shed-chest-air", Quantity.TEMPERATURE, T0 + 1),
        }

    async def test_answers_fade(self, store: Store) -> None:
        """The answer to an order is known for a week."""
        await store.commit(batch(answers=[("k", "done")]))
        await store.tidy(at(T0 + 7 * DAY), 0)
        known = await store.answer("k")
        await store.tidy(at(T0 + 7 * DAY + 1), 0)

        assert (known, await store.answer("k")) == ("done", None)

    async def test_calibrations(self, store: Store) -> None:
        """The latest offset of each sensor and quantity counts."""
        old = Calibration("cellar", Quantity.TEMPERATURE, 0.5, T0, "robin")
        new = replace(old, offset=-0.125, since=T0 + DAY)

        await store.commit(batch(calibrations=[new, old]))

        assert await store.calibrations() == [new]

    async def test_steady_of_rows(self, store: Store) -> None:
        """The steady time of a stored reading is right again after the clock was set."""
        stepped = Moment(T0 + DAY, T0 - at(T0).wall + at(T0).steady + MINUTE, "boot-a")
        await store.commit(Batch(alive=at(T0), readings=[reading(T0)]))
        await store.restamp("boot-a", 0, T0, DAY - MINUTE)
        await store.commit(Batch(alive=stepped))

        (found,) = await store.since(0)
        assert found.heard == Moment(T0 + DAY - MINUTE, at(T0).steady, "boot-a")
