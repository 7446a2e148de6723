"""Build the parts, run them in one group, re-read the settings, stop in order."""

import asyncio
import contextlib
import logging
import random
import signal
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.chores import copy_nightly, tidy
from gatewayd.daemon.failing import Failing
from gatewayd.daemon.fits import Worker
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.healer import Healer
from gatewayd.daemon.household import Force, Household
from gatewayd.daemon.keepsake import Keepsake
from gatewayd.daemon.lifesign import LifeSign
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.daemon.movement import Movement
from gatewayd.daemon.recalling import recall
from gatewayd.daemon.reception import Reception
from gatewayd.daemon.routes import Passed
from gatewayd.daemon.space import Space
from gatewayd.daemon.supply import Supply
from gatewayd.daemon.unsaved import Unsaved
from gatewayd.daemon.wiring import Sources, openers
from gatewayd.door import Door, NotRunning, ask
from gatewayd.model.given import Condition, Remark, Rewired, Start
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.model.priority import Priority
from gatewayd.notify.pump import Pump
from gatewayd.notify.sender import Sender
from gatewayd.settings.faults import SettingsError
from gatewayd.settings.load import changes
from gatewayd.settings.redact import redacted
from gatewayd.settings.typed import Settings
from gatewayd.store.batch import Batch
from gatewayd.store.recollect import Recollection
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from gatewayd.watch.known import Pace
from gatewayd.watch.memory import restore
from gatewayd.watch.watch import Watch
from gatewayd.watchdog import Watchdog

log = logging.getLogger(__name__)

COPIES = "copies"  # beside the store
LOOK = 50  # ms between two looks whether a letter is still under way at the stop
# The service manager waits 10 s, people 5: two commits of a second each at a locked file, the sources' two seconds,
# and what is left for a letter; a hanging one is cut and says "sent again" at the next start.
STOP_WITHIN = 3500
COMMIT_WITHIN = 1250

Reader = Callable[[], Settings]


class WrongRoutes(Exception):
    """A route of the settings cannot be used; the text says which and why."""


def make_gateway(settings: Settings, store: Store, kept: Recollection, clock: Clock) -> Gateway:
    """Build the watch from what the store remembers, and the gateway around it."""
    now = clock.now()
    watch = Watch(settings.house, now)
    if kept.snapshot is not None:
        try:
            restore(watch, kept.snapshot, now)
        except ValueError as wrong:
            log.warning("what the watch knew could not be read (%s); it begins anew", wrong)
            watch = Watch(settings.house, now)
    watch.alarms.number = max(watch.alarms.number, kept.last_event)
    for found in kept.calibrations:
        if found.sensor in watch.posts:
            watch.posts[found.sensor].offsets[found.quantity] = found.offset
    watch.unlock(openers(settings), kept.counters)
    watch.pace = Pace()
    mailbag = Mailbag(store)
    mailbag.take(kept.pending)
    gateway = Gateway(watch, store, mailbag, clock, settings.storing.commit_every)
    gateway.version(settings.house.version, redacted(settings))
    return gateway


class Daemon:
    """Hold everything that runs between start and stop."""

    def __init__(
        self,
        settings: Settings,
        read: Reader,
        clock: Clock,
        watchdog: Watchdog,
        state_dir: Path,
        env: Mapping[str, str] | None = None,
    ) -> None:
        """Take the settings, how to read them again, the edges, and where `${NAME}` is looked up for a change."""
        self._settings = settings
        self._read = read
        self._clock = clock
        self._watchdog = watchdog
        self._state_dir = state_dir
        self._env = env or {}
        self._rewiring = asyncio.Lock()  # one at a time reads the settings anew, at a signal or for a page
        self._passed = Passed(state_dir)
        self._chores: list[asyncio.Task[None]] = []
        self._rng = random.Random()  # noqa: S311 - jitter of retries, no secret
        self.stop = asyncio.Event()

    async def run(self) -> None:
        """Watch until `stop` is set. Raise StoreTrouble or RuntimeError if it cannot even start."""
        settings, clock = self._settings, self._clock
        for folder in (self._state_dir, settings.storing.path.parent):
            try:
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            except OSError as error:  # a full or read-only disk: the watch begins all the same
                log.error("%s could not be made: %s", folder, error.strerror)  # noqa: TRY400 - a plain sentence
        mistakes, troubles = await self._passed.look(settings.routes.values(), clock)
        if mistakes:
            raise WrongRoutes("\n".join(f"route {route}: {problem}" for route, problem in mistakes))
        await alone(settings.socket)  # before the store is touched: it may be another daemon's
        store = Store(settings.storing.path, settings.house.zone)
        healer = Healer(store, settings.storing.path.parent / COPIES, clock, settings.house.zone)
        begun = await healer.begin()
        unsaved = Unsaved(settings.storing.path)
        left = await asyncio.to_thread(unsaved.take)
        try:
            kept = with_unsaved(begun.kept, left)
            gateway = make_gateway(settings, store, kept, clock)
            gateway.healer, gateway.unsaved = healer, unsaved
            gateway.take_up(left)
            sender = Sender(clock, settings.house.name, self._state_dir)
            gateway.fitting = self._worker = Worker(gateway.give)
            self._failing = Failing(sender, gateway, clock, self._passed)
            gateway.mailbag.failed = self._failing.failed
            answers = Answers(gateway, clock, self._after_restore)
            force = Force(lambda: self._settings, self._against, self._take_change, self._rewiring)
            wiring = Household(force, self._env, self._state_dir, self._failing, clock)
            self._reception = Reception(settings, gateway, clock, self._state_dir, answers, wiring=wiring)
            self._movement = Movement(gateway, clock)
            pump = Pump(
                gateway.mailbag,
                self._failing,
                settings.routes,
                clock,
                self._rng,
                zone=settings.house.zone,
                line=self._reception.line,
            )
            answers.add("pages", self._reception.door)
            answers.add("house", Keepsake(wiring, self._state_dir))
            self._duty, self._pantry = answers.duty, answers.pantry
            door = Door(settings.socket, answers)
            self._gateway, self._pump = gateway, pump
            gateway.give(Start(kept.alive, trusted=clock.synced()))
            if begun.trouble is not None:
                gateway.begin_without(begun.trouble)
            else:  # one may stand in the snapshot of a run that ended with it
                gateway.give(Condition("store", on=False))
            if begun.text:
                gateway.give(Remark(settings.house.id, "mended", begun.text, Priority.MEDIUM))
            self._failing.begin(troubles, self._passed.failing(settings.routes) | gateway.mailbag.failing())
            await self._together(gateway, pump, door)
        finally:
            await store.close()

    async def _together(self, gateway: Gateway, pump: Pump, door: Door) -> None:
        loop = asyncio.get_running_loop()
        reload = asyncio.Event()
        loop.add_signal_handler(signal.SIGTERM, self.stop.set)
        loop.add_signal_handler(signal.SIGINT, self.stop.set)
        loop.add_signal_handler(signal.SIGHUP, reload.set)
        try:
            async with asyncio.TaskGroup() as group:
                tried = asyncio.Event()
                tasks = [
                    group.create_task(gateway.run_ticks(), name="ticks"),
                    group.create_task(gateway.run_commits(), name="commits"),
                    group.create_task(pump.run(), name="pump"),
                    group.create_task(self._poke(gateway, pump), name="poke the pump"),
                    group.create_task(self._failing.run(), name="failing routes"),
                    group.create_task(self._reception.run(), name="reception"),
                    group.create_task(self._reloads(reload), name="reloads"),
                    group.create_task(self._open(door, tried), name="open the door"),
                    group.create_task(self._watchdog.beat(self._clock, gateway.moving), name="watchdog"),
                    group.create_task(self._worker.run(), name="fits"),
                    group.create_task(recall(gateway, self._clock), name="the stored past"),
                    group.create_task(self._pantry.run(), name="what the freezers hold"),
                    group.create_task(self._duty.run(), name="what is due"),
                ]
                self._start_chores(group)
                self._group = group
                self._sources = Sources(gateway, self._clock, self._rng, group)
                await self._sources.fit(self._settings)
                await tried.wait()  # who is told that we are ready may ask at once
                self._watchdog.say("READY=1")
                log.info("watching %s", self._settings.house.name)
                await self.stop.wait()
                self._watchdog.say("STOPPING=1")
                await self._end(gateway, door, tasks)
        finally:
            for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
                loop.remove_signal_handler(number)
            await door.close()

    async def _open(self, door: Door, tried: asyncio.Event) -> None:
        """Open the door; where the disk does not let it, watch behind a shut one and try again."""
        while True:
            try:
                await door.open()
            except OSError as error:
                log.warning("orders cannot be taken yet, %s cannot be made: %s", self._settings.socket, error.strerror)
                tried.set()
                await self._clock.sleep(MINUTE)
            else:
                tried.set()
                return

    async def _end(self, gateway: Gateway, door: Door, tasks: list[asyncio.Task[None]]) -> None:
        """Stop in order: no more orders; what was heard is stored and acknowledged; then the sources say goodbye.

        All of it has STOP_WITHIN; what a store in trouble does not take in its share was never acknowledged.
        """
        end = self._clock.now().steady + STOP_WITHIN
        await door.close()
        await self._last_commit(gateway)
        await self._sources.stop()
        gateway.watch.leaving = True
        gateway.remember()
        await self._last_commit(gateway)
        while gateway.mailbag.under_way and self._clock.now().steady < end:  # a letter cut short would be sent again
            await self._clock.sleep(LOOK)
        await gateway.note_down(orderly=True)
        for task in (*tasks, *self._chores):
            task.cancel()

    async def _last_commit(self, gateway: Gateway) -> None:
        try:
            async with asyncio.timeout(COMMIT_WITHIN / SECOND):
                await gateway.commit()
        except TimeoutError:
            log.warning("the store takes too long; what it has not taken yet stays unacknowledged")

    def _start_chores(self, group: asyncio.TaskGroup) -> None:
        settings, store, ail = self._settings, self._gateway.store, self._gateway.ail
        for chore in self._chores:
            chore.cancel()
        self._chores = [
            group.create_task(tidy(store, settings.storing, self._clock, ail), name="tidy"),
            group.create_task(
                copy_nightly(store, settings.storing, self._clock, settings.house.zone, ail), name="nightly copy"
            ),
            group.create_task(
                Space(self._gateway.give, self._clock, settings.storing.path.parent).run(), name="room on the disk"
            ),
            group.create_task(Supply(self._gateway.give, self._clock).run(), name="own supply"),
        ]
        if settings.sign_of_life is not None:
            sign = LifeSign(settings.sign_of_life, self._movement, self._clock)
            self._chores.append(group.create_task(sign.run(), name="sign of life"))

    async def _poke(self, gateway: Gateway, pump: Pump) -> None:
        while True:
            await gateway.told.wait()
            gateway.told.clear()
            pump.poke()

    # -- settings ------------------------------------------------------------------------------------------

    async def _reloads(self, reload: asyncio.Event) -> None:
        while True:
            await reload.wait()
            reload.clear()
            self._watchdog.say("RELOADING=1")
            await self._reload()
            self._watchdog.say("READY=1")

    async def _reload(self) -> None:
        """Read the settings again; wrong ones change nothing."""
        async with self._rewiring:
            try:
                settings = self._read()
            except SettingsError as wrong:
                self._refuse([str(fault) for fault in wrong.faults])
                return
            if faults := await self._against(settings):
                self._refuse(faults)
                return
            await self._take(settings)
            log.info("the settings were read again")

    async def _against(self, settings: Settings) -> list[str]:
        """Return what keeps other settings from taking the place of those in force, [] for nothing."""
        if settings.house.id != self._settings.house.id:
            return changes(self._settings, settings)
        if settings.routes == self._settings.routes:
            return []
        mistakes, troubles = await self._passed.look(settings.routes.values(), self._clock)
        if not mistakes:
            self._failing.inspected(troubles)
        return [f"route {route}: {problem}" for route, problem in mistakes]

    async def _take_change(self, settings: Settings, text: str) -> None:
        """Put settings in force that a page has changed, and note that in the log of the house."""
        await self._take(settings)
        self._gateway.give(Remark(settings.house.id, "settings", text))
        log.info("%s", text)

    async def _take(self, settings: Settings) -> None:
        """Put other settings in force, which nothing speaks against."""
        fixed = changes(self._settings, settings)
        for sentence in fixed:
            log.warning("%s", sentence)
        self._settings = settings
        self._gateway.commit_every = settings.storing.commit_every
        self._gateway.version(settings.house.version, redacted(settings))
        self._gateway.give(Rewired(settings.house))
        self._pump.take_routes(settings.routes)
        self._pump.zone = settings.house.zone
        self._failing.keep(settings.routes)
        self._reception.fit(settings)
        try:
            counters = await self._gateway.store.counters()
        except StoreTrouble:
            counters = {}  # a sensor that is new here begins its count; those that are known go on with theirs
        self._gateway.watch.unlock(openers(settings), counters)
        await self._sources.fit(settings)
        self._start_chores(self._group)

    def _refuse(self, faults: list[str]) -> None:
        for fault in faults:
            log.error("%s", fault)
        mistakes = "1 mistake" if len(faults) == 1 else f"{len(faults)} mistakes"
        text = f"New settings were not taken, the old ones stay: {mistakes}. {faults[0]}"
        self._gateway.give(Remark(self._settings.house.id, "settings", text))

    async def _after_restore(self) -> None:
        """Go on with the watch as it stands: it knows the house as it is now, the copy knew it as it was."""
        await self._gateway.refit(Batch(self._clock.now()), alone=False)
        await self._gateway.commit()


def with_unsaved(kept: Recollection, left: Sequence[Batch]) -> Recollection:
    """Return what the store remembers together with what it could not be told any more."""
    for batch in left:
        numbers = [kept.last_event, *(event.number for event in batch.events)]
        kept = replace(kept, snapshot=batch.snapshot or kept.snapshot, alive=batch.alive, last_event=max(numbers))
    return kept


async def alone(socket: Path) -> None:
    """Raise RuntimeError if another daemon answers at the door."""
    with contextlib.suppress(NotRunning, OSError):  # nobody there, or nobody whom we could disturb
        await asyncio.to_thread(lambda: next(ask(socket, {"ask": "hello"}, patience=5.0), None))
        raise RuntimeError(f"another gatewayd answers at {socket}; stop it first")


async def run(
    settings: Settings, read: Reader, clock: Clock, watchdog: Watchdog, state_dir: Path, env: Mapping[str, str]
) -> None:
    """Run the daemon until it is told to stop."""
    daemon = Daemon(settings, read, clock, watchdog, state_dir, env)
    with contextlib.suppress(asyncio.CancelledError):
        await daemon.run()
