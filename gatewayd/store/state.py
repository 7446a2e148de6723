"""Small things the file knows: when the watcher was last awake, the zone of its days, how far numbers were used."""

import json
import sqlite3
from datetime import tzinfo

from gatewayd.model.moment import Moment
from gatewayd.store.rollup import rebuild_days
from gatewayd.store.row import boots
from gatewayd.store.schema import KEY_MASK


def get(conn: sqlite3.Connection, key: str) -> str | None:
    """Return what is kept under `key`."""
    row = conn.execute("SELECT value FROM state WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row[0])


def put(conn: sqlite3.Connection, key: str, value: str) -> None:
    """Keep `value` under `key`."""
    conn.execute("INSERT INTO state VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", (key, value))


def alive(conn: sqlite3.Connection) -> Moment | None:
    """Return the last moment at which the watcher is known to have been awake."""
    row = conn.execute("SELECT t, value, how FROM log WHERE series = 0 ORDER BY id DESC LIMIT 1").fetchone()
    if row is not None:
        boot = conn.execute("SELECT boot FROM how WHERE id = ?", (row[2] & KEY_MASK,)).fetchone()[0]
        return Moment(row[0], row[1], boots(conn)[boot].name)
    kept = get(conn, "alive")
    return None if kept is None else Moment(*json.loads(kept))


def set_alive(conn: sqlite3.Connection, moment: Moment) -> None:
    """Keep that moment outside the log."""
    put(conn, "alive", json.dumps([moment.wall, moment.steady, moment.boot]))


def last_event(conn: sqlite3.Connection) -> int:
    """Return the highest event number ever given, also by a file that this one has replaced."""
    highest = conn.execute("SELECT coalesce(max(number), 0) FROM event").fetchone()[0]
    return max(int(highest), int(get(conn, "event_floor") or 0))


def settle_zone(conn: sqlite3.Connection, zone: tzinfo) -> bool:
    """Make the days anew if the house has moved to another time zone; return whether it has."""
    name = str(zone)
    if get(conn, "zone") == name:
        return False
    rebuild_days(conn, zone)
    put(conn, "zone", name)
    return True
