"""Turn readings into rows and rows into readings."""

import math
import sqlite3
from dataclasses import dataclass

from gatewayd.model.moment import Moment
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.store.schema import KEY_BITS, KEY_MASK

LARGEST = 10**12  # beyond any value of a household sensor, and far inside SQLite's 64-bit integers when multiplied


def thousandths(value: float) -> int | None:
    """Return whole thousandths, None for what is no number (or one that no sensor means)."""
    return round(value * 1000) if math.isfinite(value) and abs(value) < LARGEST else None


def unit(stored: int | None) -> float:
    """Return a stored value in its unit; NaN stands for what was no number."""
    return math.nan if stored is None else stored / 1000


def clean(text: str) -> str:
    """Return a text that SQLite can hold: half surrogates from a sloppy payload would fail every commit they are in."""
    return text.encode("utf-8", "replace").decode()


def stamped(reading: Reading) -> bool:
    """Return whether it is known to the millisecond when the reading was measured."""
    if reading.measured_from != reading.measured_to:
        return False
    # a late one whose span has shrunk to the moment it was heard has no stamp of its own
    return reading.arrival is not Arrival.LATE or reading.measured_to != reading.heard.wall


@dataclass(frozen=True, slots=True)
class Boot:
    """Hold one boot of the computer; `lead` is its wall minus its steady time (ms)."""

    name: str
    lead: int

    def moment(self, wall: int) -> Moment:
        """Return the moment of a wall stamp of this boot; the steady time is as exact as the lead."""
        return Moment(wall, wall - self.lead, self.name)


@dataclass(frozen=True, slots=True)
class How:
    """Hold what few rows differ in. `offset` is in thousandths."""

    boot: Boot
    arrival: Arrival
    quality: Quality
    offset: int


def boots(conn: sqlite3.Connection) -> dict[int, Boot]:
    """Return every boot by its key."""
    return {key: Boot(name, lead) for key, name, lead in conn.execute("SELECT id, name, lead FROM boot")}


def hows(conn: sqlite3.Connection) -> dict[int, How]:
    """Return every combination by its key."""
    known = boots(conn)
    found = conn.execute("SELECT id, boot, arrival, quality, offset FROM how")
    return {
        key: How(known[boot], Arrival(arrival), Quality(quality), off) for key, boot, arrival, quality, off in found
    }


def series(conn: sqlite3.Connection) -> dict[int, tuple[str, Quantity]]:
    """Return (sensor, quantity) by key."""
    found = conn.execute("SELECT id, sensor, quantity FROM series ORDER BY sensor, quantity")
    return {key: (sensor, Quantity(quantity)) for key, sensor, quantity in found}


def reading(of: tuple[str, Quantity], how: How, stamp: int, value: int | None, packed: int) -> Reading:
    """Build a reading from a row of `log` or `reading`; `packed` is its `how` column."""
    heard = how.boot.moment(stamp + (packed >> KEY_BITS))
    return Reading(
        of[0], of[1], unit(value), heard, stamp, stamp, how.arrival, how.quality, how.offset / 1000
    )  # fmt: skip


def late_reading(of: tuple[str, Quantity], how: How, first: int, last: int, heard: int, value: int | None) -> Reading:
    """Build a reading from a row of `late`."""
    return Reading(
        of[0], of[1], unit(value), how.boot.moment(heard), first, last, how.arrival, how.quality, how.offset / 1000
    )  # fmt: skip


def pack_how(key: int, lag: int) -> int:
    """Return the `how` column for a key and a lag (heard - t, ms)."""
    return (lag << KEY_BITS) + (key & KEY_MASK)
