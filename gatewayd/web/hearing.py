"""What the pages need to show what is heard nearby; the daemon provides it, and a played house its own."""

from collections.abc import Sequence
from typing import Protocol

from gatewayd.model.moment import MINUTE, Moment
from gatewayd.watch.nearby import Nearby

LASTS = 2 * MINUTE  # our choice: sensors report every minute or oftener while somebody waits for them to show up


class Hearing(Protocol):
    """Listen for a while to everything that is sent around the gateway, known or not. Nobody listens otherwise."""

    def begin(self) -> None:
        """Listen for LASTS from now on; while it listens already only the end moves. Forget what an earlier time heard.

        It ends by itself.
        """
        ...

    def now(self) -> Moment:
        """Return the moment by the clock that `until` and what was heard go by."""
        ...

    @property
    def until(self) -> int | None:
        """Return when (steady ms) it ends, None while nobody listens."""
        ...

    @property
    def nearby(self) -> Nearby:
        """Return what was heard since the last begin; it stays when the time is up, so that it can be looked at."""
        ...

    @property
    def troubles(self) -> Sequence[str]:
        """Return what could not be listened to and why, in the keeper's words."""
        ...
