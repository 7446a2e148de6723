"""The outbox as the pump sees it: in memory first, so that a full disk stops no message, and in the store behind it.

A delivery that the store could not take yet goes by a number below zero and is sent all the same; when the store
takes it later, what became of it in the meantime is written after it.
"""

import asyncio
import itertools
import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from gatewayd.message.retry import first_try
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.notify.pump import Outbox
from gatewayd.store.trouble import StoreTrouble

log = logging.getLogger(__name__)

OPEN = (Progress.WAITING, Progress.SENDING)

# A message that should have gone for so long is late: a server's answer takes some seconds, and whoever looks a moment
# after a tap is not to be frightened by that. Our choice.
LATE = 2 * MINUTE
WRITE_WITHIN = 2.0  # s; a disk that hangs must hold up no message. What was handed in is written when it goes on

Name = tuple[int, str, str, str]  # event, person, stage, route: what makes a delivery the same one


def name(delivery: Delivery) -> Name:
    """Return what makes a delivery the same one, whatever its number."""
    notice = delivery.notice
    return notice.event, notice.person, notice.stage.value, delivery.route


def deliveries_of(notice: Notice, join_within: int) -> list[Delivery]:
    """Return one delivery a route of a notice, each with when it is first tried; `join_within` in ms."""
    return [
        Delivery(0, notice, route, rank, next_try=first_try(notice.priority, rank, notice.made.wall, join_within))
        for rank, route in enumerate(notice.routes)
    ]


class Mailbag:
    """Hold every open delivery, the most urgent first."""

    def __init__(self, rows: Outbox) -> None:
        """Begin empty; `load` brings what a former run left."""
        self._rows = rows
        self._open: dict[Name, Delivery] = {}
        self._homeless: dict[Name, Delivery] = {}  # closed before the store had taken them
        self._owed: dict[Name, tuple[Delivery, Moment]] = {}  # what became of it could not be written yet
        self._numbers = itertools.count(-1, -1)
        self.failed: Callable[[], Mapping[str, int]] = dict  # routes whose last try failed, and when (wall ms)
        self.ailing = False  # the store cannot write: nothing is tried there, so that no message waits for it

    async def load(self) -> None:
        """Take up what the store holds, beside what it does not hold yet."""
        self.take(await self._rows.pending())

    def take(self, deliveries: Iterable[Delivery]) -> None:
        """Take up deliveries with the store's numbers. What is under way, or known better here, stays as it is."""
        kept = {k: d for k, d in self._open.items() if d.id < 0 or d.progress is Progress.SENDING or k in self._owed}
        closed = self._homeless.keys() | {key for key, (d, _) in self._owed.items() if d.progress not in OPEN}
        found = {name(delivery): delivery for delivery in deliveries}
        self._open = {key: d for key, d in found.items() if key not in closed} | kept

    async def rehouse(self, now: Moment, *, alone: bool) -> list[Delivery]:
        """Fit to a store whose file was replaced, and return the open deliveries it does not hold.

        `alone` says that this mailbag knew all that was open before: what waits in the new file beside that was
        settled meanwhile, and is not sent again.
        """
        found = {name(delivery): delivery for delivery in await self._rows.pending()}
        self._owed = {k: (replace(d, id=found[k].id), at) for k, (d, at) in self._owed.items() if k in found}
        if alone:
            for key in found.keys() - self._open.keys() - self._owed.keys():
                self._owed[key] = (replace(found[key], progress=Progress.NOT_NEEDED), now)
        for key, mine in self._open.items():
            theirs = found.get(key)
            self._open[key] = replace(mine, id=theirs.id if theirs else next(self._numbers))
        if not alone:
            self._open = {key: d for key, d in found.items() if key not in self._open} | self._open
        return [d for d in self._open.values() if d.id < 0] + list(self._homeless.values())

    def add(self, deliveries: Iterable[Delivery]) -> None:
        """Take deliveries the store could not take; those already here stay as they are."""
        for delivery in deliveries:
            key = name(delivery)
            if key not in self._open and key not in self._homeless:
                where = self._open if delivery.progress in OPEN else self._homeless
                where[key] = replace(delivery, id=next(self._numbers))

    async def stored(self, deliveries: Iterable[Delivery], now: Moment) -> None:
        """Take deliveries with the numbers the store gave, and write after what became of them before."""
        for delivery in deliveries:
            key = name(delivery)
            mine = self._homeless.pop(key, None) or self._open.get(key)
            if mine is None or mine.id > 0:
                if delivery.progress in OPEN:
                    self._open.setdefault(key, delivery)
                continue
            mine = replace(mine, id=delivery.id)
            if key in self._open:
                self._open[key] = mine
            if mine.progress is Progress.SENDING:  # under way already: a crash now must leave a doubt
                await self._begin(mine, now)
            elif mine.attempts or mine.progress is not Progress.WAITING:
                await self._write(mine, now)
        await self.catch_up()

    async def catch_up(self) -> None:
        """Write what became of messages while the store could not; what fails again stays owed."""
        owed, self._owed = self._owed, {}
        for delivery, then in owed.values():
            await self._write(delivery, then)

    def next_try(self) -> int | None:
        """Return the wall stamp (ms) of the first delivery that waits, None if none does."""
        return min((d.next_try for d in self._open.values()), default=None)

    def known(self, deliveries: Iterable[Delivery]) -> list[Delivery]:
        """Return deliveries as they stand: some were sent from memory meanwhile."""
        return [self._homeless.get(name(d)) or self._open.get(name(d)) or d for d in deliveries]

    def drop(self, firsts: Iterable[int]) -> None:
        """Void what waits for the alarms that these events raised; the store does the same with its rows."""
        gone = set(firsts)
        self._open = {key: d for key, d in self._open.items() if d.notice.event not in gone}

    @property
    def empty(self) -> bool:
        """Return whether nothing waits."""
        return not self._open

    def failing(self) -> dict[str, str]:
        """Return the routes whose last try failed and that have something waiting, and why."""
        waiting = [d for d in self._open.values() if d.error]
        return {delivery.route: delivery.error for delivery in waiting}

    def waiting(self) -> int:
        """Return how many deliveries have not arrived yet."""
        return len(self._open)

    def late(self, wall: int) -> int:
        """Return how many deliveries should have arrived by now (wall ms), or failed before."""
        return sum(1 for d in self._open.values() if d.error or wall - d.next_try > LATE)

    @property
    def under_way(self) -> bool:
        """Return whether something is being sent right now."""
        return any(delivery.progress is Progress.SENDING for delivery in self._open.values())

    # -- what the pump asks for ----------------------------------------------------------------------------

    async def pending(self) -> list[Delivery]:
        """Return what waits, the most urgent first, then the oldest."""
        return sorted(self._open.values(), key=lambda d: (-d.notice.priority, d.notice.event, d.rank))

    async def started(self, delivery: Delivery, now: Moment) -> None:
        """Write that a try begins. A store that cannot write does not hold a message up."""
        key = name(delivery)
        if key in self._open:
            self._open[key] = replace(self._open[key], progress=Progress.SENDING)
            delivery = self._open[key]  # its number may be newer than the pump's
        if delivery.id > 0:
            await self._begin(delivery, now)

    async def _begin(self, delivery: Delivery, now: Moment) -> None:
        if self.ailing:
            return
        try:
            async with asyncio.timeout(WRITE_WITHIN):
                await self._rows.started(delivery, now)
        except (StoreTrouble, TimeoutError) as trouble:
            log.warning("sending message %s although: %s", delivery.notice.event, trouble)

    async def finished(
        self,
        delivery: Delivery,
        outcome: Progress,
        now: Moment,
        next_try: int,
        error: str,
        maybe_sent: bool,  # noqa: FBT001 - the pump's contract
    ) -> None:
        """Write how a try ended; one that was sent closes its siblings."""
        key = name(delivery)
        before = self._open.get(key, delivery)
        after = replace(
            before,
            progress=outcome,
            attempts=before.attempts + 1,
            next_try=next_try,
            error=error,
            maybe_sent=before.maybe_sent or maybe_sent,
        )
        if outcome is Progress.WAITING:
            self._open[key] = after
        else:
            self._close(key, after, now)
        if after.id > 0:
            await self._write(after, now)
        if error:
            log.warning("message %s by %s: %s", delivery.notice.event, delivery.route, error)

    def _close(self, key: Name, after: Delivery, now: Moment) -> None:
        self._open.pop(key, None)
        if after.id < 0:
            self._homeless[key] = after
        siblings = [k for k in self._open if k[:3] == key[:3]]
        if after.progress is Progress.SENT:
            for sibling in siblings:
                gone = self._open.pop(sibling)
                if gone.id < 0:
                    self._homeless[sibling] = replace(gone, progress=Progress.NOT_NEEDED)
        elif after.progress is Progress.GIVEN_UP and siblings:
            first = min(siblings, key=lambda k: self._open[k].rank)
            self._open[first] = replace(self._open[first], next_try=min(self._open[first].next_try, now.wall))

    async def _write(self, delivery: Delivery, now: Moment) -> None:
        d = delivery
        if self.ailing:
            self._owed[name(d)] = (d, now)
            return
        try:
            async with asyncio.timeout(WRITE_WITHIN):
                await self._rows.finished(d, d.progress, now, d.next_try, d.error, d.maybe_sent)
        except (StoreTrouble, TimeoutError) as trouble:
            log.warning("what became of message %s will be written later: %s", d.notice.event, trouble)
            self._owed[name(d)] = (d, now)
