"""Keep the book of what was done, and tell the watch and people what is due."""

import logging
import sqlite3
from collections.abc import AsyncIterator, Mapping
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.message.due import due_line
from gatewayd.message.words import clock, name
from gatewayd.model.chore import Chore, Due, Kind
from gatewayd.model.given import Chored
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, iso
from gatewayd.store import calibration, chore, frost
from gatewayd.store.copy import copies
from gatewayd.store.judging import waiting
from gatewayd.store.trouble import StoreTrouble
from gatewayd.thermal.ageing import ageing
from gatewayd.thermal.picture import Picture
from gatewayd.upkeep import defrost
from gatewayd.upkeep.chore import WORDS, fits
from gatewayd.upkeep.due import OF_FOOD
from gatewayd.upkeep.frost import growth
from gatewayd.watch.dues import dues

log = logging.getLogger(__name__)

AGAIN = 6 * HOUR  # what is due moves over days; the nightly copy is seen the same morning
LONGEST = 500  # characters of a note
COPIES = "copies"  # beside the store


class Duty:
    """Answer what the commands `chore` and `due` ask, and let the watch know what was done."""

    def __init__(self, gateway: Gateway, clock: Clock) -> None:
        """Take the gateway and the clock."""
        self._gateway = gateway
        self._clock = clock

    async def run(self) -> None:
        """Tell the watch what was done, at the start and every six hours, for ever."""
        while True:
            try:
                await self.tell()
            except StoreTrouble as trouble:
                log.warning("what was done could not be read: %s", trouble)
                self._gateway.ail(trouble)
            await self._clock.sleep(AGAIN)

    async def tell(self, new: Chore | None = None) -> None:
        """Tell the watch what was done, and what is `new`. Raise StoreTrouble."""
        store, watch, now = self._gateway.store, self._gateway.watch, self._clock.now().wall
        given = await store.ask(lambda conn: read(conn, store.path))
        more = await store.ask(lambda conn: defrosts(conn, watch.house, now, watch.pictures))
        more = [*await store.ask(lambda conn: undecided(conn, watch.house, now)), *more]
        self._gateway.give(Chored(given.newest, new, given.began, given.copied, more))

    async def answered(self, key: str) -> str | None:
        """Return the answer an order with this key has had, None if it is new or cannot be read now."""
        try:
            return await self._gateway.store.answer(key) if key else None
        except StoreTrouble as trouble:
            log.warning("%s", trouble)
            return None

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer one request of `who`: add a chore, or say what is due."""
        watch, now = self._gateway.watch, self._clock.now()
        if request.get("ask") == "due":
            try:
                await self.tell()  # a defrost that has just ended is in the file, and nowhere else
            except StoreTrouble as trouble:
                log.warning("what was done could not be read again: %s", trouble)
            yield {"due": [plain(one, now.wall, watch.house) for one in dues(watch, now)]}
            return
        yield await self._add(request, who)

    async def _add(self, request: Plain, who: str) -> Plain:
        subject, key, now = str(request.get("subject", ""))[:40], str(request.get("key", ""))[:80], self._clock.now()
        house = self._gateway.watch.house
        problem, kind = fits(house, subject, str(request.get("kind", "")))
        if kind is None:
            return {"done": False, "error": problem}
        note, done = str(request.get("note", ""))[:LONGEST], list[Chore]()
        text = f"Written down: {name(subject, house)}, {WORDS[kind]}{f' ({note})' if note else ''}."
        if kind is Kind.BATTERY:
            text += " Its level is judged anew from here on."

        def work(conn: sqlite3.Connection) -> str:
            done[:] = [chore.add(conn, subject, kind, now.wall, who, {"note": note} if note else {})]
            return text

        try:
            said, _ = await self._gateway.store.carry_out(work, now, key)
            if done:
                await self.tell(done[0])
        except StoreTrouble as trouble:
            return {"done": False, "error": str(trouble)}
        return {"done": True, "text": said}


def read(conn: sqlite3.Connection, path: Path) -> Chored:
    """Read from the store at `path` what was done and when its last copy was made."""
    return Chored(list(chore.newest(conn).values()), None, calibration.began(conn), copied(path.parent / COPIES))


def copied(folder: Path) -> int | None:
    """Return when (wall ms) the newest nightly copy was made, None where there is none."""
    newest = next(iter(copies(folder)), None)
    return None if newest is None else round(newest.stat().st_mtime * 1000)


def defrosts(conn: sqlite3.Connection, house: House, now: int, pictures: Mapping[str, Picture]) -> list[Due]:
    """Return what says first when each freezer is to be defrosted: the year, the frost, or its cycles."""
    found, began = [], calibration.began(conn)
    for freezer in house.freezers.values():
        done = [each.at for each in chore.chores(conn, freezer.id, Kind.DEFROSTED)]
        grown = growth(frost.rows(conn, freezer.id), done, now)
        picture = pictures.get(freezer.id)
        aged = None if picture is None else ageing(picture.kept.days)
        first = next(iter(defrost.due(freezer, now, began, done, grown, aged.period if aged else None)), None)
        if first is not None:
            overdue = first.overdue is not None and first.overdue <= now
            found.append(Due(freezer.id, f"defrost {freezer.name}", first.by, first.words, overdue=overdue))
    return found


def undecided(conn: sqlite3.Connection, house: House, now: int) -> list[Due]:
    """Return the freezers in which food of a warm spell is still to be decided on, the newest spell of each.

    While a spell goes on the freezer is kept shut; what to do then is said by its alarm.
    """
    found: dict[str, Due] = {}
    for spell, _ in waiting(conn, house, now):
        if spell.ended is None:
            continue
        called = name(spell.freezer, house)
        since = clock(spell.began, now, house.zone)
        reason = f"it was too warm from {since} on. See: gatewayd excursion show {spell.number}"
        found[spell.freezer] = Due(spell.freezer, OF_FOOD + called, None, reason, overdue=True)
    return list(found.values())


def plain(one: Due, now: int, house: House) -> Plain:
    """Return one thing that is due as plain values, with the line in words."""
    return {
        "subject": one.subject,
        "name": name(one.subject, house),
        "what": one.what,
        "by": None if one.by is None else iso(one.by, house.zone),
        "reason": one.reason,
        "overdue": one.overdue,
        "text": due_line(one, now, house.zone),
    }
