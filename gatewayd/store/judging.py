"""Find the food of warm spells that nobody has decided on yet."""

import sqlite3
from collections.abc import Iterator

from gatewayd.food.fate import Fate
from gatewayd.model.excursion import Excursion
from gatewayd.model.house import House
from gatewayd.model.moment import DAY
from gatewayd.store import excursion
from gatewayd.store.carried import Carried

# Food of an older spell was eaten or thrown out long ago, whether it was written down or not. Our choice.
FOOD_WAITS = 90 * DAY


def waiting(
    conn: sqlite3.Connection, house: House, now: int, *, closed: bool = False
) -> Iterator[tuple[Excursion, list[Fate]]]:
    """Yield the warm spells of which food is still to be decided on, the oldest first, with that food.

    A spell that goes on is among them; one that somebody said to be done with only if `closed`: nobody is asked any
    more, but its food is no better for that.
    """
    past: Carried | None = None
    for spell in excursion.spells(conn, house):
        if spell.began < now - FOOD_WAITS or (not closed and excursion.done(conn, spell)):
            continue
        past = past or Carried(conn, house, now)
        left = [fate for fate in past.story(spell)[1] if fate.open]
        if left:
            yield spell, left
