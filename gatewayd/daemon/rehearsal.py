"""Rehearse: play the stored readings through the same watch, with other settings, and compare with what was.

The watch takes the rows as if they were heard now; deadlines fall at their own moments, restarts of the daemon are
restarts here. What people did (acknowledged, shelved, checked the food) and which sources were away is played as it was
written down, where it fits. Nothing is stored and nobody is told. What the temperatures mean is left out, for a year of
it takes minutes: a cause that is sure may raise "no longer cooling" up to 20 minutes sooner than here.
"""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from gatewayd.alarm.kinds import FAULT, OF_FREEZER, SILENT, STUCK
from gatewayd.daemon.cues import Cue, cues
from gatewayd.model.event import Event, Notice
from gatewayd.model.given import Given, Order, Played, SourceNews, Start, Tick
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, Moment
from gatewayd.model.reading import Arrival, Reading
from gatewayd.store import read, row, state, stream
from gatewayd.store.stream import Row
from gatewayd.watch.memory import restore, save
from gatewayd.watch.watch import Watch

# What is learnt of freezers and sensors (intervals, habits of cooling) takes days; a week of them is played first and
# its alarms are not counted: our choice.
WARM_UP = 7 * DAY
# The alarms that readings alone decide; the others come from parts of the gateway that a row does not tell of.
SHOWN = frozenset(kind.name for kind in (*OF_FREEZER, SILENT, STUCK, FAULT))

Told = Callable[[int], None]  # wall ms up to which it has been played


@dataclass(slots=True)
class Rehearsed:
    """Hold what came of it between `since` and `until`, and what was: events and messages of the shown kinds.

    `rows` counts the readings that were played, `skipped` those of a boot whose time lies within another's. `oldest`
    is the first single reading there is, `sums_from` the first sum of 15 minutes, both wall ms. Events of the time
    before `since` are there too, so that what stood then is known.
    """

    since: int
    until: int
    events: list[Event] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    past: list[Event] = field(default_factory=list)
    past_notices: list[Notice] = field(default_factory=list)
    rows: int = 0
    skipped: int = 0
    oldest: int | None = None
    sums_from: int | None = None


def rehearse(conn: sqlite3.Connection, house: House, since: int, until: int, told: Told = lambda _: None) -> Rehearsed:
    """Play what was stored from `since` until before `until` (wall ms) through a watch of `house`.

    `told` hears how far it has come. What the calendar sends (the weekly note, the test) is left out.
    """
    found = Rehearsed(since, until)
    found.oldest = stream.oldest(conn, house.sensors)
    found.sums_from = stream.oldest_sum(conn, house.sensors)
    past = [event for event in read.events(conn) if event.at.wall < until]
    found.past = [event for event in past if event.kind in SHOWN]
    found.past_notices = [notice for notice in read.notices(conn, since, until) if notice.kind in SHOWN]
    if found.oldest is None:
        return found
    begin = max(since - WARM_UP, found.oldest)
    # rows are not wanted again, so one a day is enough
    quiet = replace(house, keep_every=DAY, telling=replace(house.telling, note=None, test=None))
    stage = _Stage(conn, quiet, found, cues(past, begin))
    for upto, rows in stream.live(conn, begin, until, house.sensors):
        stage.play(rows)
        told(upto)
    awake = state.alive(conn)
    stage.end(until if awake is None else min(until, awake.wall))
    return found


class _Stage:
    """Hold the watch that plays, and how far it has come."""

    def __init__(self, conn: sqlite3.Connection, house: House, found: Rehearsed, script: Sequence[Cue]) -> None:
        self._house, self._found, self._script = house, found, script
        self._conn = conn
        self._boots = self._look_at_boots()
        self._cue = 0
        self._watch: Watch | None = None
        self._boot = 0
        self._now = Moment(0, 0, "")
        self._down: set[str] = set()

    def play(self, rows: Sequence[Row]) -> None:
        """Play rows in order, with the cues that fall between them."""
        # read anew for each slice: the daemon may have begun a boot or a series meanwhile
        self._boots, series_of = self._look_at_boots(), row.series(self._conn)
        hows = {
            key: (*self._boots[how.boot.name], how.boot.name, how.quality, how.offset / 1000)
            for key, how in row.hows(self._conn).items()
        }
        cue, unit, live = self._due_cue(), row.unit, Arrival.LIVE
        for heard, series, stamp, value, key in rows:
            boot, lead, name, quality, offset = hows[key]
            if cue <= heard:
                self._cues_until(heard)
                cue = self._due_cue()
            if boot < self._boot:
                self._found.skipped += 1
                continue
            watch = self._watch
            if watch is None or boot > self._boot:
                watch = self._begin(self._moment(heard, name))
            now = Moment(heard, max(heard - lead, self._now.steady), name)
            wake = watch.next_wake()
            if wake is not None and wake <= now.steady:
                self._pass(watch, now)
            self._now = now
            sensor, quantity = series_of[series]
            reading = Reading(sensor, quantity, unit(value), now, stamp, stamp, live, quality, offset)
            effects = watch.step(Played(reading), now)
            if effects.events or effects.notices:
                self._keep(effects.events, effects.notices)
        self._found.rows += len(rows)

    def end(self, wall: int) -> None:
        """Let the time after the last reading pass, as far as the watcher was awake."""
        self._cues_until(wall)
        if self._watch is not None and wall > self._now.wall:
            self._pass(self._watch, self._now.later(wall - self._now.wall))

    def _look_at_boots(self) -> dict[str, tuple[int, int]]:
        """Return (key, lead) of each boot by its name; the keys rise in the order in which they began."""
        return {boot.name: (key, boot.lead) for key, boot in row.boots(self._conn).items()}

    def _moment(self, wall: int, boot: str) -> Moment:
        key, lead = self._boots[boot]
        return Moment(wall, max(wall - lead, self._now.steady if key == self._boot else 0), boot)

    def _begin(self, now: Moment) -> Watch:
        """Start the watch, as the daemon would: with what it knew when it was last awake."""
        alive, before = self._now, self._watch
        watch = Watch(self._house, now, pictured=False)
        if before is not None:
            restore(watch, save(before, alive), now)
        self._watch, self._boot, self._now = watch, self._boots[now.boot][0], now
        self._give(watch, Start(alive if before is not None else None), now)
        for source in self._house.sources:
            self._give(watch, SourceNews(source, up=source not in self._down, reason="it is played"), now)
        return watch

    def _give(self, watch: Watch, given: Given, now: Moment) -> None:
        effects = watch.step(given, now)
        self._keep(effects.events, effects.notices)

    def _pass(self, watch: Watch, now: Moment) -> None:
        """Let time pass up to `now`, with every deadline at its own moment."""
        while (wake := watch.next_wake()) is not None and wake <= now.steady:
            self._give(watch, Tick(), now.later(min(0, wake - now.steady)))
        self._now = now

    def _due_cue(self) -> int:
        return self._script[self._cue].wall if self._cue < len(self._script) else read.FOREVER

    def _cues_until(self, wall: int) -> None:
        while self._due_cue() <= wall:
            cue = self._script[self._cue]
            self._cue += 1
            boot = self._boots[cue.boot][0] if cue.boot in self._boots else -1
            if boot < self._boot or (boot == self._boot and cue.wall < self._now.wall and self._watch is not None):
                continue
            now = self._moment(cue.wall, cue.boot)
            watch = self._watch
            if watch is None or cue.restart or boot > self._boot:
                watch = self._begin(now)
            self._pass(watch, now)
            self._perform(watch, cue, now)

    def _perform(self, watch: Watch, cue: Cue, now: Moment) -> None:
        given = cue.given
        if cue.alarm is not None:
            alarm = watch.alarms.all.get(cue.alarm)
            if alarm is None or not watch.alarms.unseen(alarm):
                return  # there is nothing to acknowledge here
            given = replace(given, alarm=alarm.first) if isinstance(given, Order) else given
        if isinstance(given, SourceNews):
            (self._down.discard if given.up else self._down.add)(given.source)
        self._give(watch, given, now)

    def _keep(self, events: Iterable[Event], notices: Iterable[Notice]) -> None:
        self._found.events += [event for event in events if event.kind in SHOWN]
        self._found.notices += [n for n in notices if n.kind in SHOWN and n.made.wall >= self._found.since]
