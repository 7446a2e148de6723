"""Mark the food that was warm and is not judged yet wherever it is offered."""

import sqlite3
from dataclasses import dataclass, field

from gatewayd.alarm.kinds import HIGH, HIGHHIGH
from gatewayd.message.words import capital
from gatewayd.model.excursion import Excursion
from gatewayd.store import excursion, spell
from gatewayd.store.judging import waiting
from gatewayd.web.happened import address
from gatewayd.web.home import Home


@dataclass(frozen=True, slots=True)
class Mark:
    """Hold why food waits to be judged, and where its warm spell is told of."""

    words: str
    way: str


@dataclass(frozen=True, slots=True)
class Unjudged:
    """Hold what waits to be judged: packages by number, the boxes they lie in now and freezers it was in by id."""

    packages: dict[int, Mark] = field(default_factory=dict)
    boxes: dict[str, Mark] = field(default_factory=dict)
    freezers: dict[str, Mark] = field(default_factory=dict)


async def unjudged(home: Home) -> Unjudged:
    """Return the food that waits to be judged; of several warm spells the last is named, one that still asks first.

    What was left open in a spell that somebody said to be done with stays marked: nobody knows that it is sound.
    """
    house, now = home.house, home.now().wall

    def work(conn: sqlite3.Connection) -> Unjudged:
        found = Unjudged()
        every = [(excursion.done(conn, one), one, left) for one, left in waiting(conn, house, now, closed=True)]
        for done, one, left in sorted(every, key=lambda each: not each[0]):
            words = f"{spell.DOUBT}." if done else "not judged yet:"
            mark = Mark(f"{_why(one)}, {words}", address(one.number, one.freezer))
            found.freezers[one.freezer] = mark
            found.packages.update((fate.item.package.id, mark) for fate in left if fate.item.package is not None)
            found.boxes.update((fate.item.box.id, mark) for fate in left)
        return found

    return await home.read(work)


def _why(one: Excursion) -> str:
    if HIGH.name in one.why or HIGHHIGH.name in one.why:
        return "Was too warm" if one.ended is not None else "Is too warm"
    return capital(spell.why(one))
