"""See how the parts of a running gateway move: what it hears, stores and tells."""

from collections.abc import Iterable

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import ALIVE_EVERY, Gateway
from gatewayd.daemon.lifesign import Motion
from gatewayd.model.delivery import Delivery
from gatewayd.model.moment import MINUTE, Moment


class Movement:
    """Look at one gateway."""

    def __init__(self, gateway: Gateway, clock: Clock) -> None:
        """Take what to look at; the first look compares with this moment."""
        self._gateway = gateway
        self._clock = clock
        self._stamp = gateway.committed
        self._changed: int | None = None  # steady ms of the look that last saw a new commit
        self._looked = clock.now().steady
        self._gap = 0  # between that look and the one before it

    async def motion(self) -> Motion:
        """Return how the parts move now."""
        now, watch = self._clock.now(), self._gateway.watch
        lives = [post.life for post in watch.posts.values()]
        heard = [life.last for life in lives if life.heard]
        known = [life.told or life.learnt or 0 for life in lives if not life.irregular]
        return Motion(
            heard_ago=now.steady - max(heard) if heard else None,
            interval=max(known, default=0),
            committed_ago=self._committed_ago(now),
            commit_limit=max(ALIVE_EVERY, self._gateway.commit_every) + MINUTE,
            overdue=overdue(await self._gateway.mailbag.pending(), now),
        )

    def _committed_ago(self, now: Moment) -> int | None:
        """Return how long ago the last commit was.

        It is stamped with the wall clock, which may have been set since; but it was after the look that did not see it
        yet and before the one that did.
        """
        stamp = self._gateway.committed
        if stamp != self._stamp:
            self._stamp, self._changed, self._gap = stamp, now.steady, now.steady - self._looked
        self._looked = now.steady
        if stamp is None:
            return None
        if self._changed is None:  # it was there before the first look, and none has come since
            return max(0, now.wall - stamp)
        least = now.steady - self._changed
        return min(max(least, now.wall - stamp), least + self._gap)


def overdue(waiting: Iterable[Delivery], now: Moment) -> int:
    """Return by how much (ms) the most belated message is late: tried without success, or due and not tried.

    One whose turn has not come (a second way while the first is tried) is not late; its sibling speaks for both.
    """
    lates = [0]
    for delivery in waiting:
        made = delivery.notice.made
        age = now.steady - made.steady if made.boot == now.boot else now.wall - made.wall
        if delivery.attempts:
            lates.append(age)
        elif delivery.next_try <= now.wall:
            lates.append(min(age, now.wall - delivery.next_try))
    return max(lates)
