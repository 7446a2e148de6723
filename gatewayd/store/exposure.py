"""What the file knows for the use-first list: what lies where since when, and how warm each freezer was.

A freezer's course is read from the quarters of an hour, which are kept for ever, the newest from the rows that the
hourly move has not taken in yet, and beside them the late rows. One reading of each serves all packages of a freezer.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence

from gatewayd.food.exposure import SLOT, SPREAD, Course, Probe, course, upper
from gatewayd.food.first import Kept, Stay
from gatewayd.model.excursion import Decision
from gatewayd.model.moment import DAY
from gatewayd.model.reading import Quality, Quantity
from gatewayd.model.stock import Package, Turn
from gatewayd.store import stock
from gatewayd.store.schema import KEY_MASK

# Before the oldest package a week is read too: its last reading bridges a silence at the beginning
EARLIER = 7 * DAY

# as `upper` of the pure part, by SQLite itself: two thirds of the time go there otherwise. Whole numbers are divided
# towards 0, which for a temperature below 0 is the warmer side
_QUARTER = f"""SELECT slot, min(high, total / n + 1 + CAST({SPREAD / 1000!r} * (high - low) * (high - low) AS INTEGER))
    FROM quarter WHERE series = ? AND slot >= ? ORDER BY slot"""
_LOG = """SELECT t / ?3, min(value), max(value), sum(value) / count(*) FROM log
    WHERE series = ?1 AND t >= ?2 * ?3 AND value IS NOT NULL {good} GROUP BY 1 ORDER BY 1"""
_LATE = """SELECT max(first / ?3, ?2), last / ?3, max(value) FROM late
    WHERE series = ?1 AND last >= ?2 * ?3 AND value IS NOT NULL {good} GROUP BY 1, 2"""


def courses(
    conn: sqlite3.Connection, sensors: Mapping[str, Sequence[str]], since: Mapping[str, int], now: int
) -> dict[str, Course]:
    """Return the course of every freezer in `since` from that wall stamp until `now`, by its warmest probe.

    `sensors` are the ids of each freezer's thermometers. A freezer that was never heard is left out.
    """
    known = conn.execute("SELECT sensor, id FROM series WHERE quantity = ?", (Quantity.TEMPERATURE.value,))
    series: dict[str, int] = dict(known.fetchall())
    good = _good(conn)
    found = {}
    for freezer, begin in since.items():
        keys = [series[sensor] for sensor in sensors.get(freezer, ()) if sensor in series]
        one = course((_probe(conn, key, (begin - EARLIER) // SLOT, good) for key in keys), now)
        if one is not None:
            found[freezer] = one
    return found


def _probe(conn: sqlite3.Connection, key: int, slot: int, good: str) -> Probe:
    """Return what one series told from `slot` on."""
    heard: list[tuple[int, int]] = conn.execute(_QUARTER, (key, slot)).fetchall()
    rows = conn.execute(_LOG.format(good=good), (key, slot, SLOT))
    newest = {at: upper(low, high, mean + 1) for at, low, high, mean in rows}
    while heard and newest and heard[-1][0] >= min(newest):  # a quarter that the move has taken in half
        at, warm = heard.pop()
        newest[at] = max(warm, newest.get(at, warm))
    heard += sorted(newest.items())
    late = conn.execute(_LATE.format(good=good), (key, slot, SLOT)).fetchall()
    return Probe(heard, late)


def _good(conn: sqlite3.Connection) -> str:
    """Return the condition that leaves bad values out."""
    bad = [row[0] for row in conn.execute("SELECT id FROM how WHERE quality <> ?", (Quality.GOOD.value,))]
    return f"AND how & {KEY_MASK} NOT IN ({', '.join(map(str, bad))})" if bad else ""


def begins(kept: Iterable[Kept]) -> dict[str, int]:
    """Return for every freezer in which any of the packages lay since when it matters (wall ms)."""
    found: dict[str, int] = {}
    for one in kept:
        for number, stay in enumerate(one.stays):
            known = (one.package.frozen, stay.since) if number == 0 else (stay.since,)
            since = min((at for at in known if at is not None), default=None)
            if stay.freezer and since is not None:
                found[stay.freezer] = min(since, found.get(stay.freezer, since))
    return found


def kept(conn: sqlite3.Connection) -> list[Kept]:
    """Return all packages there are, with where they lay since when and whether they were frozen again."""
    packages = stock.packages(conn)
    if not packages:
        return []
    names = {box.id: box.name for box in stock.boxes(conn)}
    past = _Past(conn)
    again = _refrozen(conn)
    found = []
    for one in packages:
        line = past.line(one)
        refrozen, fresh = any(map(again, line)), past.fresh(line[-1])
        found.append(Kept(one, past.stays(line), names.get(one.box, one.box), refrozen, fresh))
    return found


_Changes = dict[object, list[tuple[int, str, str]]]  # of a box or package: (wall ms, before, after), in order


class _Past:
    """Tell in which freezers packages lay, from the history of moves; what was undone never was."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self._conn = conn
        self._now: dict[str, str] = dict(conn.execute("SELECT id, freezer FROM box").fetchall())
        self._boxes = _changes(conn, "box", "freezer")
        self._packages = _changes(conn, "package", "box")
        rows = conn.execute(_FIRST, {"undone": Turn.UNDONE.value, "moved": Turn.MOVED.value}).fetchall()
        self._first: dict[int, tuple[int | None, int]] = {one: (since, fresh) for one, since, fresh, _ in rows}
        self._dated = {one for one, _, _, dated in rows if dated}
        split = conn.execute(_SPLIT, (Turn.MOVED.value, Turn.ADDED.value))
        self._split: dict[int, tuple[int, int]] = {part: (whole, at) for part, whole, at in split}

    def line(self, package: Package) -> list[Package]:
        """Return a package and, where it is a part that was moved, that of which it was a part, and so on."""
        found = [package]
        while found[-1].id in self._split:
            whole = stock.package(self._conn, self._split[found[-1].id][0])
            if whole is None or whole in found:
                break
            found.append(whole)
        return found

    def fresh(self, package: Package) -> bool:
        """Return whether it was fresh when it came in first, so that this is when it was frozen."""
        return package.fresh or bool(self._first.get(package.id, (None, 0))[1])

    def stays(self, line: Sequence[Package]) -> tuple[Stay, ...]:
        """Return the stays of a package and of what it was a part of, the oldest first."""
        found: list[Stay] = []
        for one in reversed(line):
            since = self._since(one)
            if one is not line[-1]:
                since = self._split[one.id][1]
                found = [stay for stay in found if stay.since is None or stay.since < since]
            found += self._stays(one, since)
        return tuple(found)

    def _since(self, package: Package) -> int | None:
        """Return since when it is known to have lain where it was first; None: since it was frozen."""
        if package.id in self._dated:
            return None
        known = (package.since, self._first.get(package.id, (None, 0))[0])
        return min((at for at in known if at is not None), default=None)

    def _stays(self, package: Package, since: int | None) -> list[Stay]:
        moved = self._packages.get(package.id, [])
        through = {package.box, *(box for _, old, new in moved for box in (old, new))}
        begin = since if since is not None else package.frozen or 0
        times = {at for at, _, _ in moved} | {at for box in through for at, _, _ in self._boxes.get(box, [])}
        found = [Stay(self._freezer(package, moved, begin), since)]
        for at in sorted(time for time in times if time > begin):
            freezer = self._freezer(package, moved, at)
            if freezer != found[-1].freezer:
                found.append(Stay(freezer, at))
        return found

    def _freezer(self, package: Package, moved: Sequence[tuple[int, str, str]], at: int) -> str:
        box = _at(moved, at, package.box)
        return _at(self._boxes.get(box, []), at, self._now.get(box, ""))


def _at(changes: Sequence[tuple[int, str, str]], at: int, now: str) -> str:
    """Return what held at a wall stamp: the change before it says, else what the next one found, else what is now."""
    found = changes[0][1] if changes else now
    for when, _, after in changes:
        if when <= at:
            found = after
    return found


# When a package came in first, and whether it was fresh then: it may have been written anew at a move. The last column
# says that it was only dated, with no stamp of its coming, when its first move to another freezer gave it one.
_FIRST = """SELECT package, min(json_extract(before, '$.since')), max(coalesce(json_extract(before, '$.fresh'), 0)),
    min(iif(turn = :moved AND json_extract(before, '$.since') IS NULL AND json_extract(after, '$.since') IS NOT NULL,
        id, NULL)) < min(iif(json_extract(before, '$.since') IS NOT NULL, id, 9e18))
    FROM move WHERE undone IS NULL AND turn <> :undone AND package IS NOT NULL AND before IS NOT NULL
    GROUP BY package"""
# A part of a package that was moved is a new one, of the same order and the same food; of the whole fewer are left.
# CROSS keeps SQLite from beginning with the parts, which are many.
_SPLIT = """SELECT part.package, whole.package, part.at FROM move whole CROSS JOIN move part ON part."set" = whole."set"
    WHERE whole.turn = ? AND whole.package IS NOT NULL AND whole.undone IS NULL
    AND json_extract(whole.after, '$.count') < json_extract(whole.before, '$.count')
    AND part.turn = ? AND part.package IS NOT NULL
    AND json_extract(part.after, '$.food') = json_extract(whole.before, '$.food')"""


def _changes(conn: sqlite3.Connection, of: str, field: str) -> _Changes:
    """Return how a field of each box or package changed, of those where it did."""
    rows = conn.execute(
        f"SELECT {of}, at, coalesce(json_extract(before, '$.{field}'), '') AS old, "
        f"coalesce(json_extract(after, '$.{field}'), '') AS new FROM move WHERE undone IS NULL AND turn <> ? "
        f"AND {of} IS NOT NULL AND before IS NOT NULL AND after IS NOT NULL AND old <> new ORDER BY id",
        (Turn.UNDONE.value,),
    )
    found: _Changes = {}
    for one, at, old, new in rows:
        found.setdefault(one, []).append((at, old, new))
    return found


def _refrozen(conn: sqlite3.Connection) -> Callable[[Package], bool]:
    """Return what tells whether a package was frozen again after a warm spell; a box's finding holds for all in it.

    Of each spell the newest decision counts, and one on the package itself before one on its box. Who undoes a
    decision's move in the stock's history undoes the decision.
    """
    undone = set(conn.execute("SELECT at, coalesce(package, box) FROM move WHERE undone IS NOT NULL"))
    own: dict[int, dict[int, str]] = {}
    boxes: dict[str, dict[int, tuple[int, str]]] = {}
    for excursion, box, package, decision, at in conn.execute(
        "SELECT excursion, box, package, decision, at FROM finding WHERE decision IS NOT NULL ORDER BY id"
    ):
        if (at, box if package is None else package) in undone:
            continue
        if package is not None:
            own.setdefault(package, {})[excursion] = decision
        elif box is not None:
            boxes.setdefault(box, {})[excursion] = (at, decision)
    again = Decision.REFROZEN.value

    def told(package: Package) -> bool:
        decisions = own.get(package.id, {})
        if again in decisions.values():
            return True
        since = package.since if package.since is not None else package.frozen
        return any(
            decision == again and excursion not in decisions and (since is None or since <= at)
            for excursion, (at, decision) in boxes.get(package.box, {}).items()
        )

    return told
