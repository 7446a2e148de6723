"""What the writer keeps in mind of the file: the small keys, and which stamps are taken.

It is rebuilt from the file when it opens and after anything failed, so it can never know more than the file does.
"""

import sqlite3

from gatewayd.model.moment import SECOND, Moment
from gatewayd.model.reading import Arrival, Quality, Reading
from gatewayd.store.row import pack_how, thousandths

LEAD_CHANGES = SECOND  # a slewed clock moves the lead by ms all the time; writing that would cost a page a commit

Row = tuple[int, int, int | None, int]  # series, t, value, how


class Book:
    """Find or make keys, and a free stamp for a row. Lives in the writer's thread, inside its transactions."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        """Read the keys, the log (an hour at most) and the newest stamp of each series."""
        self._conn = conn
        self._series: dict[tuple[str, str], int] = {
            (s, q): key for key, s, q in conn.execute("SELECT id, sensor, quantity FROM series")
        }
        self._boots: dict[str, tuple[int, int]] = {
            name: (key, lead) for key, name, lead in conn.execute("SELECT id, name, lead FROM boot")
        }
        found = conn.execute("SELECT id, boot, arrival, quality, offset FROM how")
        self._hows: dict[tuple[int, str, str, int], int] = {
            (boot, arrival, quality, offset): key for key, boot, arrival, quality, offset in found
        }
        logged = conn.execute("SELECT series, t, value, how FROM log WHERE series > 0")
        self._logged: dict[tuple[int, int], tuple[int | None, int]] = {(s, t): (v, h) for s, t, v, h in logged}
        self._newest = {key: self._newest_of(key) for key in self._series.values()}

    @property
    def logged(self) -> int:
        """Return how many readings lie in the log."""
        return len(self._logged)

    def moved(self) -> None:
        """Learn that the log was moved to `reading`, or that stamps there were shifted."""
        self._logged = {}
        self._newest = {key: self._newest_of(key) for key in self._series.values()}

    def _newest_of(self, key: int) -> int:
        newest = self._conn.execute("SELECT max(t) FROM reading WHERE series = ?", (key,)).fetchone()[0]
        return -1 if newest is None else int(newest)

    def series(self, sensor: str, quantity: str) -> int:
        """Return the key of a series, made if it is new."""
        key = self._series.get((sensor, quantity))
        if key is None:
            made = self._conn.execute("INSERT INTO series (sensor, quantity) VALUES (?, ?)", (sensor, quantity))
            key = self._series[sensor, quantity] = int(made.lastrowid or 0)
            self._newest[key] = -1
        return key

    def boot(self, moment: Moment) -> int:
        """Return the key of the moment's boot, made if it is new."""
        key, _ = self._boots.get(moment.boot, (0, 0))
        if not key:
            lead = moment.wall - moment.steady
            made = self._conn.execute("INSERT INTO boot (name, lead) VALUES (?, ?)", (moment.boot, lead))
            key = made.lastrowid or 0
            self._boots[moment.boot] = (key, lead)
        return key

    def look_at_clock(self, now: Moment) -> None:
        """Renew the lead of this boot if the clock was set."""
        key = self.boot(now)
        lead = now.wall - now.steady
        if abs(lead - self._boots[now.boot][1]) >= LEAD_CHANGES:
            self._conn.execute("UPDATE boot SET lead = ? WHERE id = ?", (lead, key))
            self._boots[now.boot] = (key, lead)

    def boot_of(self, name: str) -> int | None:
        """Return the key of a boot by its name, None if it never wrote anything."""
        return self._boots.get(name, (None, 0))[0]

    def how(self, moment: Moment, arrival: Arrival, quality: Quality, offset: int) -> int:
        """Return the key of a combination, made if it is new."""
        named = (self.boot(moment), arrival.value, quality.value, offset)
        key = self._hows.get(named)
        if key is None:
            made = self._conn.execute("INSERT INTO how (boot, arrival, quality, offset) VALUES (?, ?, ?, ?)", named)
            key = self._hows[named] = made.lastrowid or 0
        return key

    def place(self, reading: Reading) -> Row | None:
        """Return the row for a reading whose moment is known, None if it is stored already.

        A sensor's own stamp names the measurement: the same stamp again is the same reading, and the first one stays.
        Without one, two readings in the same ms are both kept, the second a ms later; equal ones are one.
        """
        key = self.series(reading.sensor, reading.quantity.value)
        of = self.how(reading.heard, reading.arrival, reading.quality, thousandths(reading.offset) or 0)
        stamp, value = reading.measured_to, thousandths(reading.value)
        own_stamp = stamp != reading.heard.wall
        how = pack_how(of, reading.heard.wall - stamp)
        while (there := self._at(key, stamp)) is not None:
            if own_stamp or there == (value, how):
                return None
            stamp += 1
        self._logged[key, stamp] = (value, how)
        return key, stamp, value, how

    def _at(self, key: int, stamp: int) -> tuple[int | None, int] | None:
        there = self._logged.get((key, stamp))
        if there is not None or stamp > self._newest[key]:
            return there
        found = self._conn.execute("SELECT value, how FROM reading WHERE series = ? AND t = ?", (key, stamp))
        row: tuple[int | None, int] | None = found.fetchone()
        return row
