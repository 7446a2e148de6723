"""Take down what people find and decide after a warm spell, and let stock and alarms follow.

The answer comes after the commit. When all of a freezer's food is decided on, or somebody says that it is done, the
alarm that waited for the food to be checked ends by the same order as with `gatewayd checked`: in one place, here.
"""

import sqlite3
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import replace
from math import isfinite

from gatewayd.alarm.kinds import HIGH, HIGHHIGH
from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.food import said
from gatewayd.food.fate import SENSOR, Fate, Finding
from gatewayd.message.words import name
from gatewayd.model.excursion import Answer, Decision, Excursion, Ruling
from gatewayd.model.given import Order
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, Moment, from_wall
from gatewayd.model.units import show_span
from gatewayd.store import carried, excursion, stock
from gatewayd.store.spell import chart_says, decided_on
from gatewayd.store.trouble import StoreTrouble

DECISIONS = {"keep": Decision.KEPT, "refreeze": Decision.REFROZEN, "throw": Decision.THROWN}
_HARSH = (Ruling.DISCARD, Ruling.NOT_JUDGED)  # to keep such food takes a second word
LONGEST = 10_000.0  # hours, and packages of one row: far beyond what a household means


class Refused(Exception):
    """What was asked cannot be done; the text says why, and what to do. Nothing was changed."""


class Inquest:
    """Answer the door's `excursion` requests.

    A request has `number` (any event of the spell), `do` (answer, decide, done, undo), and perhaps `freezer`,
    `packages` (numbers), `boxes` (ids) or `all`; `answer` (cold, warm, unknown), `hours`, `touched`; `decision` (keep,
    refreeze, throw, chart), `count`, `anyway`; `why`; `key`, which makes a repeat harmless.
    """

    def __init__(self, gateway: Gateway, clock: Clock, changed: Callable[[], Awaitable[None]] | None = None) -> None:
        """Take the gateway, the clock, and what is to be done when the stock has changed."""
        self._gateway = gateway
        self._clock = clock
        self._changed = changed

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Carry out one request of `who`."""
        now, key = self._clock.now(), str(request.get("key", ""))[:80]
        try:
            told, _ = await self._gateway.store.carry_out(
                lambda conn: _carry_out(conn, self._gateway.watch.house, request, who, now.wall), now, key
            )
            if request.get("do") in ("decide", "undo") and self._changed is not None:
                await self._changed()
            more = await self._release(request, who, key) if request.get("do") in ("decide", "done") else []
        except Refused as why:
            yield {"done": False, "error": str(why)}
        except StoreTrouble as trouble:
            yield {"done": False, "error": f"{trouble} Nothing was changed."}
        else:
            yield {"done": True, "text": "\n".join([told, *more])}

    async def _release(self, request: Plain, who: str, key: str) -> list[str]:
        """End the alarms of the freezers that are done with, and return what there is to say of them."""
        house, now = self._gateway.watch.house, self._clock.now()
        found = await self._gateway.store.ask(lambda conn: _standing(conn, house, request, now))
        lines = []
        for spell, those, done in found:
            if not done and any(fate.open for fate in those):
                continue
            why = _summary(those, str(request.get("why", "")))
            alarms = [self._gateway.watch.alarms.all.get((spell.freezer, kind.name)) for kind in (HIGHHIGH, HIGH)]
            if any(alarm is not None and alarm.standing for alarm in alarms):
                lines.append(
                    f"{name(spell.freezer, house)} is still too warm. When it is cold again look once more. Then say: "
                    f"gatewayd excursion done {spell.number} --freezer {spell.freezer}"
                )
            elif any(alarm is not None and alarm.latched for alarm in alarms):
                own = f"{key}-{spell.freezer}"[:80] if key else ""
                order = Order("food checked", who=who, why=why, key=own, subject=spell.freezer)
                lines.append((await self._gateway.order(order)).text)
        return lines


# -- in the writer's thread ------------------------------------------------------------------------------------


def _standing(
    conn: sqlite3.Connection, house: House, request: Plain, now: Moment
) -> list[tuple[Excursion, list[Fate], bool]]:
    return [
        (spell, looked(conn, house, spell, now.wall), excursion.done(conn, spell))
        for spell in _spells(conn, house, request)
    ]


def looked(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> list[Fate]:
    """Return the fate of all that lay in the freezer in a spell, as of `now` (wall ms)."""
    return carried.story(conn, house, spell, now)[1]


def _spells(conn: sqlite3.Connection, house: House, request: Plain) -> list[Excursion]:
    number, freezer = request.get("number"), request.get("freezer") or None
    if not isinstance(number, int):
        raise Refused(f"{number!r} is not the number of a warm spell. See them with: gatewayd excursion list")
    if freezer is not None and freezer not in house.freezers:
        raise Refused(f"There is no freezer {freezer!r}; there are: {', '.join(house.freezers) or 'none'}.")
    found = excursion.numbered(excursion.spells(conn, house), number, freezer)
    if not found:
        raise Refused(f"There is no warm spell {number}. See them with: gatewayd excursion list")
    return found


def _carry_out(conn: sqlite3.Connection, house: House, request: Plain, who: str, now: int) -> str:
    spells = _spells(conn, house, request)
    match request.get("do"):
        case "answer":
            return _answer(conn, house, spells, request, who, now)
        case "decide":
            return _decide(conn, house, spells, request, who, now)
        case "done":
            for spell in spells:
                excursion.finish(conn, spell, who, now)
            names = ", ".join(name(spell.freezer, house) for spell in spells)
            return f"{names}: done. What was not decided on stays not judged: when in doubt, throw it out."
        case "undo":
            return _undo(conn, spells, who, now)
        case other:
            raise Refused(f"Nobody here knows how to {other!r}; there are: answer, decide, done, undo.")


def _chosen(fate: Fate, request: Plain) -> bool:
    if request.get("all"):
        return True
    package = fate.item.package
    return (package is not None and package.id in request.get("packages", ())) or (
        fate.item.box.id in request.get("boxes", ())
    )


def _choose(conn: sqlite3.Connection, house: House, spell: Excursion, request: Plain, now: int) -> list[Fate]:
    return [fate for fate in looked(conn, house, spell, now) if _chosen(fate, request)]


def _once(
    conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], request: Plain, now: int
) -> list[tuple[Excursion, Fate]]:
    """Return what was chosen, each once: what was carried from one freezer to another is in the spells of both."""
    found: dict[int | str, tuple[Excursion, Fate]] = {}
    for spell in spells:
        for fate in _choose(conn, house, spell, request, now):
            package = fate.item.package
            # under the number that was asked for, which all of these spells have in common
            own = replace(spell, number=int(request["number"]))
            found.setdefault(fate.item.box.id if package is None else package.id, (own, fate))
    return list(found.values())


def _named(request: Plain, those: Sequence[Fate]) -> None:
    """Refuse a package or box that is not there; all of what was asked is done, or nothing."""
    packages = {fate.item.package.id for fate in those if fate.item.package is not None}
    boxes = {fate.item.box.id for fate in those}
    strange = [f"package {each}" for each in request.get("packages", ()) if each not in packages]
    strange += [f"box {each}" for each in request.get("boxes", ()) if each not in boxes]
    show = f"See what was in it with: gatewayd excursion show {request.get('number')}"
    if strange:
        raise Refused(f"Not in this warm spell: {', '.join(strange)}. Nothing was changed. {show}")
    if not those:
        raise Refused(f"Say which packages or boxes, or all. {show}")


def _answer(
    conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], request: Plain, who: str, now: int
) -> str:
    """Write what somebody found: of single packages, and of whole boxes."""
    words = {answer.value: answer for answer in Answer}
    word, touched = request.get("answer"), request.get("touched")
    answer, hours = words.get(str(word)), _number(request, "hours")
    if word is not None and answer is None:
        raise Refused(f"{word!r} is no answer; there are: {', '.join(words)}.")
    if answer is None and not isinstance(touched, bool):
        raise Refused("Say what was found: cold, warm or unknown; or whether raw meat juice touched it.")
    if hours is not None and answer is not Answer.WARM:
        raise Refused("Hours above 40 °F (4.4 °C) go with the answer warm only.")
    chosen = _once(conn, house, spells, request, now)
    _named(request, [fate for _, fate in chosen])
    flag = touched if isinstance(touched, bool) else None
    raised = 0.0
    for spell, fate in chosen:
        package, box = fate.item.package, fate.item.box.id
        whole, one = (box, None) if package is None else (None, package.id)
        # nobody can know of fewer hours than were measured
        long = hours if hours is None else max(hours, fate.measured)
        raised = max(raised, long or 0.0) if long != hours else raised
        found = Finding(whole, one, now, who, answer=answer, hours=long, touched=flag)
        excursion.add(conn, spell.number, found)
    told = chart_says([fate for _, fate in _once(conn, house, spells, request, now)])
    more = ""
    if raised and hours is not None:
        measured, named = (show_span(round(each * HOUR)) for each in (raised, hours))
        more = f" The sensor measured {measured} above 4.4 °C (40 °F), which counts here instead of {named}."
    return f"Written down. The published chart says: {told}.{more}"


def _number(request: Plain, what: str) -> float | None:
    value = request.get(what)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise Refused(f"{what}: {value!r} is no number.")
    if not 0 <= value <= LONGEST:
        raise Refused(f"{what}: {value:g} is not possible; it must be 0 or more.")
    return float(value)


def _decide(
    conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], request: Plain, who: str, now: int
) -> str:
    """Write decisions: all that were asked for, or none."""
    asked, count = str(request.get("decision")), _number(request, "count")
    if asked != "chart" and asked not in DECISIONS:
        raise Refused(f"{asked!r} is no decision; there are: {', '.join(DECISIONS)}, chart.")
    chosen = _once(conn, house, spells, request, now)
    _named(request, [fate for _, fate in chosen])
    if not request.get("packages"):
        chosen = [(spell, fate) for spell, fate in chosen if not fate.gone and (fate.open or asked != "chart")]
    elif gone := [fate for _, fate in chosen if fate.gone]:
        raise Refused(f"Used up or thrown out already: {_list(gone)}. Nothing was changed.")
    if count is not None and (len(chosen) != 1 or asked != "throw" or count <= 0):
        raise Refused("How many is said when a part of one package is thrown out. Nothing was changed.")
    if count is not None:
        _fits(count, chosen[0][1])
    decided = [(spell, fate, _decision(asked, fate)) for spell, fate in chosen]
    if asked != "chart" and not request.get("anyway"):
        _against(asked, [fate for _, fate, _ in decided])
    writing = stock.pen(conn, now, who)
    note = f"frozen again {from_wall(now).astimezone(house.zone):%d %b %Y}, use first"
    done: dict[Decision, list[Fate]] = {}
    kg = 0.0
    for spell, fate, decision in decided:
        if decision is not None:
            made = excursion.decide(writing, spell, fate, decision, note, count)
            done.setdefault(decision, []).append(fate)
            kg += made.kg or 0.0
    left = sum(decision is None for _, _, decision in decided)
    lost = said.weight(kg, house.units) if kg else ""
    told = " ".join(
        decided_on(decision, those, lost if decision is Decision.THROWN else "", count)
        for decision, those in done.items()
    )
    rest = (
        f" Left to decide: {left}, not judged, or to be looked at for mould, slime or a smell of yeast." if left else ""
    )
    return f"{told or 'Nothing was decided.'}{rest}{_unsaid(asked, chosen)}"


def _fits(count: float, fate: Fate) -> None:
    """Refuse to throw out more than there is, or a part of nobody knows how many."""
    there = None if fate.item.package is None else fate.item.package.count
    if there is None:
        raise Refused(
            f"The list does not say how many there are of {_list([fate])}: throw it all out, or count it first. "
            "Nothing was changed."
        )
    if count > there:
        raise Refused(
            f"No more than {said.number(there)} of {_list([fate])} is there, not {said.number(count)}. "
            "Nothing was changed."
        )


def _unsaid(asked: str, chosen: Sequence[tuple[Excursion, Fate]]) -> str:
    """Return what is to be said of packages that the chart would keep, had somebody looked for raw juice."""
    many = sum(fate.unsaid for _, fate in chosen)
    if asked != "chart" or not many:
        return ""
    return (
        f" Not judged for want of a word: {many}. It was above 0 °C (32 °F), or nobody knows. Did juice of "
        "raw meat or poultry drip on it? Say --touched or --not-touched."
    )


def _decision(asked: str, fate: Fate) -> Decision | None:
    """Return the decision that is asked for; the chart's own leaves open what is not judged.

    What the sensor answers for was never warm and is kept as it is; what thawed in part is frozen again, for first use.
    """
    if asked != "chart":
        return DECISIONS[asked]
    if fate.unsaid:
        return None
    match fate.verdict.ruling:
        case Ruling.DISCARD:
            return Decision.THROWN
        case Ruling.REFREEZE:
            return Decision.KEPT if fate.by == SENSOR else Decision.REFROZEN
        case _:
            return None


def _against(asked: str, those: Sequence[Fate]) -> None:
    harsh = [fate for fate in those if fate.verdict.ruling in _HARSH]
    if asked != "throw" and harsh:
        raise Refused(
            f"The published chart does not let you keep: {_list(harsh)}. Look and answer first, or throw it out. "
            "To keep it all the same say --anyway. Nothing was changed."
        )


def _list(those: Sequence[Fate], most: int = 8) -> str:
    words = [
        f"{fate.item.food} ({fate.item.package.id if fate.item.package else fate.item.box.name})" for fate in those
    ]
    return ", ".join(words[:most]) + (f" and {len(words) - most} more" if len(words) > most else "")


def _undo(conn: sqlite3.Connection, spells: Sequence[Excursion], who: str, now: int) -> str:
    try:
        undone = excursion.undo(conn, replace(spells[0], events=_events(spells)), now, who)
    except excursion.Changed as what:
        raise Refused(
            f"Changed since by another order: {what}. Undo that first, or put it right by hand. Undo it with: gatewayd "
            "stock undo. Nothing was changed."
        ) from what
    if not undone:
        raise Refused("There is no decision to undo. Nothing was changed.")
    things = "1 row of the list" if undone == 1 else f"{undone} rows of the list"
    return f"Undone: the last decision, on {things}. An alarm that it ended stays ended."


def _events(spells: Sequence[Excursion]) -> tuple[int, ...]:
    return tuple(sorted({number for spell in spells for number in (spell.number, *spell.events)}))


def _summary(those: Sequence[Fate], why: str) -> str:
    """Say for the log what became of the food; "nothing on the list" only where nothing was."""
    counts = Counter(fate.decision.value for fate in those if fate.decision is not None)
    told = [f"{many} {what}" for what, many in counts.items()]
    if left := sum(fate.open for fate in those):
        told = [*(told or ["looked at"]), f"{left} not decided"]
    if not told and not why:
        return "looked at, all of it was gone" if those else "looked at, nothing on the list"
    return "; ".join(part for part in (", ".join(told), why) if part)
