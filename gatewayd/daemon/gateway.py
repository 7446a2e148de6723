"""The gateway: it hands each input to the watch and sees to what follows, in the order that loses nothing.

What follows from a step waits in the open batch until a commit: at once when there is an event, a notice or an answer,
else when it is due. Only after the commit do acknowledgements go to the brokers, answers to the people, and notices to
the pump. A commit that fails is tried again; people are told from memory meanwhile.
"""

import asyncio
import logging
from collections.abc import Mapping, Sequence
from typing import Protocol

from gatewayd.clock import Clock, StepFinder
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.message.retry import first_try
from gatewayd.model.delivery import Delivery
from gatewayd.model.effect import Answer, Effects, Restamp
from gatewayd.model.event import Notice
from gatewayd.model.given import ClockStep, Condition, Given, Order, Remark, SourceNews, Tick
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.store.batch import Batch
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from gatewayd.watch.memory import save
from gatewayd.watch.watch import Watch

log = logging.getLogger(__name__)

ALIVE_EVERY = 10 * MINUTE  # with nothing to store: how often to note that the watcher is awake
TICK = MINUTE  # the longest time without a look at the clock
REMEMBER = HOUR  # with nothing going on: how often what was learnt of the sensors is written down
RETRY = 5 * SECOND  # after a failed commit
# A store that cannot write for so long must not stop the brokers, which wait for acknowledgements: hearing an alarm
# matters more than the rows, and those wait in memory.
STORE_PATIENCE = 20 * SECOND


class Acknowledges(Protocol):
    """Take receipts back after the commit; sources do."""

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Answer for messages whose readings are safe."""
        ...


class Gateway:
    """Join one watch, one store and the sources."""

    def __init__(self, watch: Watch, store: Store, mailbag: Mailbag, clock: Clock, commit_every: int) -> None:
        """Take the parts; `commit_every` in ms."""
        self.watch = watch
        self.store = store
        self.mailbag = mailbag
        self.commit_every = commit_every
        self.sources: dict[str, Acknowledges] = {}
        self.committed: int | None = None  # wall ms of the last commit
        self.told = asyncio.Event()  # there is something for the pump
        self._clock = clock
        self._steps = StepFinder(clock.now())
        self._work: list[Batch | Restamp] = [Batch(clock.now())]
        self._receipts: dict[str, list[object]] = {}
        self._answers: list[tuple[asyncio.Future[Answer], Answer]] = []
        self._wanted = asyncio.Event()
        self._filled = asyncio.Event()
        self._lock = asyncio.Lock()
        self._trouble: tuple[int, str] | None = None  # since when (steady ms) the store cannot write, and why
        self._last_alive = clock.now().steady
        self._remember_at = 0

    # -- inputs --------------------------------------------------------------------------------------------

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Take the bytes of one sensor; the receipt goes back after the commit."""
        self._take(self.watch.step(heard, heard.at))
        if receipt is not None:
            self._receipts.setdefault(heard.source, []).append(receipt)
        if not self._filled.is_set():
            self._filled.set()

    def source_up(self, source: str, up: bool, reason: str) -> None:  # noqa: FBT001 - the contract of all sources
        """Take news of a source."""
        log.info("%s: %s", source, reason)
        self.give(SourceNews(source, up, reason))

    def remark(self, source: str, text: str) -> None:
        """Take something about a source that belongs into the log."""
        log.warning("%s: %s", source, text)
        self.give(Remark(source, "remark", text))

    def commit_soon(self) -> None:
        """Commit now: a source would run dry."""
        self._wanted.set()

    def last_commit(self) -> int | None:
        """Return when something was last committed (wall ms)."""
        return self.committed

    def give(self, given: Given) -> Effects:
        """Hand one input to the watch at this moment."""
        effects = self.watch.step(given, self._clock.now())
        self._take(effects)
        return effects

    async def order(self, order: Order) -> Answer:
        """Carry an order out and return its answer after the commit that holds it."""
        if order.key and (before := await self.store.answer(order.key)) is not None:
            return Answer(done=True, text=before, key=order.key)
        answer = self.give(order).answer or Answer(done=False, text="Nothing came of it.", key=order.key)
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._answers.append((future, answer))
        if order.key:
            self._batch.answers.append((order.key, answer.text))
        self._wanted.set()
        return await future

    def version(self, version: str, text: str) -> None:
        """Keep which settings are in force, without their secrets, with the next commit."""
        self._batch.settings = (version, text)

    def remember(self) -> None:
        """Write down with the next commit what the watch knows, whatever it is."""
        self._remember_at = 0

    @property
    def wanted(self) -> bool:
        """Return whether something waits that must be committed at once."""
        return self._wanted.is_set()

    def tick(self) -> int:
        """Look at the clock, let deadlines pass, and return in how many ms to do so again."""
        now = self._clock.now()
        moved = self._steps.look(now)
        if moved:
            self.give(ClockStep(moved, trusted=self.watch.trusted))
        self.give(Tick(trusted=self._clock.synced()))
        wake = self.watch.next_wake()
        return TICK if wake is None else max(0, min(TICK, wake - now.steady))

    @property
    def _batch(self) -> Batch:
        last = self._work[-1]
        if isinstance(last, Restamp):
            last = Batch(self._clock.now())
            self._work.append(last)
        return last

    def _take(self, effects: Effects) -> None:
        if effects.restamp is not None:  # what was stamped before the step must be stored before it is shifted
            self._work.append(effects.restamp)
        batch = self._batch
        batch.readings += effects.rows
        batch.counters.update(effects.counters)
        if not effects.urgent and not effects.dropped:
            return
        for event in effects.events:
            log.info("event %s: %s %s %s", event.number, event.subject, event.kind, event.what.value)
        batch.events += effects.events
        batch.dropped += effects.dropped
        batch.deliveries += [d for notice in effects.notices for d in _deliveries(notice)]
        self._wanted.set()

    # -- what follows --------------------------------------------------------------------------------------

    async def commit(self) -> bool:
        """Make durable what waits, then acknowledge, answer and tell. Return whether the store took it."""
        async with self._lock:
            self._wanted.clear()
            self._filled.clear()
            now = self._clock.now()
            batch = self._batch
            batch.alive, self._last_alive = now, now.steady
            if batch.events or batch.dropped or self.watch.unsettled() or now.steady >= self._remember_at:
                batch.snapshot, self._remember_at = save(self.watch, now), now.steady + REMEMBER
            self._work.append(Batch(now))  # what comes while this is written goes into the next one
            receipts, self._receipts = self._receipts, {}
            answers, self._answers = self._answers, []
            try:
                while len(self._work) > 1:
                    await self._store_first()
            except StoreTrouble as trouble:
                self._failed(trouble, receipts)
            else:
                self._succeeded(receipts)
            for future, answer in answers:
                if not future.done():
                    future.set_result(answer)
            if not self.mailbag.empty:
                self.told.set()
            return self._trouble is None

    async def _store_first(self) -> None:
        first = self._work[0]
        if isinstance(first, Restamp):
            await self.store.restamp(first.boot, first.first, first.last, first.delta)
            self._work.pop(0)
            await self.mailbag.load()
            return
        stored = await self.store.commit(first)
        self._work.remove(first)
        self.committed = first.alive.wall
        self.mailbag.drop(first.dropped)
        await self.mailbag.stored(stored, self._clock.now())

    def _succeeded(self, receipts: Mapping[str, list[object]]) -> None:
        for source, those in receipts.items():
            if source in self.sources:
                self.sources[source].acknowledge(those)
        if self._trouble is not None:
            self._trouble = None
            self.give(Condition("store", on=False))

    def _failed(self, trouble: StoreTrouble, receipts: dict[str, list[object]]) -> None:
        now = self._clock.now()
        if self._trouble is None or self._trouble[1] != str(trouble):
            log.error("%s", trouble)
            self.give(Condition("store", on=True, text=str(trouble)))
        since = self._trouble[0] if self._trouble else now.steady
        self._trouble = (since, str(trouble))
        self.mailbag.add(d for work in self._work if isinstance(work, Batch) for d in work.deliveries)
        if now.steady - since >= STORE_PATIENCE:
            for source, those in receipts.items():
                if source in self.sources:
                    self.sources[source].acknowledge(those)
            return
        for source, those in receipts.items():
            self._receipts[source] = those + self._receipts.get(source, [])

    # -- tasks ---------------------------------------------------------------------------------------------

    async def run_ticks(self) -> None:
        """Tick for ever."""
        while True:
            await self._clock.sleep(self.tick())

    async def run_commits(self) -> None:
        """Commit when it is wanted or due, for ever."""
        while True:
            await self._until_due()
            if not await self.commit():
                await self._clock.sleep(RETRY)

    async def _until_due(self) -> None:
        """Wait until a commit is wanted, or `commit_every` after the first thing that waits for one."""
        filled = asyncio.create_task(self._due(), name="commit is due")
        wanted = asyncio.create_task(self._wanted.wait(), name="commit is wanted")
        try:
            await asyncio.wait((filled, wanted), return_when=asyncio.FIRST_COMPLETED)
        finally:
            filled.cancel()
            wanted.cancel()

    async def _due(self) -> None:
        alive = asyncio.create_task(self._clock.sleep(ALIVE_EVERY), name="note that we are awake")
        filled = asyncio.create_task(self._filled.wait(), name="something to store")
        try:
            await asyncio.wait((alive, filled), return_when=asyncio.FIRST_COMPLETED)
            if self._filled.is_set():
                await self._clock.sleep(self.commit_every)
        finally:
            alive.cancel()
            filled.cancel()

    def moving(self) -> bool:
        """Return whether the parts move: the last commit is not older than it may be."""
        limit = max(ALIVE_EVERY, self.commit_every) + MINUTE
        return self._clock.now().steady - self._last_alive < limit


def _deliveries(notice: Notice) -> list[Delivery]:
    return [
        Delivery(0, notice, route, rank, next_try=first_try(notice.priority, rank, notice.made.wall))
        for rank, route in enumerate(notice.routes)
    ]
