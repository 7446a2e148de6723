"""A moment: what the wall clock said and how long the computer had been up."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

SECOND = 1_000  # all spans and stamps are whole milliseconds: exact sums, exact replay
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


@dataclass(frozen=True, slots=True)
class Moment:
    """Pair a wall stamp with the steady time of one boot.

    `wall` is in ms since 1970-01-01 UTC and may jump (a small computer has no battery clock).
    `steady` is in ms since boot, counts through suspend and never jumps; delays are counted on it.
    `boot` names the boot, since steady times of two boots cannot be compared.
    """

    wall: int
    steady: int
    boot: str = "boot"

    def later(self, ms: int) -> "Moment":
        """Return the moment `ms` later in the same boot."""
        return Moment(self.wall + ms, self.steady + ms, self.boot)


def between(began: Moment, ended: Moment) -> int:
    """Return the span (ms) from one moment to another: steady time where one boot saw both, else by the wall clock.

    By the wall clock it may be below zero, for that clock can have been set.
    """
    return ended.steady - began.steady if began.boot == ended.boot else ended.wall - began.wall


def from_wall(ms: int) -> datetime:
    """Turn a wall stamp (ms since 1970 UTC) into an aware UTC datetime, exactly."""
    return EPOCH + timedelta(milliseconds=ms)


def to_wall(when: datetime) -> int:
    """Turn an aware datetime into a wall stamp (ms since 1970 UTC)."""
    return (when - EPOCH) // timedelta(milliseconds=1)


def iso(ms: int, zone: tzinfo) -> str:
    """Write a wall stamp as ISO 8601 with milliseconds and offset, in `zone`."""
    return from_wall(ms).astimezone(zone).isoformat(timespec="milliseconds")
