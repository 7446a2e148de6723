"""An outbox in memory, with the meaning of the real one."""

import asyncio
from collections.abc import Callable
from dataclasses import replace

from gatewayd.message.retry import first_try
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

OPEN = (Progress.WAITING, Progress.SENDING)


class MemoryOutbox:
    """Keep rows by id; `broken` makes every writing fail, `blind` every reading."""

    def __init__(self) -> None:
        """Begin empty."""
        self.rows: dict[int, Delivery] = {}
        self.steps: list[str] = []
        self.broken = self.blind = False
        self.reads = 0
        self.join_within = 0
        self._changed = asyncio.Event()

    def add(self, notice: Notice) -> list[int]:
        """Put a notice in: one row per route."""
        new = []
        for rank, route in enumerate(notice.routes):
            number = len(self.rows) + 1
            due = first_try(notice.priority, rank, notice.made.wall, self.join_within)
            self.rows[number] = Delivery(number, notice, route, rank, next_try=due)
            new.append(number)
        return new

    async def pending(self) -> list[Delivery]:
        """Return what is open, the most urgent first, then the oldest."""
        self.reads += 1
        if self.blind:
            raise OSError("disk I/O error")
        rows = [row for row in self.rows.values() if row.progress in OPEN]
        await asyncio.sleep(0)  # the picture is taken, then travels, as from a database thread
        return sorted(rows, key=lambda row: (-row.notice.priority, row.notice.made.wall, row.id))

    async def started(self, delivery: Delivery, now: Moment) -> None:
        """Mark a row."""
        if self.broken:
            raise OSError("disk full")
        self.steps.append(f"started {delivery.id}")
        self.rows[delivery.id] = replace(self.rows[delivery.id], progress=Progress.SENDING)

    async def finished(
        self,
        delivery: Delivery,
        outcome: Progress,
        now: Moment,
        next_try: int,
        error: str,
        maybe_sent: bool,
    ) -> None:
        """Write how it ended; one that is sent spares its siblings."""
        if self.broken:
            raise OSError("disk full")
        self.steps.append(f"{outcome.value} {delivery.id}")
        row = self.rows[delivery.id]
        self.rows[delivery.id] = replace(
            row, progress=outcome, attempts=row.attempts + 1, next_try=next_try, error=error, maybe_sent=maybe_sent
        )
        if outcome is Progress.SENT:
            for other in list(self.rows.values()):
                if other.notice == row.notice and other.progress in OPEN:
                    self.rows[other.id] = replace(other, progress=Progress.NOT_NEEDED)

        self._changed.set()

    async def until(self, true: Callable[[], bool]) -> None:
        """Wait for something to be written; the caller sets the deadline."""
        while not true():
            self._changed.clear()
            await self._changed.wait()

    def state(self) -> list[str]:
        """Return how far each row has come, by id."""
        return [self.rows[number].progress.value for number in sorted(self.rows)]


def notice(event: int, made: Moment, *routes: str, priority: Priority = Priority.HIGH, person: str = "ann") -> Notice:
    """Make a notice with a text of its own."""
    return Notice(event, person, Stage.NEW, priority, f"title {event}", f"body {event}", made, routes or ("mail",))
