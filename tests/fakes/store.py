"""A store that keeps everything in memory and fails when told: the fake of gatewayd/store/store.py."""

from dataclasses import replace

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.moment import Moment
from gatewayd.store.batch import Batch
from gatewayd.store.trouble import StoreTrouble


class FakeStore:
    """Remember the order of what was asked; `trouble` is raised while it is set."""

    def __init__(self) -> None:
        """Begin empty and willing."""
        self.trouble: StoreTrouble | None = None
        self.asked: list[str] = []
        self.batches: list[Batch] = []
        self.rows: dict[int, Delivery] = {}
        self.answers: dict[str, str] = {}

    def _may(self, what: str) -> None:
        self.asked.append(what)
        if self.trouble is not None:
            raise self.trouble

    async def commit(self, batch: Batch) -> list[Delivery]:
        """Keep a batch."""
        self._may("commit")
        self.batches.append(replace(batch))
        self.answers.update(dict(batch.answers))
        stored = []
        for delivery in batch.deliveries:
            kept = replace(delivery, id=len(self.rows) + 1)
            self.rows[kept.id] = kept
            stored.append(kept)
        return stored

    async def restamp(self, boot: str, first: int, last: int, delta: int) -> int:
        """Remember that it was asked."""
        self._may("restamp")
        return 0

    async def answer(self, key: str) -> str | None:
        """Return a kept answer."""
        return self.answers.get(key)

    async def pending(self) -> list[Delivery]:
        """Return what waits."""
        return [d for d in self.rows.values() if d.progress in (Progress.WAITING, Progress.SENDING)]

    async def started(self, delivery: Delivery, now: Moment) -> None:
        """Mark a delivery as under way."""
        self._may("started")
        self.rows[delivery.id] = replace(self.rows[delivery.id], progress=Progress.SENDING)

    async def finished(
        self, delivery: Delivery, outcome: Progress, now: Moment, next_try: int, error: str, maybe_sent: bool
    ) -> None:
        """Mark how a try ended."""
        self._may(f"finished {outcome.value}")
        self.rows[delivery.id] = replace(self.rows[delivery.id], progress=outcome, maybe_sent=maybe_sent)
