"""The store: what the daemon asks of the one file, and the only one that writes it.

Everything here is handed to the writer's thread in whole transactions. What fails raises StoreTrouble with a sentence
for the keeper, and then nothing of it was done; it may be tried again.
"""

import asyncio
import sqlite3
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import tzinfo
from functools import partial
from pathlib import Path
from typing import TypeVar

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Reading
from gatewayd.store import copy, mend, once, outbox, read, recollect, restamp, state, tidy, wal
from gatewayd.store.batch import Batch, Calibration
from gatewayd.store.book import Book
from gatewayd.store.duplicate import Told
from gatewayd.store.file import open_writer
from gatewayd.store.line import Line, connect
from gatewayd.store.mend import Mended
from gatewayd.store.recollect import Recollection
from gatewayd.store.transaction import transaction
from gatewayd.store.trouble import StoreTrouble, explain
from gatewayd.store.write import write

# Rows in the log before it is moved ahead of its hour: more than 100 sensors make in an hour at one row a minute, and
# few enough that what the writer keeps in mind of them stays under 4 MB.
LOG_MOST = 10_000

T = TypeVar("T")


class Store:
    """The one file. `open` makes it; `close` waits for what was handed in."""

    def __init__(self, path: Path, zone: tzinfo) -> None:
        """Take the file's place; nothing is opened. Until `reopen` succeeds everything raises StoreTrouble."""
        self.path = path
        self.zone = zone
        self.dropped = 0  # commits in the log beside the file that were damaged when it was opened; the log is kept
        self._line: Line | None = None
        self._why: StoreTrouble | None = None
        self._file = (0, 0)
        self._book: Book | None = None
        self._restoring: asyncio.Task[Path | None] | None = None
        self._gate = asyncio.Lock()  # one piece of work at a time, and none while a copy is put in place

    @classmethod
    async def open(cls, path: Path, zone: tzinfo) -> "Store":
        """Open or create the file, bring it to the present schema, and put deliveries a crash caught back in line.

        `zone` is the site's; days in the roll-ups are its local days. Raise StoreTrouble with a sentence.
        """
        store = cls(path, zone)
        await store.reopen()
        return store

    @property
    def is_open(self) -> bool:
        """Return whether there is a connection to the file."""
        return self._line is not None

    async def reopen(self) -> None:
        """Open the file, anew if it was open. Raise StoreTrouble with a sentence, and stay shut, if that fails."""
        async with self._gate:
            await self._shut()
            await self._open()

    async def _open(self) -> None:
        try:
            self._line = await connect(self._prepare)
            self._file = _which(self.path)
        except StoreTrouble as trouble:
            self._why = trouble
            raise
        except OSError as error:
            self._why = explain(error, self.path)
            raise self._why from error

    async def _shut(self) -> None:
        line, self._line, self._book = self._line, None, None
        if line is not None:
            await line.close()

    async def close(self) -> None:
        """Finish what was handed in and close; harmless when done twice."""
        async with self._gate:
            await self._shut()
            self._why = None

    async def _run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        async with self._gate:
            if self._line is None:
                raise self._why or StoreTrouble(f"The store {self.path} is closed.")
            try:
                return await self._line.run(work)
            except sqlite3.Error as error:
                raise explain(error, self.path) from error

    async def _write(self, work: Callable[[sqlite3.Connection, Book], T]) -> T:
        return await self._run(partial(self._in_transaction, work))

    def _in_transaction(self, work: Callable[[sqlite3.Connection, Book], T], conn: sqlite3.Connection) -> T:
        """Run in the writer's thread; after a failure the book may know more than the file, so it is thrown away."""
        self._still_there()
        try:
            with transaction(conn):
                book = self._book or Book(conn)
                done = work(conn, book)
        except BaseException:
            self._book = None
            raise
        self._book = book
        return done

    def _still_there(self) -> None:
        """Refuse to write into a file that has lost its name: it would vanish when closed."""
        if not self.in_place():
            text = f"The store {self.path} was moved or deleted while in use. Put it back, or restore a copy."
            raise StoreTrouble(text, gone=True)

    def in_place(self) -> bool:
        """Return whether the file that was opened still has its name."""
        try:
            return _which(self.path) == self._file
        except OSError:
            return False

    # -- the watch -----------------------------------------------------------------------------------------

    async def commit(self, batch: Batch) -> list[Delivery]:
        """Make the batch durable in one transaction and return its deliveries with their ids.

        Returns after the fsync. On StoreTrouble nothing of it was stored, and it may be handed in again. A caller who
        is cancelled does not stop it; handing in the same batch again then returns what was stored.
        """
        sealed = replace(
            batch,
            readings=list(batch.readings),
            events=list(batch.events),
            deliveries=list(batch.deliveries),
            answers=list(batch.answers),
            calibrations=list(batch.calibrations),
            dropped=list(batch.dropped),
            counters=dict(batch.counters),
            decisions=list(batch.decisions),
            chores=list(batch.chores),
        )
        return await self._run(partial(self._commit, batch, sealed))

    def _commit(self, batch: Batch, sealed: Batch, conn: sqlite3.Connection) -> list[Delivery]:
        if batch.stored is None:
            batch.stored = self._in_transaction(lambda c, book: write(c, book, sealed), conn)
            if self._book is not None and self._book.logged > LOG_MOST:
                self._move_early(conn)
        return batch.stored

    def _move_early(self, conn: sqlite3.Connection) -> None:
        try:
            self._in_transaction(lambda c, book: tidy.move(c, book, self.zone), conn)
        except sqlite3.Error:
            return  # the batch is safe; the hourly move tries again and tells the trouble

    async def snapshot(self) -> tuple[str, Moment] | None:
        """Return the watch's last snapshot and when it was taken."""
        return await self._run(recollect.snapshot)

    async def alive(self) -> Moment | None:
        """Return the last moment at which the watcher is known to have been awake."""
        return await self._run(state.alive)

    async def last_event(self) -> int:
        """Return the highest event number ever given, 0 if none; a new one must be above it."""
        return await self._run(state.last_event)

    async def newest(self) -> list[Reading]:
        """Return the newest reading of each sensor and quantity."""
        return await self._run(read.newest)

    async def since(self, wall: int) -> list[Reading]:
        """Return the readings measured since `wall` (ms), in order; those without a stamp of their own stay out."""
        return await self._run(lambda conn: list(read.readings(conn, wall, late=False)))

    async def answer(self, key: str) -> str | None:
        """Return the answer an order with this key has had, None if it is new; forgotten after a week."""
        return await self._run(lambda conn: once.answer(conn, key))

    async def counters(self) -> dict[str, int]:
        """Return the last counter of each encrypted sensor."""
        return await self._run(recollect.counters)

    async def calibrations(self) -> list[Calibration]:
        """Return the latest calibration of each sensor and quantity."""
        return await self._run(recollect.calibrations)

    async def recollect(self) -> Recollection:
        """Return what a start wants to know, read in one go."""
        return await self._run(recollect.recollect)

    async def restamp(self, boot: str, from_wall: int, to_wall: int, delta: int) -> int:
        """Shift by `delta` ms what `boot` stamped from `from_wall` to `to_wall` (both included), after a clock step.

        Commit first what was stamped before the step, then restamp, then commit what came after it. Return how many
        readings were shifted.
        """
        return await self._write(
            lambda conn, book: restamp.restamp(conn, book, self.zone, boot, from_wall, to_wall, delta)
        )

    # -- what people keep straight here: the food, frost, chores --------------------------------------------

    async def ask(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Read with `work` on the writer's own connection; it sees what was just written."""
        return await self._run(work)

    async def carry_out(
        self, work: Callable[[sqlite3.Connection], str], now: Moment, key: str = ""
    ) -> tuple[str, bool]:
        """Do `work` in one transaction and keep the answer it returns under `key`; return after the fsync.

        Return (answer, whether it was done now): an order whose key has had an answer is not carried out again. Raise
        StoreTrouble, or what `work` raises, and then nothing of it was done.
        """
        return await self._write(lambda conn, book: once.once(conn, book, work, now, key))

    # -- the outbox (fits the Outbox of notify/pump.py) ----------------------------------------------------

    async def pending(self) -> list[Delivery]:
        """Return what is waiting or being sent: the most urgent first, then the oldest, then by rank."""
        return await self._run(outbox.pending)

    async def started(self, delivery: Delivery, now: Moment) -> None:
        """Record that a delivery is about to be sent; to be awaited before anything leaves the house."""
        await self._write(lambda conn, book: outbox.started(conn, book, delivery.id, now))

    async def finished(
        self,
        delivery: Delivery,
        outcome: Progress,
        now: Moment,
        next_try: int,
        error: str,
        maybe_sent: bool,  # noqa: FBT001  # the order of the pump's Outbox
    ) -> None:
        """Record how a try ended, and in the same transaction what that means for the other routes of its notice."""
        await self._write(
            lambda conn, book: outbox.finished(
                conn, book, delivery.id, outcome, now, next_try, error, maybe_sent=maybe_sent
            )
        )

    # -- upkeep --------------------------------------------------------------------------------------------

    async def tidy(self, now: Moment, keep_raw: int) -> int:
        """Do the hourly work: move the log, redo the roll-ups, let raw rows older than `keep_raw` ms go (0 keeps all).

        Return how many raw rows were deleted: a week of the oldest at most, whole local days only.
        """
        await self._write(lambda conn, book: tidy.move(conn, book, self.zone))
        return await self._write(lambda conn, _: tidy.retain(conn, now, keep_raw, self.zone))

    async def copy(self, folder: Path, now: Moment, keep: int) -> Path:
        """Make the nightly copy in `folder` (all but raw readings), keep the newest `keep`, return its path."""
        await self._write(lambda conn, book: tidy.move(conn, book, self.zone))
        return await self._aside(partial(copy.nightly, self.path, folder, now, self.zone, keep))

    async def backup(self, path: Path, progress: Told | None = None) -> None:
        """Copy the whole file to `path`, which must not exist; commits go on meanwhile.

        `progress` hears (pages done, pages in all) in the event loop. A caller who is cancelled leaves nothing behind.
        """
        loop, stop = asyncio.get_running_loop(), threading.Event()

        def told(done: int, total: int) -> None:
            if progress is not None:
                loop.call_soon_threadsafe(progress, done, total)

        try:
            await self._aside(partial(copy.backup, self.path, path, told, stop.is_set))
        finally:
            stop.set()

    async def restore(self, path: Path, stamp: str, floor: int = 0) -> Path | None:
        """Put the copy at `path` in the place of the file and go on with it; return where the old file was kept.

        The copy is verified first; when it is refused, or anything fails, the old file stays in use. `stamp` names the
        old file; `floor` is the highest event number the caller knows of. What this store is asked meanwhile waits.
        Afterwards the watch must be restored from `snapshot` again.
        """
        self._restoring = asyncio.create_task(self._restore(path, stamp, floor), name="restore the store")
        return await asyncio.shield(self._restoring)  # a caller who is cancelled must not leave it half done

    async def _restore(self, path: Path, stamp: str, floor: int) -> Path | None:
        await self._aside(partial(copy.verify, path))
        async with self._gate:
            await self._shut()
            try:
                return await self._aside(partial(copy.put_back, self.path, path, stamp, floor))
            finally:
                await self._open()

    # -- what ails it --------------------------------------------------------------------------------------

    async def examine(self) -> None:
        """Read every page, in a spare thread; raise StoreTrouble if one is damaged."""
        await self._aside(partial(mend.examine, self.path))

    async def mend(self, copies: Sequence[Path], stamp: str, floor: int) -> Mended:
        """Set a damaged file aside and go on with the newest good copy and what can still be read of the file.

        Raise StoreTrouble if that cannot be done; it may be tried again.
        """
        async with self._gate:
            await self._shut()
            try:
                done = await self._aside(partial(mend.mend, self.path, copies, stamp, floor))
            except StoreTrouble as trouble:
                self._why = trouble
                raise
            await self._open()
            return done

    async def rescue(self, stamp: str) -> Path | None:
        """Write the file anew after it lost its name, from what is still open; return where a stranger's file is kept.

        Raise StoreTrouble if nothing is open, or while the disk itself is not there.
        """
        async with self._gate:
            line = self._line
            if line is None:
                raise StoreTrouble(f"The store {self.path} is closed.", gone=True)
            if not _same_disk(self.path, self._file[0]):
                text = f"The disk that holds {self.path} is not there. Put it back and it goes on by itself."
                raise StoreTrouble(text, gone=True, passes=True)
            aside = await line.run(partial(mend.rescue, store=self.path, stamp=stamp))
            await self._shut()
            await self._open()
            return aside

    async def _aside(self, work: Callable[[], T]) -> T:
        """Do long work on connections of its own in a spare thread, so that commits need not wait for it."""
        try:
            return await asyncio.to_thread(work)
        except (sqlite3.Error, OSError) as error:
            raise explain(error, self.path) from error

    def _prepare(self) -> sqlite3.Connection:
        try:
            self.dropped += wal.keep_damaged(self.path)
        except (sqlite3.Error, OSError) as error:
            raise explain(error, self.path) from error
        conn = open_writer(self.path)
        try:
            with transaction(conn):
                outbox.recover(conn)
                state.settle_zone(conn, self.zone)
        except sqlite3.Error as error:
            conn.close()
            raise explain(error, self.path) from error
        return conn


def _which(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino


def _same_disk(path: Path, device: int) -> bool:
    """Return whether the folder of `path`, or what is left of the way to it, lies on the disk `device`."""
    folder = next(folder for folder in path.absolute().parents if folder.exists())
    return folder.stat().st_dev == device
