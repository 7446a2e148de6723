"""Read from the file what there is to know of a warm spell, and write what was found and decided.

Only the rows of the spell are read, and the events that can make one. Table `finding`: `answer` is "cold", "warm" or
"unknown", with the hours above 4.4 °C behind it where they are known ("warm 3.5"); "done" with the freezer's id as
`rule` says that somebody has finished with a freezer, whatever is left undecided. A decision stands as long as its move
in the stock's history does, so that who undoes the move undoes the decision.
"""

# ruff: noqa: S608 -- only names and numbers of our own are put into the SQL; values are always bound

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from gatewayd.food.excursion import KINDS, excursions
from gatewayd.food.fate import Fate, Finding, Item
from gatewayd.food.seen import Seen, limit, look
from gatewayd.model.delivery import Progress
from gatewayd.model.event import Event, What
from gatewayd.model.excursion import Answer, Decision, Excursion, Ruling
from gatewayd.model.house import House
from gatewayd.model.moment import DAY, HOUR, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Reading
from gatewayd.model.stock import Box, Move, Package, Turn
from gatewayd.store import read, row, stock
from gatewayd.store.row import clean
from gatewayd.store.schema import KEY_MASK
from gatewayd.watch.facts import facts

BEFORE = (
    6 * HOUR
)  # from which the food's own temperature and a sensor's usual interval are told: some compressor cycles
FEW = 6  # distances between readings that tell no interval yet
DONE = "done"
_TURNS = {Decision.KEPT: Turn.KEPT, Decision.REFROZEN: Turn.KEPT, Decision.THROWN: Turn.THROWN}


@dataclass(frozen=True, slots=True)
class Message:
    """Hold one message of a spell: to whom, what, when (wall ms), and how far it came by each route."""

    event: int
    person: str
    stage: str
    title: str
    at: int
    ways: tuple[tuple[str, Progress, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Reply:
    """Hold that somebody answered an alarm of a spell (`subject`, `kind`), or ended it with a decision (`why`)."""

    event: int
    who: str
    at: int
    why: str
    subject: str
    kind: str
    what: What


# -- the spell -------------------------------------------------------------------------------------------------


def spells(conn: sqlite3.Connection, house: House) -> list[Excursion]:
    """Return the warm spells of a house, the oldest first."""
    found = conn.execute(
        "SELECT e.number, e.at, e.steady, b.name, e.subject, e.kind, e.what, e.occurrence, e.first, e.facts "
        f"FROM event e JOIN boot b ON b.id = e.boot WHERE e.kind IN ({', '.join('?' * len(KINDS))}) ORDER BY e.number",
        KINDS,
    )
    events = (
        Event(
            number, Moment(at, steady, boot), subject, kind, What(what), Priority.LOW, occurrence, first,
            facts=json.loads(facts),
        )
        for number, at, steady, boot, subject, kind, what, occurrence, first, facts in found
    )  # fmt: skip
    return excursions(events, {freezer.id: bool(freezer.sensors) for freezer in house.freezers.values()})


def numbered(those: Iterable[Excursion], number: int, freezer: str | None = None) -> list[Excursion]:
    """Return the spells that an event number belongs to: one, or one a freezer where the power failed for several."""
    return [each for each in those if number in (each.number, *each.events) and freezer in (None, each.freezer)]


def seen(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> Seen:
    """Return what was seen of a spell, up to `now` (wall ms) if it goes on."""
    freezer, end = house.freezers[spell.freezer], spell.ended or max(now, spell.began)
    before: dict[int, float] = {}
    every: dict[str, int | None] = {}
    for sensor in freezer.sensors:
        minutes = read.minutes(conn, sensor, spell.began - BEFORE, spell.began)
        for t, value in minutes:
            before[t] = max(value, before.get(t, value))
        stamps = [t for t, _ in minutes]
        apart = [after - t for t, after in pairwise(stamps)]
        told = house.sensors[sensor].reports_every if sensor in house.sensors else None
        usual = int(median(apart)) if len(apart) >= FEW else told
        every[sensor] = None if usual is None else max(usual, house.keep_every)
    longest = max(map(limit, every.values()), default=0)
    those = set(freezer.sensors)
    rows = [*read.readings(conn, spell.began - longest, end + longest + 1, those, late=False)] if those else []
    rows += _late(conn, those, spell.began, end)
    if freezer.others:
        rows += read.readings(conn, spell.began - DAY, end + 1, set(freezer.others), late=False)
    return look(rows, (spell.began, end), every, sorted(before.items()), facts(freezer, house))


def _late(conn: sqlite3.Connection, sensors: set[str], began: int, end: int) -> list[Reading]:
    """Return the readings without a stamp of their own that may have been measured in a span."""
    hows = row.hows(conn)
    found = []
    for key, of in row.series(conn).items():
        if of[0] in sensors:
            rows = conn.execute(
                "SELECT first, last, heard, value, how FROM late WHERE series = ? AND first <= ? AND last >= ?",
                (key, end, began),
            )
            for first, last, heard, value, packed in rows:
                found.append(row.late_reading(of, hows[packed & KEY_MASK], first, last, heard, value))
    return found


def messages(conn: sqlite3.Connection, spell: Excursion, now: int) -> tuple[list[Message], list[Reply]]:
    """Return what was told of a spell, and who answered; also of other alarms of its freezer in that time."""
    end = spell.ended or now
    asked = (json.dumps(spell.events), spell.freezer, spell.began, end)
    which = (
        "(SELECT value FROM json_each(?1) UNION SELECT number FROM event WHERE subject = ?2 AND at BETWEEN ?3 AND ?4)"
    )
    sent = conn.execute(
        f"SELECT id, event, person, stage, title, at FROM notice WHERE event IN {which} ORDER BY at, id", asked
    ).fetchall()
    told = []
    for key, event, person, stage, title, at in sent:
        ways = conn.execute("SELECT route, progress, changed FROM delivery WHERE notice = ? ORDER BY rank", (key,))
        told.append(Message(event, person, stage, title, at, tuple((r, Progress(p), t) for r, p, t in ways)))
    answers = conn.execute(
        f"SELECT number, who, at, why, subject, kind, what FROM event WHERE number IN {which} "
        "AND who <> '' AND what IN (?5, ?6) "
        "ORDER BY number",
        (*asked, What.ACKNOWLEDGED.value, What.RESET.value),
    )
    return told, [Reply(n, who, at, why, subject, kind, What(what)) for n, who, at, why, subject, kind, what in answers]


# -- its food --------------------------------------------------------------------------------------------------


def items(conn: sqlite3.Connection, spell: Excursion, now: int) -> list[Item]:
    """Return what lay in the freezer in the spell, as far as the stock's list says, by box and number.

    That is also what was taken elsewhere or used up since it began. A box of which nobody ever wrote down what is in
    it is one item; one that was made since and has nothing written in it is new, and was not there.
    """
    end = spell.ended or now
    names = {box.id: box for box in stock.boxes(conn)}
    if not names and not stock.packages(conn, gone=True):
        return []
    moved = [stock.move_of(each) for each in conn.execute(_SINCE, (spell.began, Turn.UNDONE.value))]
    inside = {box.id for box in names.values() if box.freezer == spell.freezer}
    came = set()  # boxes that came in when it was over
    fresh = set()  # boxes that were made since
    for move in moved:
        old, new = move.box_before, move.box_after
        if old is None and new is not None and (move.at >= end or not new.full):
            fresh.add(new.id)
        was, is_ = old is not None and old.freezer == spell.freezer, new is not None and new.freezer == spell.freezer
        if was and old is not None:
            inside.add(old.id)
            names.setdefault(old.id, old)
        elif is_ and new is not None and old is not None and move.at >= end:
            came.add(new.id)
    inside -= came
    found: dict[int, Package] = {}
    elsewhere = set()  # packages that came from another place when it was over
    for move in moved:
        if move.before is None or move.after is None:
            continue
        if move.before.box in inside:
            found.setdefault(move.before.id, move.before)
        elif move.after.box in inside and move.at >= end:
            elsewhere.add(move.before.id)
    known = stock.packages(conn, gone=True)
    for one in known:
        if one.id in found or (one.box in inside and one.id not in elsewhere):
            since = found.get(one.id, one).since
            late = since is not None and since >= end and (one.frozen is None or one.frozen >= end)
            if late or (one.gone is not None and one.gone < spell.began):
                found.pop(one.id, None)
            else:
                found[one.id] = one
    listed = {one.box for one in known}
    unlisted = [names[each] for each in sorted(inside - fresh) if each in names and each not in listed]
    whole = [Item(box) for box in unlisted if box.freezer == spell.freezer or box.id in inside]
    those = [Item(names.get(one.box) or Box(one.box, one.box), one) for one in found.values()]
    return sorted(those + whole, key=lambda i: (i.box.name, i.box.id, i.package.id if i.package else 0))


_SINCE = """SELECT id, at, who, turn, "set", box, package, before, after, why, undone FROM move
    WHERE at >= ? AND undone IS NULL AND turn <> ? ORDER BY id"""


def findings(conn: sqlite3.Connection, spell: Excursion) -> list[Finding]:
    """Return what was found and decided of a spell, the oldest first."""
    if not _known(conn):
        return []
    found = conn.execute(
        "SELECT f.box, f.package, f.at, f.who, f.answer, f.touched, f.decision, f.ruling, f.rule, f.kg, "
        f"f.decision IS NULL OR {_STANDS} FROM finding f "
        "WHERE f.excursion IN (SELECT value FROM json_each(?1)) AND (f.box IS NOT NULL OR f.package IS NOT NULL) "
        "ORDER BY f.id",
        (json.dumps([spell.number, *spell.events]),),
    )
    return [_finding(each) for each in found]


# Whether the move of a decision stands; two questions, for each has an index of its own or few rows
_STANDS = """CASE WHEN f.package IS NULL
    THEN EXISTS (SELECT 1 FROM move m WHERE m.box = f.box AND m.at = f.at AND m.undone IS NULL)
    ELSE EXISTS (SELECT 1 FROM move m WHERE m.package = f.package AND m.at = f.at AND m.undone IS NULL) END"""


def _finding(each: Sequence[object]) -> Finding:
    box, package, at, who, answer, touched, decision, ruling, rule, kg, stands = each
    word, _, hours = str(answer or "").partition(" ")
    return Finding(
        box,  # type: ignore[arg-type]
        package,  # type: ignore[arg-type]
        at,  # type: ignore[arg-type]
        str(who),
        Answer(word) if word else None,
        float(hours) if hours else None,
        None if touched is None else bool(touched),
        Decision(decision) if decision else None,
        Ruling(ruling) if ruling else None,
        str(rule or ""),
        kg,  # type: ignore[arg-type]
        decision is None or bool(stands),
    )


def done(conn: sqlite3.Connection, spell: Excursion) -> bool:
    """Return whether somebody said that a freezer is done with."""
    if not _known(conn):
        return False
    asked = (json.dumps([spell.number, *spell.events]), DONE, spell.freezer, spell.ended or 0)
    found = conn.execute(
        "SELECT 1 FROM finding WHERE excursion IN (SELECT value FROM json_each(?)) AND answer = ? AND rule = ? "
        "AND at >= ?",
        asked,
    )
    return found.fetchone() is not None


def _known(conn: sqlite3.Connection) -> bool:
    return conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'finding'").fetchone() is not None


# -- writing ---------------------------------------------------------------------------------------------------


def add(conn: sqlite3.Connection, number: int, finding: Finding) -> None:
    """Write what was found or decided, inside the caller's transaction; `number` is the spell's."""
    hours = "" if finding.hours is None else f" {finding.hours:g}"
    conn.execute(
        "INSERT INTO finding (excursion, box, package, answer, touched, decision, ruling, rule, kg, who, at) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            number, finding.box, finding.package, None if finding.answer is None else finding.answer.value + hours,
            finding.touched, finding.decision.value if finding.decision else None,
            finding.ruling.value if finding.ruling else None, finding.rule, finding.kg, clean(finding.who), finding.at,
        ),
    )  # fmt: skip


def finish(conn: sqlite3.Connection, spell: Excursion, who: str, now: int) -> None:
    """Write that somebody is done with a freezer, inside the caller's transaction."""
    conn.execute(
        "INSERT INTO finding (excursion, answer, rule, who, at) VALUES (?, ?, ?, ?, ?)",
        (spell.number, DONE, spell.freezer, clean(who), now),
    )


def decide(
    writing: stock.Pen, spell: Excursion, fate: Fate, decision: Decision, note: str, count: float | None = None
) -> Finding:
    """Write a decision on one item and let the stock follow, inside the caller's transaction; return what was written.

    `count` is how many of a package are thrown out, None: all of it. `note` is what is written on what is frozen again.
    """
    now, turn, why = writing.now, _TURNS[decision], f"{decision.value} after warm spell {spell.number}"
    package, box, kg = fate.item.package, fate.item.box, None
    if package is None:
        # a box that nobody listed: how much was in it is not known
        after = replace(box, full=0.0, looked=now) if decision is Decision.THROWN else replace(box, looked=now)
        writing.change_box(box, after, turn, why)
    elif decision is Decision.THROWN:
        part = count is not None and package.count is not None and count < package.count
        thrown = package if not part else replace(package, count=count)
        kg = thrown.weight
        rest = replace(package, gone=now) if not part else replace(package, count=(package.count or 0) - (count or 0))
        writing.change(package, rest, turn, why)
    else:
        words = "; ".join(part for part in (package.note, note) if part)
        refrozen = decision is Decision.REFROZEN and note not in package.note
        writing.change(package, replace(package, note=words) if refrozen else package, turn, why)
    made = Finding(
        box.id if package is None else None, None if package is None else package.id, now, writing.who,
        decision=decision, ruling=fate.verdict.ruling, rule=fate.verdict.rule, kg=kg,
    )  # fmt: skip
    add(writing.conn, spell.number, made)
    return made


class Changed(Exception):
    """What was decided on was changed since by another order, which is undone first; the text names what."""


def undo(conn: sqlite3.Connection, spell: Excursion, now: int, who: str) -> int:
    """Undo the last decision of a spell with its moves, inside the caller's transaction; return of how many items.

    0 if there is none that stands. Other food may have been changed since. Raise Changed where the same was.
    """
    numbers = json.dumps([spell.number, *spell.events])
    last = conn.execute(
        "SELECT max(at) FROM finding f WHERE decision IS NOT NULL AND excursion IN (SELECT value FROM json_each(?1)) "
        f"AND {_STANDS}",
        (numbers,),
    ).fetchone()[0]
    if last is None:
        return 0
    those = [stock.move_of(each) for each in conn.execute(_OF_DECISION, (numbers, last))]
    there = {box.id for box in stock.boxes(conn)}
    changed = []
    for move in those:
        one = move.after or move.box_after
        later = conn.execute(_LATER, (move.set, move.id, *_which(move))).fetchone()
        if one is not None and (later is not None or (move.before is not None and move.before.box not in there)):
            changed.append(f"{one.food} ({one.id})" if isinstance(one, Package) else one.name)
    if changed:
        raise Changed(", ".join(changed))
    writing = stock.pen(conn, now, who)
    for move in reversed(those):
        if move.before is not None and move.after is not None:
            writing.change(move.after, move.before, Turn.UNDONE)
        elif move.box_before is not None and move.box_after is not None:
            writing.change_box(move.box_after, move.box_before, Turn.UNDONE)
        conn.execute("UPDATE move SET undone = ? WHERE id = ?", (now, move.id))
    conn.execute(
        "DELETE FROM finding WHERE decision IS NOT NULL AND at = ? AND excursion IN (SELECT value FROM json_each(?))",
        (last, numbers),
    )
    return len(those)


def _which(move: Move) -> tuple[int | None, str | None]:
    """Return the package or else the box that a move is of."""
    one = move.after or move.before
    box = move.box_after or move.box_before
    return (one.id, None) if one is not None else (None, None if box is None else box.id)


_MOVE = 'm.id, m.at, m.who, m.turn, m."set", m.box, m.package, m.before, m.after, m.why, m.undone'
_OF_DECISION = f"""SELECT {_MOVE} FROM move m WHERE m.at = ?2 AND m.undone IS NULL AND EXISTS (SELECT 1 FROM finding f
    WHERE f.at = ?2 AND f.decision IS NOT NULL AND f.excursion IN (SELECT value FROM json_each(?1))
    AND (f.package = m.package OR (f.package IS NULL AND m.package IS NULL AND f.box = m.box))) ORDER BY m.id"""
_LATER = f"""SELECT 1 FROM move WHERE "set" <> ? AND id > ? AND undone IS NULL AND turn <> '{Turn.UNDONE.value}'
    AND (package = ? OR (package IS NULL AND box = ?))"""
