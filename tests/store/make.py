"""Make readings, events and deliveries of Heron Lane for the store's tests."""

import sqlite3
from contextlib import closing
from pathlib import Path
from zoneinfo import ZoneInfo

from gatewayd.model.delivery import Delivery
from gatewayd.model.event import Event, Notice, Stage, What
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.rollup import QUARTER, day_span

LONDON = ZoneInfo("Europe/London")
T0 = 1_795_600_800_000  # Wed 25 Nov 2026 10:00 in London, on a quarter
BOOT_AT = T0 - 60 * MINUTE


def at(wall: int, boot: str = "boot-a", boot_at: int = BOOT_AT) -> Moment:
    """Return the moment of a wall stamp in a boot that began at `boot_at`."""
    return Moment(wall, wall - boot_at, boot)


def reading(wall: int, value: float = -18.5, sensor: str = "shed-chest-air", **other: object) -> Reading:
    """Return a live good reading; `other` replaces fields."""
    heard = other.pop("heard", at(wall))
    fields = {"quantity": Quantity.TEMPERATURE, "measured_from": wall, "measured_to": wall} | other
    return Reading(sensor=sensor, value=value, heard=heard, **fields)  # type: ignore[arg-type]


def late(first: int, last: int, heard: int, value: float = -18.5) -> Reading:
    """Return a late reading."""
    return reading(last, value, heard=at(heard), measured_from=first, arrival=Arrival.LATE)


def bad(wall: int, value: float = 85.0) -> Reading:
    """Return a reading that may not be judged."""
    return reading(wall, value, quality=Quality.POWER_ON)


def event(number: int, wall: int = T0, first: int = 0, **other: object) -> Event:
    """Return an event of the shed chest."""
    fields = {"facts": {"value": -9.5, "limit": -12.0}, "boot": "boot-a"} | other
    moment = at(wall, str(fields.pop("boot")))
    return Event(number, moment, "shed-chest", "high", What.RAISED, Priority.HIGH, 1, first, **fields)  # type: ignore[arg-type]


def notice(number: int, person: str = "robin", wall: int = T0, boot: str = "boot-a") -> Notice:
    """Return a notice about an event."""
    made = at(wall, boot)
    text = ("Heron Lane: Shed chest is too warm", "Trout and venison…")
    return Notice(number, person, Stage.NEW, Priority.HIGH, *text, made, ("mail", "chat"), "shed-chest", "high")


def deliveries(number: int, person: str = "robin", wall: int = T0, boot: str = "boot-a") -> list[Delivery]:
    """Return the two deliveries of a notice, the second two minutes after the first."""
    made = notice(number, person, wall, boot)
    return [
        Delivery(0, made, "mail", 0, next_try=wall),
        Delivery(0, made, "chat", 1, next_try=wall + 2 * MINUTE),
    ]


def batch(*readings: Reading, wall: int = T0, **other: object) -> Batch:
    """Return a batch."""
    return Batch(alive=at(wall), readings=list(readings), **other)  # type: ignore[arg-type]


def rows(path: Path, query: str, *values: object) -> list[tuple]:
    """Return what a query finds in the file, by a connection of its own."""
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as conn:
        return conn.execute(query, values).fetchall()


def from_scratch(path: Path, zone: ZoneInfo = LONDON) -> tuple[list[tuple], list[tuple]]:
    """Compute quarters and days anew from the good rows, in Python: the oracle for the roll-ups."""
    good = rows(
        path,
        "SELECT r.series, r.t, r.value FROM reading r JOIN how h ON h.id = (r.how & 65535) "
        "WHERE h.quality = 'good' AND r.value IS NOT NULL",
    )
    quarters: dict[tuple[int, int], list[int]] = {}
    days: dict[tuple[int, int], list[int]] = {}
    for series, t, value in good:
        quarters.setdefault((series, t // QUARTER), []).append(value)
        days.setdefault((series, day_span(t, zone)[0]), []).append(value)
    return tuple(  # type: ignore[return-value]
        sorted((*key, len(v), min(v), max(v), sum(v)) for key, v in sums.items()) for sums in (quarters, days)
    )


def rolled_up(path: Path) -> tuple[list[tuple], list[tuple]]:
    """Return the quarters and days that the file holds."""
    return rows(path, "SELECT * FROM quarter ORDER BY 1, 2"), rows(path, "SELECT * FROM day ORDER BY 1, 2")
