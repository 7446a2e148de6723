"""Give a sign of life to somebody outside, as long as the watch really moves; its absence tells of all else.

A watcher that has stopped cannot say so. So the sign is sent only when a sensor was heard, the store took what came,
and messages get out; what it says to whoever waits for it is exactly that.
"""

import logging
from dataclasses import dataclass
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.daemon.outward import Outward, Reply, RequestFailed
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.settings.typed import SignOfLife

log = logging.getLogger(__name__)

HEARD_LEAST = 15 * MINUTE  # three reports of a recorder that reports every 5 min, as those of frozen food do
HEARD_INTERVALS = 3  # as for a gap: a third missing report is no longer chance
OVERDUE = 10 * MINUTE  # a message goes out in a minute; after ten, six tries have failed
DEADLINE = 20 * SECOND  # for all of it; a server that needs longer is not one to lean on
LOOK_AGAIN = MINUTE  # while something stands still: how soon to look whether it moves again; nothing is sent for that


@dataclass(frozen=True, slots=True)
class Motion:
    """Hold how the parts move; spans in ms.

    `heard_ago` is the last live report of any sensor, None if this run has heard none; `interval` the longest at which
    a sensor is known to report, 0 if none is known. `committed_ago` is the last time the store took something,
    `commit_limit` how long that may be. `overdue` is by how much the most belated message is late, 0 for none.
    """

    heard_ago: int | None
    interval: int
    committed_ago: int | None
    commit_limit: int
    overdue: int


class Moves(Protocol):
    """Say how the parts move; see gatewayd/daemon/movement.py."""

    async def motion(self) -> Motion:
        """Return how they move now."""
        ...


def standstill(motion: Motion) -> str:
    """Return what does not move, in the keeper's words, nothing when all does."""
    if motion.heard_ago is None:
        return "no sensor has been heard yet"
    if motion.heard_ago > max(HEARD_LEAST, HEARD_INTERVALS * motion.interval):
        return f"no sensor has been heard for {motion.heard_ago // MINUTE} min"
    if motion.committed_ago is None:
        return "nothing could be written to the disk yet"
    if motion.committed_ago > motion.commit_limit:
        return f"nothing could be written to the disk for {motion.committed_ago // MINUTE} min"
    if motion.overdue > OVERDUE:
        return f"a message has been waiting to get out for {motion.overdue // MINUTE} min"
    return ""


def judge(reply: Reply, sign: SignOfLife) -> str:
    """Return why an answer is no success, nothing when it is one."""
    if reply.status not in sign.codes:
        wanted = ", ".join(str(code) for code in sign.codes)
        return f"it answered {reply.status}, and {wanted} would be right"
    if sign.text and sign.text.encode() not in reply.body:
        return "the text that its answer should hold is not in it"
    return ""


class LifeSign:
    """Send the sign of life, for ever."""

    def __init__(self, sign: SignOfLife, moves: Moves, clock: Clock) -> None:
        """Take what to send where, who knows how the parts move, and the clock."""
        self._sign = sign
        self._moves = moves
        self._clock = clock
        self._outward = Outward()
        self._still = ""  # what did not move at the last look
        self._fault = ""  # what was wrong with the last request
        self.given: int | None = None  # steady ms of the last sign that was answered well

    async def run(self) -> None:
        """Look at every turn, and send when all moves; the first look is a minute after the start."""
        await self._clock.sleep(min(self._sign.every, LOOK_AGAIN))
        while True:
            began = self._clock.now().steady
            moving = await self.turn()
            wait = self._sign.every if moving else min(self._sign.every, LOOK_AGAIN)
            await self._clock.sleep(max(SECOND, wait - (self._clock.now().steady - began)))

    async def turn(self) -> bool:
        """Send one sign if all moves; return whether all did. A request that fails waits for the next turn."""
        still = standstill(await self._moves.motion())
        if bool(still) != bool(self._still):
            # once per standstill: its length changes with every look
            log.log(logging.WARNING if still else logging.INFO, "%s", _told(still))
        self._still = still
        if still:
            return False
        try:
            reply = await self._outward.fetch(self._sign.method, self._sign.url.reveal(), DEADLINE)
            fault = judge(reply, self._sign)
        except RequestFailed as failed:
            fault = str(failed)
        if fault != self._fault:
            if fault:
                log.warning("the sign of life did not arrive: %s", fault)
            else:
                log.info("the sign of life arrives again")
        self._fault = fault
        if not fault:
            self.given = self._clock.now().steady
        return True


def _told(still: str) -> str:
    return f"no sign of life is given: {still}" if still else "all moves again; signs of life are given"
