"""See to a store that ails: open it again, put a good copy in a damaged one's place, write a vanished one anew.

It also finds out at the start what the store remembers, whatever state it is in: the watch begins in every case, for a
freezer does not wait for a disk.
"""

import asyncio
import logging
from dataclasses import dataclass, replace
from datetime import tzinfo
from pathlib import Path
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.model.moment import MINUTE, SECOND, from_wall
from gatewayd.store.copy import copies
from gatewayd.store.mend import Mended
from gatewayd.store.recollect import Recollection, glance
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble

log = logging.getLogger(__name__)

# Damage that reading the whole file does not confirm was in memory or in the log's index, and opening anew cures it.
# Met again within so long, it is taken for what it looks like.
DOUBT = 10 * MINUTE
REOPEN_AFTER = 30 * SECOND  # a disk that was pulled out and put back leaves a connection behind that never works again
# Above the numbers of a file that cannot be read at all: more than a house makes in ten years.
NUMBERS_UNKNOWN = 100_000
NUMBERS_LOST = 1000  # as above, of the part of a log that was damaged: some minutes at most


@dataclass(frozen=True, slots=True)
class Healed:
    """Say what was done: another file took the store's place, or it was opened; `text` tells the keeper, "" nothing."""

    replaced: bool = False
    opened: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class Begun:
    """Hold what a start found: what is remembered, what to tell, and what ails the store if it is not open."""

    kept: Recollection
    text: str = ""
    trouble: StoreTrouble | None = None


class Heals(Protocol):
    """See to a store that ails; the healer does."""

    async def heal(self, trouble: StoreTrouble, floor: int) -> Healed:
        """Do what can be done, or raise StoreTrouble; `floor` is the highest event number given so far."""
        ...


class Healer:
    """Know the store and where its nightly copies lie."""

    def __init__(self, store: Store, folder: Path, clock: Clock, zone: tzinfo) -> None:
        """Take the store, the folder of the copies, the clock and the site's zone."""
        self._store = store
        self._folder = folder
        self._clock = clock
        self._zone = zone
        self._doubted: int | None = None
        self._since: int | None = None  # since when (steady ms) a trouble that passes has not passed

    async def begin(self) -> Begun:
        """Open the store and return what it remembers.

        A damaged one is mended. One that cannot be written just now is only read; if not even that, nothing is
        remembered. Raise StoreTrouble for what does not pass by itself, such as another program's file.
        """
        healed = Healed()
        for last in (False, True):
            try:
                if not self._store.is_open:
                    await self._store.reopen()
                kept, dropped = await self._store.recollect(), self._dropped()
                if dropped:  # with what was lost, numbers were given that people know
                    kept = replace(kept, last_event=kept.last_event + NUMBERS_LOST)
                return Begun(kept, _join(healed.text, dropped))
            except StoreTrouble as met:
                trouble = met
            if not trouble.damaged or last:
                break
            try:
                healed = await self.heal(trouble, 0)
            except StoreTrouble as also:
                log.warning("%s", also)
                break
        if not (trouble.passes or trouble.damaged):
            raise trouble
        return Begun(await self._glance(), healed.text, trouble)

    async def _glance(self) -> Recollection:
        path = self._store.path
        try:
            return await asyncio.to_thread(glance, path)
        except StoreTrouble as trouble:
            log.warning("%s", trouble)
        for copy in await asyncio.to_thread(copies, self._folder):
            try:
                known = await asyncio.to_thread(glance, copy)
            except StoreTrouble as trouble:
                log.warning("%s", trouble)
                continue
            # what was learnt is still good; the outbox of last night is not today's
            return replace(known, alive=None, pending=[], last_event=known.last_event + NUMBERS_UNKNOWN, known=False)
        there = await asyncio.to_thread(path.exists)
        return Recollection(last_event=NUMBERS_UNKNOWN if there else 0)

    async def heal(self, trouble: StoreTrouble, floor: int) -> Healed:
        """Do what can be done about a trouble; raise StoreTrouble when it cannot be done now."""
        store, now = self._store, self._clock.now().steady
        if trouble.gone and store.is_open and not store.in_place():
            return await self._rescue()
        if trouble.damaged:
            return await self._mend(floor, now)
        if not store.is_open:
            await store.reopen()
            self._since = None
            return Healed(opened=True, text=self._dropped())
        self._since = now if self._since is None else self._since
        if trouble.gone or (trouble.passes and not trouble.busy and now - self._since >= REOPEN_AFTER):
            self._since = now
            await store.reopen()
            return Healed(opened=True, text=self._dropped())
        return Healed()

    async def _rescue(self) -> Healed:
        aside = await self._store.rescue(self._stamp())
        text = (
            "The file with the readings was moved or deleted while gatewayd was using it. It has been written anew in "
            "its place, and nothing is missing."
        )
        if aside is not None:
            text += (
                f" Another file had been put there; it is kept as {aside}. To use that one: gatewayd restore {aside}"
            )
        log.warning("%s", text)
        return Healed(replaced=True, text=text)

    async def _mend(self, floor: int, now: int) -> Healed:
        store = self._store
        if self._doubted is None or now - self._doubted > DOUBT:
            try:
                await store.examine()
            except StoreTrouble as confirmed:
                log.warning("%s", confirmed)
            else:
                self._doubted = now
                await store.reopen()
                return Healed(opened=True, text=self._dropped())
        found = await asyncio.to_thread(copies, self._folder)
        done = await store.mend(found, self._stamp(), floor)
        text = self._say(done)
        log.warning("%s", text)
        return Healed(replaced=True, text=text)

    def _say(self, done: Mended) -> str:
        said = ["The file with the readings was damaged; a worn card or disk is the usual cause."]
        if done.aside is not None:
            said.append(f"It was put aside and is kept as {done.aside}.")
        reaches = ""
        if done.copy is not None and done.reaches is not None:
            reaches = f"{from_wall(done.reaches.wall).astimezone(self._zone):%a %d %b %H:%M}"
            said.append(f"The nightly copy of {reaches} took its place.")
        else:
            said.append("There was no good nightly copy, so a new file was begun.")
        saved = done.saved
        if saved.whole:
            said.append("All that is newer could be read from the damaged file: nothing is missing.")
        elif saved.events or saved.readings:
            said.append(
                f"From the damaged file {saved.readings} readings and {saved.events} lines of the log could be "
                "brought over. Missing are the readings in its damaged part."
            )
        elif reaches:
            said.append(
                f"Missing are the single readings up to {reaches} (their quarter-hours are there), and everything "
                "from then until now."
            )
        else:
            said.append("Missing is everything from before now.")
        said.append(
            "The freezers are watched as before.\n\nWhat to do: if this happens again, replace the card or disk."
        )
        return " ".join(said)

    def _dropped(self) -> str:
        """Say what a crash's damaged log cost, once."""
        lost, self._store.dropped = self._store.dropped, 0
        if not lost:
            return ""
        return (
            "The newest part of the file with the readings was damaged when gatewayd last stopped without notice. "
            f"What was written in the last {lost} times before that is missing; what could not be read is kept beside "
            f"{self._store.path}. The freezers are watched as before."
        )

    def _stamp(self) -> str:
        return f"{from_wall(self._clock.now().wall):%Y%m%dT%H%M%SZ}"


def _join(*texts: str) -> str:
    return "\n\n".join(text for text in texts if text)
