"""A delivery: one notice on one route, and how far it has come."""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.event import Notice


class Progress(Enum):
    """Say how far a delivery has come."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    GIVEN_UP = "given up"
    NOT_NEEDED = "not needed"  # another route of the same person carried it, or the end of its alarm waits


@dataclass(frozen=True, slots=True)
class Delivery:
    """Hold one notice on one route. The outbox keeps one row per notice and route.

    `rank` is the route's place in the person's list, 0 first. `next_try` is a wall stamp (ms). `maybe_sent` says
    that an earlier attempt may have arrived although it looked failed: the next one must say "sent again".
    """

    id: int
    notice: Notice
    route: str
    rank: int
    progress: Progress = Progress.WAITING
    attempts: int = 0
    next_try: int = 0
    maybe_sent: bool = False
    error: str = ""
