"""Say how long to wait before the next try: the pure rule, chance comes in as a seeded generator."""

import random

from gatewayd.model.moment import MINUTE, SECOND

FIRST = 1 * SECOND
LONGEST = (
    40 * SECOND
)  # with jitter 60 s: a broker that is back is found within a minute, a dead one asked 1 700 x a day
JITTER = 0.5  # the wait is stretched by up to half, so that many clients do not come back in step after a restart
# Two programs with one client id throw each other out (MQTT-3.1.4-3). Coming back at once would make both flap without
# ever hearing much; a minute and more leaves the other one in peace and the log readable.
TAKEN_FIRST = 60 * SECOND
TAKEN_LONGEST = 10 * MINUTE
TAKEN_FORGOTTEN = 15 * MINUTE  # longer than the longest wait: by then the other program is gone

SHORT_LIFE = 10 * SECOND  # MQTT 3.1.1 does not say "taken over": the link just ends, soon after it was made
SHORT_LIVES = 5  # so often in a row, with a broker that is there each time, is no accident


class Backoff:
    """Double the wait from try to try, with jitter, and begin anew after a success."""

    def __init__(self, rng: random.Random) -> None:
        """Use `rng` for the jitter."""
        self._rng = rng
        self._wait = FIRST
        self._taken = TAKEN_FIRST
        self._short = 0

    def failed(self) -> int:
        """Return how long to wait (ms) after a try that did not get through."""
        self._short = 0
        return self._next()

    def ended(self, lasted: int, *, alone: bool = False) -> int:
        """Return how long to wait (ms) after a working connection that `lasted` so long (ms) was lost.

        `alone` says that nobody else was there since the connection before: this one was not taken from us.
        """
        self._wait = FIRST
        self._settle(lasted)
        self._short = self._short + 1 if lasted < SHORT_LIFE and not alone else 0
        return self._next()

    def taken_over(self, lasted: int) -> int:
        """Return how long to wait (ms) after another program took our place."""
        self._settle(lasted)
        self._short = 0
        wait, self._taken = self._taken, min(self._taken * 2, TAKEN_LONGEST)
        return self._stretch(wait)

    @property
    def suspicious(self) -> bool:
        """Return whether connections end so soon and so often that another program may be behind it."""
        return self._short >= SHORT_LIVES

    def _settle(self, lasted: int) -> None:
        if lasted >= TAKEN_FORGOTTEN:
            self._taken = TAKEN_FIRST

    def _next(self) -> int:
        wait, self._wait = self._wait, min(self._wait * 2, LONGEST)
        return self._stretch(wait)

    def _stretch(self, wait: int) -> int:
        return round(wait * self._rng.uniform(1.0, 1.0 + JITTER))
