"""Bring what waits in the outbox to people: wake when there is something to do, send, write down how it went."""

import asyncio
import hashlib
import logging
import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.message.join import Known, NoticeKey, Parcel, after, compose, key, overtaken, plan
from gatewayd.message.retry import after_failure
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice
from gatewayd.model.moment import SECOND, Moment, from_wall
from gatewayd.model.route import Route
from gatewayd.notify.letter import Letter, Outcome

log = logging.getLogger(__name__)

# A good mail takes 0.1 s, a chat 3 s, a wrong password 5.5 s, a line of 200 B/s 15 s (measured on a PC); the child
# itself starts in half a second there and in several on a small board. What takes longer is tried again.
DEADLINE = 45 * SECOND
OUTBOX_WAIT = 10 * SECOND  # the outbox could not be read or written (disk full, database locked): look again then
GONE = "This route is no longer in the settings."


class Outbox(Protocol):
    """Keep the deliveries; the daemon provides it over the store."""

    async def pending(self) -> list[Delivery]:
        """Return what is waiting or being sent, the most urgent first, then the oldest."""
        ...

    async def started(self, delivery: Delivery, now: Moment) -> None:
        """Write down, before anything leaves, that a try begins."""
        ...

    async def finished(
        self,
        delivery: Delivery,
        outcome: Progress,
        now: Moment,
        next_try: int,
        error: str,
        maybe_sent: bool,  # noqa: FBT001 - the store's own row order
    ) -> None:
        """Write down how a try ended. SENT marks the other routes of the notice NOT_NEEDED, in the same step."""
        ...


class Sends(Protocol):
    """Send one letter by one route; `Sender` does."""

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Return how it ended, within the deadline (ms) and a little."""
        ...


@dataclass(frozen=True, slots=True)
class _Verdict:
    """Hold what is to be written about one delivery."""

    delivery: Delivery
    progress: Progress
    now: Moment
    next_try: int
    error: str
    maybe_sent: bool


class Pump:
    """Send what is due: one letter per route and three in all at a time, the most urgent first.

    Wakes when poked, when a try ends and when the next one is due; with nothing waiting it does not wake at all.
    """

    def __init__(
        self,
        outbox: Outbox,
        sender: Sends,
        routes: Mapping[str, Route],
        clock: Clock,
        rng: random.Random,
        *,
        zone: tzinfo = UTC,
        line: Callable[[Notice], str] = lambda _notice: "",
    ) -> None:
        """Take the outbox, the way to send, the routes by id, the clock, and a seeded generator for the jitter.

        `zone` is the household's: a message that comes late says when it was written. `line` ends a notice's text: the
        link that answers it, which is signed when it is sent and not kept.
        """
        self.zone = zone
        self._line = line
        self._outbox = outbox
        self._sender = sender
        self._routes = dict(routes)
        self._clock = clock
        self._rng = rng
        self._wake = asyncio.Event()
        self._flying: list[Parcel] = []
        self._hurried: set[int] = set()
        self._doubtful: set[str] = set()
        self._unwritten: list[_Verdict] = []
        self._written = 0
        self._writing = asyncio.Lock()
        self._ailing = False  # the outbox failed last time: said once, not every ten seconds

    def poke(self) -> None:
        """Look at the outbox now: there is a new notice, or the wall clock was set."""
        self._wake.set()

    def take_routes(self, routes: Mapping[str, Route]) -> None:
        """Use new routes from now on, after the settings were read again; a route that fell away gives up its rows."""
        self._routes = dict(routes)
        self._doubtful &= set(routes)
        self.poke()

    async def run(self) -> None:
        """Send for ever. When cancelled, the children are killed; their rows are taken up at the next start."""
        async with asyncio.TaskGroup() as tries:
            while True:
                self._wake.clear()
                await self._rest(await self._turn(tries))

    async def _turn(self, tries: asyncio.TaskGroup) -> int | None:
        """Start what can start; return in how many ms to look again, None for not before something happens."""
        await self._write_down()
        pending = await self._read()
        if pending is None:
            return OUTBOX_WAIT
        now = self._clock.now()
        waiting = self._open(pending)
        lost = [d for d in waiting if d.route not in self._routes and d.id not in self._ids_flying()]
        if lost:
            for delivery in lost:
                self._unwritten.append(_Verdict(delivery, Progress.GIVEN_UP, now, 0, GONE, delivery.maybe_sent))
                self._hurry_next(delivery, waiting)
            return 0
        ended = overtaken(waiting, self._flying)
        if ended:
            self._unwritten += [_Verdict(d, Progress.NOT_NEEDED, now, 0, "", d.maybe_sent) for d in ended]
            return 0
        self._hurried &= {d.id for d in waiting}
        chosen = plan(waiting, now, Known(self._flying, self._hurried, self._doubtful))
        for parcel in chosen.parcels:
            self._flying.append(parcel)
            self._hurried -= {d.id for d in parcel.deliveries}
            doubted = {key(d) for d in pending if d.maybe_sent}
            tries.create_task(self._try(parcel, parcel.notices() & doubted))
        if self._unwritten:
            return OUTBOX_WAIT if chosen.wait is None else min(chosen.wait, OUTBOX_WAIT)
        return chosen.wait

    def _open(self, pending: Sequence[Delivery]) -> list[Delivery]:
        """Leave out what is settled but could not be written yet, and the other routes of what was told."""
        settled = {v.delivery.id for v in self._unwritten}
        told = {key(v.delivery) for v in self._unwritten if v.progress is Progress.SENT}
        return [d for d in pending if d.id not in settled and key(d) not in told]

    async def _rest(self, wait: int | None) -> None:
        """Wait for a poke or for `wait` ms."""
        if wait is None:
            await self._wake.wait()
            return
        timer = asyncio.ensure_future(self._clock.sleep(wait))
        poke = asyncio.create_task(self._wake.wait())
        try:
            await asyncio.wait({timer, poke}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            timer.cancel()
            poke.cancel()
            await asyncio.gather(timer, poke, return_exceptions=True)

    async def _try(self, parcel: Parcel, doubted: set[NoticeKey]) -> None:
        """Try one parcel and write down how it went; never raises but when cancelled."""
        try:
            for delivery in parcel.deliveries:
                await self._start(delivery)
            signed = [self._signed(delivery) for delivery in parcel.deliveries]
            title, body = compose(signed, self._clock.now(), self.zone, doubted)
            made = max(delivery.notice.made.wall for delivery in parcel.deliveries)
            letter = Letter(title, body, _message_id(parcel), from_wall(made))
            try:
                outcome = await self._sender.send(self._routes[parcel.route], letter, DEADLINE)
            except Exception as error:  # noqa: BLE001 - a mistake in sending must end one try, not all messages
                log.error("Sending by route %s failed in an unforeseen way.", parcel.route)  # noqa: TRY400 - no secrets
                outcome = Outcome(
                    ok=False, maybe_arrived=True, error=f"An unforeseen mistake ({type(error).__name__})."
                )
            await self._judge(parcel, outcome)
            await self._write_down()
        finally:
            self._flying.remove(parcel)
            self.poke()

    def _signed(self, delivery: Delivery) -> Delivery:
        line, notice = self._line(delivery.notice), delivery.notice
        return replace(delivery, notice=replace(notice, body=f"{notice.body}\n\n{line}")) if line else delivery

    async def _start(self, delivery: Delivery) -> None:
        """Write down that a try begins. When that cannot be written the message goes all the same."""
        try:
            await self._outbox.started(delivery, self._clock.now())
        except Exception as error:  # noqa: BLE001 - a full disk must not silence an alarm; at worst one is told twice
            self._complain("written", error)

    async def _judge(self, parcel: Parcel, outcome: Outcome) -> None:
        """Turn an outcome into what is written for each delivery, and remember what it says of the route."""
        now = self._clock.now()
        waiting = await self._read() or []  # unread, the next routes wait for their time
        if outcome.ok:
            if parcel.route in self._doubtful:
                log.info("Route %s works again.", parcel.route)
            self._doubtful.discard(parcel.route)
            # the route works again: what was waiting out its back-off need not
            self._hurried |= {d.id for d in waiting if d.route == parcel.route and d.attempts > 0}
        else:
            # said once per trouble: a dead line is tried a hundred times a day
            level = logging.DEBUG if parcel.route in self._doubtful else logging.WARNING
            log.log(level, "Route %s: %s", parcel.route, outcome.error)
            self._doubtful.add(parcel.route)
        for delivery in parcel.deliveries:
            verdict = self._verdict(delivery, outcome, now)
            self._unwritten.append(verdict)
            if outcome.hopeless or verdict.progress is Progress.GIVEN_UP:
                self._hurry_next(delivery, waiting)

    async def _read(self) -> list[Delivery] | None:
        """Return the outbox, or None when it cannot be read.

        Reads again when a verdict was written meanwhile: an older picture would show as waiting what has been sent.
        """
        while True:
            before = self._written
            try:
                pending = await self._outbox.pending()
            except Exception as error:  # noqa: BLE001 - whatever ails the store, the messages after it must still go out
                self._complain("read", error)
                return None
            if before == self._written:
                self._ailing = bool(self._unwritten)
                return pending

    def _verdict(self, delivery: Delivery, outcome: Outcome, now: Moment) -> _Verdict:
        """Say what becomes of one delivery."""
        if outcome.ok:
            return _Verdict(delivery, Progress.SENT, now, 0, "", False)
        maybe = delivery.maybe_sent or delivery.progress is Progress.SENDING or outcome.maybe_arrived
        again = after_failure(delivery, now, self._rng, outcome.server_wait)
        if again is None:
            log.error("Route %s: given up the message of event %d.", delivery.route, delivery.notice.event)
            error = f"Given up after {delivery.attempts + 1} tries. The last one: {outcome.error}"
            return _Verdict(delivery, Progress.GIVEN_UP, now, 0, error, maybe)
        return _Verdict(delivery, Progress.WAITING, now, again, outcome.error, maybe)

    def _hurry_next(self, delivery: Delivery, waiting: Iterable[Delivery]) -> None:
        """Let the next route of this notice try at once."""
        following = after(delivery, waiting)
        if following is not None and following.attempts == 0:
            self._hurried.add(following.id)

    async def _write_down(self) -> None:
        """Write the verdicts, oldest first; what cannot be written is kept, so that nothing sent is sent again."""
        async with self._writing:
            while self._unwritten:
                v = self._unwritten[0]
                try:
                    await self._outbox.finished(v.delivery, v.progress, v.now, v.next_try, v.error, v.maybe_sent)
                except Exception as error:  # noqa: BLE001 - kept and written later, whatever ails the store
                    self._complain("written", error)
                    return
                self._unwritten.remove(v)
                self._written += 1

    def _complain(self, what: str, error: Exception) -> None:
        """Say once that the outbox fails; it is tried again every ten seconds."""
        if not self._ailing:
            log.warning("The outbox cannot be %s just now (%s); messages go on.", what, type(error).__name__)
        self._ailing = True

    def _ids_flying(self) -> set[int]:
        return {d.id for parcel in self._flying for d in parcel.deliveries}


def _message_id(parcel: Parcel) -> str:
    """Name the letter: the same at every try of the same notices, so that a mail box can tell a repeat."""
    names: Sequence[str] = [f"{d.notice.event}-{d.notice.stage.value}-{d.notice.person}" for d in parcel.deliveries]
    stamp = parcel.deliveries[0].notice.made.wall
    if len(names) == 1:
        return f"{names[0]}-{stamp}"
    return f"joined-{hashlib.sha256('|'.join(names).encode()).hexdigest()[:16]}-{stamp}"
