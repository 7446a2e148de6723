"""Put the use-first list together from the file: what lies where since when, and how warm it was there."""

import sqlite3

from gatewayd.food.first import Use, chosen, first
from gatewayd.food.table import find
from gatewayd.model.contents import Group
from gatewayd.model.house import House
from gatewayd.store.exposure import begins, courses, kept


def uses(
    conn: sqlite3.Connection, house: House, now: int, freezer: str = "", group: Group | None = None
) -> tuple[list[Use], int]:
    """Return the packages of one freezer and group, what to use first at the top, as of `now` (wall ms).

    Empty and None are all. Beside them how many a group left out because nobody knows of which kind they are.
    """
    sensors = {key: one.sensors for key, one in house.freezers.items()}
    there = chosen(kept(conn), freezer)
    wanted = chosen(there, group=group)
    found = courses(conn, sensors, begins(wanted), now)
    nameless = 0 if group is None else sum(find(one.package.food) is None for one in there)
    return first(wanted, found, now, house.zone), nameless
