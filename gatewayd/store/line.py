"""The line to the writer: one thread with one connection, and a queue before it."""

import sqlite3
from collections.abc import Callable
from typing import TypeVar

import aiosqlite

T = TypeVar("T")


class Line(aiosqlite.Connection):
    """Run whole pieces of work in the connection's own thread.

    A piece is one call there, so a transaction costs one change of threads where single statements would cost one each
    (80 us per transaction, measured), and a caller who is cancelled cannot leave half of one: it goes on to its end
    without him. An idle line waits on its queue and wakes nobody.
    """

    async def run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Return what `work` returns when given the connection. Raise ValueError if the line is closed."""
        done: T = await self._execute(work, self._conn)  # type: ignore[no-untyped-call]
        return done


async def connect(opener: Callable[[], sqlite3.Connection]) -> Line:
    """Open a line; `opener` is called in its thread. What it raises is raised here, when the thread has ended.

    The library's own way lets a thread whose opener failed report to an event loop that may be closed by then.
    """
    failed: list[Exception] = []

    def guarded() -> sqlite3.Connection:
        try:
            return opener()
        except Exception as error:  # noqa: BLE001  # carried to the caller below, whatever it is
            failed.append(error)
            return sqlite3.connect(":memory:")

    line = Line(guarded, iter_chunk_size=64)
    await line
    if failed:
        await line.close()
        raise failed[0]
    return line
