"""The gateway: it hands each input to the watch and sees to what follows, in the order that loses nothing.

What follows from a step waits in the open batch until a commit: at once when there is an event, a notice or an answer,
else when it is due. Only after the commit do acknowledgements go to the brokers, answers to the people, and notices to
the pump. A commit that fails is tried again; people are told and answered from memory meanwhile, and so they are told
when a commit only takes long.
"""

import asyncio
import logging
from collections.abc import Sequence
from dataclasses import replace

from gatewayd.clock import Clock, StepFinder
from gatewayd.daemon.fits import Fitting
from gatewayd.daemon.healer import Heals
from gatewayd.daemon.mailbag import Mailbag, deliveries_of
from gatewayd.daemon.receipts import Receipts
from gatewayd.daemon.unsaved import Unsaved
from gatewayd.daemon.waiting import Waiting
from gatewayd.model.delivery import Delivery
from gatewayd.model.effect import Answer, Effects, Restamp
from gatewayd.model.given import Beat, ClockStep, Condition, Given, Order, Remark, SourceNews, Tick
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.priority import Priority
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
# While a delay runs: a crash costs it so much of its 45 minutes, and a snapshot of 8 kB a freezer is too much to write
# with every commit.
UNSETTLED = MINUTE
# After failed commits: a lock or a hiccup is over in seconds; a full disk is not worth a try more than once a minute.
RETRIES = (5 * SECOND, 5 * SECOND, 5 * SECOND, 10 * SECOND, 20 * SECOND, 30 * SECOND, MINUTE)
# A commit that takes longer must not hold a message up: a worn card can stand still for many seconds in one fsync.
TELL_AFTER = 2 * SECOND
IN_MEMORY = " It could not be written to the disk yet; until then it is only remembered."
# A store that cannot write for so long must not stop the brokers, which wait for acknowledgements: hearing an alarm
# matters more than the rows, and those wait in memory. From then on what is heard is acknowledged at once.
STORE_PATIENCE = 10 * SECOND
LOCK_PATIENCE = 20 * SECOND  # a lock that ends within so long is not worth a message


class Gateway:
    """Join one watch, one store and the sources."""

    def __init__(self, watch: Watch, store: Store, mailbag: Mailbag, clock: Clock, commit_every: int) -> None:
        """Take the parts; `commit_every` in ms."""
        self.watch = watch
        self.store = store
        self.mailbag = mailbag
        self.commit_every = commit_every
        self._receipts = Receipts()
        self.sources = self._receipts.sources
        self.committed: int | None = None  # wall ms of the last commit
        self.told = asyncio.Event()  # there is something for the pump
        self._clock = clock
        self._steps = StepFinder(clock.now())
        self.fitting: Fitting | None = None  # who computes what the watch wants computed
        self.recalling = asyncio.Event()  # the watch wants to know the stored past
        self.healer: Heals | None = None
        self.unsaved: Unsaved | None = None
        self._waiting = Waiting(clock.now())
        self._answers: list[tuple[asyncio.Future[Answer], Answer]] = []
        self._wanted = asyncio.Event()
        self._filled = asyncio.Event()
        self._lock = asyncio.Lock()
        self._trouble: tuple[int, StoreTrouble] | None = None  # since when (steady ms) the store cannot write, and why
        self._suspect: StoreTrouble | None = None  # the file itself must be seen to before anything is written
        self._settings: tuple[str, str] | None = None
        self._last_alive = clock.now().steady
        self._noted: int | None = None  # when what the watch knows was last written down (steady ms)

    # -- inputs --------------------------------------------------------------------------------------------

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Take the bytes of one sensor; the receipt goes back after the commit."""
        self._take(self.watch.step(heard, heard.at))
        if receipt is not None:
            self._receipts.take(heard.source, receipt)
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

    def beat(self, neighbour: str, up: bool) -> None:  # noqa: FBT001 - the contract of all sources
        """Take a sign of life of another household's gateway, or its broker's word that it is gone."""
        self.give(Beat(neighbour, up))

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
        if order.key and (before := await self._answered(order.key)) is not None:
            return Answer(done=True, text=before, key=order.key)
        answer = self.give(order).answer or Answer(done=False, text="Nothing came of it.", key=order.key)
        if order.key:
            self._batch.answers.append((order.key, answer.text))
        self._wanted.set()
        if self.mailbag.ailing:
            return replace(answer, text=answer.text + IN_MEMORY)
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._answers.append((future, answer))
        return await future

    async def _answered(self, key: str) -> str | None:
        """Return the answer that an order with this key has had; what cannot be read now was not answered lately."""
        waiting = self._waiting.answer(key)
        if waiting is not None or self.mailbag.ailing:
            return waiting
        try:
            return await self.store.answer(key)
        except StoreTrouble as trouble:
            log.warning("%s", trouble)
            return None

    def version(self, version: str, text: str) -> None:
        """Keep which settings are in force, without their secrets, with the next commit."""
        self._settings = self._batch.settings = (version, text)

    def ail(self, trouble: StoreTrouble) -> None:
        """Take a trouble that another user of the store met; a damaged or vanished file is seen to at once."""
        if trouble.damaged or trouble.gone:
            self._suspect = trouble
            self._wanted.set()

    def begin_without(self, trouble: StoreTrouble) -> None:
        """Begin with a store that cannot be written, or not even read: all is done from memory until it can."""
        self._failed(trouble)

    def remember(self) -> None:
        """Write down with the next commit what the watch knows, whatever it is."""
        self._noted = None

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
        return self._waiting.open(self._clock.now())

    def _take(self, effects: Effects) -> None:
        if effects.restamp is not None:  # what was stamped before the step must be stored before it is shifted
            self._waiting.shift(effects.restamp)
        batch = self._batch
        if effects.rows:
            batch.readings += effects.rows
        if effects.counters:
            batch.counters.update(effects.counters)
        if effects.recall:
            self.recalling.set()
        if effects.urgent or effects.dropped:
            self._take_urgent(effects, batch)
        if effects.fits and self.fitting is not None:
            self.fitting.want(effects.fits)

    def _take_urgent(self, effects: Effects, batch: Batch) -> None:
        for event in effects.events:
            log.info("event %s: %s %s %s", event.number, event.subject, event.kind, event.what.value)
        batch.events += effects.events
        batch.dropped += effects.dropped
        batch.decisions += effects.decisions
        batch.chores += effects.chores
        joined = self.watch.house.telling.join_within
        deliveries = [d for notice in effects.notices for d in deliveries_of(notice, joined)]
        batch.deliveries += deliveries
        self._wanted.set()
        if self.mailbag.ailing:
            self.mailbag.drop(effects.dropped)
            self._tell(deliveries)

    def _tell(self, deliveries: Sequence[Delivery]) -> None:
        """Let the pump have deliveries from memory."""
        self.mailbag.add(deliveries)
        if not self.mailbag.empty:
            self.told.set()

    # -- what follows --------------------------------------------------------------------------------------

    async def commit(self) -> bool:
        """Make durable what waits, then acknowledge, answer and tell. Return whether the store took it."""
        async with self._lock:
            self._wanted.clear()
            self._filled.clear()
            now = self._clock.now()
            batch = self._batch
            batch.alive, self._last_alive = now, now.steady
            wait = UNSETTLED if self.watch.unsettled() else REMEMBER
            if batch.events or batch.dropped or self._noted is None or now.steady - self._noted >= wait:
                batch.snapshot, self._noted = save(self.watch, now), now.steady
            self._waiting.close(now)  # what comes while this is written goes into the next one
            self._receipts.hand_in()
            answers, self._answers = self._answers, []
            patience = asyncio.create_task(self._patience(), name="patience with the store")
            try:
                await self._store_all()
            except StoreTrouble as trouble:
                self._failed(trouble)
                await self.note_down()
                answers = [(future, replace(answer, text=answer.text + IN_MEMORY)) for future, answer in answers]
            else:
                self._succeeded()
                if self.unsaved is not None:
                    await asyncio.to_thread(self.unsaved.clear)
            finally:
                patience.cancel()
            for future, answer in answers:
                if not future.done():
                    future.set_result(answer)
            if not self.mailbag.empty:
                self.told.set()
            return self._trouble is None

    async def note_down(self, *, orderly: bool = False) -> None:
        """Write beside the store what it has not taken; `orderly` says that these are the last words."""
        if self.unsaved is None or self._waiting.empty():
            return
        batches = [replace(b, deliveries=self.mailbag.known(b.deliveries)) for b in self._waiting.batches()]
        await asyncio.to_thread(self.unsaved.keep, batches, orderly=orderly)

    def take_up(self, batches: Sequence[Batch]) -> None:
        """Take what a former run could not store; it goes into the store first."""
        for batch in reversed(batches):
            self._waiting.put_first(batch)
        self._tell(self._waiting.deliveries())

    async def _patience(self) -> None:
        """While a commit takes long, tell from memory, and then let the brokers go on."""
        await self._clock.sleep(TELL_AFTER)
        self.mailbag.ailing = True
        self._tell(self._waiting.deliveries())
        await self._clock.sleep(STORE_PATIENCE - TELL_AFTER)
        log.warning("the store has been writing for %s s; what is heard waits in memory", STORE_PATIENCE // SECOND)
        self._receipts.lose_patience()

    async def _store_all(self) -> None:
        """Store what waits; a store that ails is seen to first, and once more if it turns out so."""
        ails = self._suspect or (self._trouble[1] if self._trouble else None)
        if ails is not None:
            await self._heal(ails)
        try:
            await self._store_each()
        except StoreTrouble as trouble:
            if self.healer is None or not (trouble.damaged or trouble.gone):
                raise
            self._suspect = trouble
            await self._heal(trouble)
            await self._store_each()

    async def _store_each(self) -> None:
        while (first := self._waiting.first) is not None:
            if isinstance(first, Restamp):
                await self.store.restamp(first.boot, first.first, first.last, first.delta)
                self._waiting.done(first)
                await self.mailbag.catch_up()
                await self.mailbag.load()
                continue
            stored = await self.store.commit(first)
            self._waiting.done(first)
            self.mailbag.ailing = False
            self.committed = first.alive.wall
            self.mailbag.drop(first.dropped)
            await self.mailbag.stored(stored, self._clock.now())

    async def _heal(self, trouble: StoreTrouble) -> None:
        """See to the store; after its file was replaced, write into it what it cannot know."""
        if self.healer is None:
            return
        healed = await self.healer.heal(trouble, self.watch.alarms.number)
        self._suspect = None
        now = self._clock.now()
        if healed.replaced:
            self.mailbag.ailing = False
            counters = {who: post.counter for who, post in self.watch.posts.items() if post.opener and post.counter}
            await self.refit(Batch(now, counters=counters), alone=True)
        elif healed.opened:
            await self.mailbag.load()
        if healed.text:
            self.give(Remark(self.watch.house.id, "mended", healed.text, Priority.MEDIUM))

    async def refit(self, batch: Batch, *, alone: bool) -> None:
        """Write first into a file that has taken the store's place what the watch knows as it stands."""
        now = self._clock.now()
        batch.deliveries += await self.mailbag.rehouse(now, alone=alone)
        batch.snapshot, batch.settings = save(self.watch, now), self._settings
        self._waiting.put_first(batch)

    def _succeeded(self) -> None:
        self._receipts.stored()
        if self._trouble is not None:
            self._trouble = None
            gone, self._waiting.thinned = self._waiting.thinned, 0
            text = "Nothing is missing."
            if gone:
                text = f"Not all readings had room in memory: {gone} older ones are missing, of each two the colder."
            log.info("the store can be written again: %s", text)
            self.give(Condition("store", on=False, text=text))

    def _failed(self, trouble: StoreTrouble) -> None:
        now = self._clock.now()
        if self._trouble is None or str(self._trouble[1]) != str(trouble):
            log.error("%s", trouble)
        since = self._trouble[0] if self._trouble else now.steady
        self._trouble = (since, trouble)
        if trouble.damaged or trouble.gone:
            self._suspect = trouble
        self.mailbag.ailing = True
        lasted = now.steady - since
        if not trouble.busy or lasted >= LOCK_PATIENCE:
            self.give(Condition("store", on=True, text=str(trouble)))
        self._waiting.pack(now)
        self._tell(self._waiting.deliveries())
        self._receipts.not_stored()
        if lasted >= STORE_PATIENCE:
            self._receipts.lose_patience()

    # -- tasks ---------------------------------------------------------------------------------------------

    async def run_ticks(self) -> None:
        """Tick for ever."""
        while True:
            await self._clock.sleep(self.tick())

    async def run_commits(self) -> None:
        """Commit when it is wanted or due, for ever."""
        tries = 0
        while True:
            if self._trouble is None:
                await self._until_due()
            if await self.commit():
                tries = 0
            else:
                await self._clock.sleep(RETRIES[min(tries, len(RETRIES) - 1)])
                tries += 1

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
