"""Say what a warm spell was, and what becomes of the food: as plain values, and in words, for commands and pages."""

import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from gatewayd.food import said
from gatewayd.food.fate import Fate
from gatewayd.food.seen import Seen
from gatewayd.message.words import called, capital, level, name, person
from gatewayd.message.words import listed as listed_words
from gatewayd.model.event import What
from gatewayd.model.excursion import Decision, Excursion, Ruling
from gatewayd.model.house import House
from gatewayd.model.moment import HOUR, from_wall, iso
from gatewayd.model.units import show_span
from gatewayd.store import carried, comma, excursion

Plain = dict[str, Any]

WHY = {
    "high": "too warm",
    "highhigh": "much too warm",
    "mains-out": "no power",
    "dark": "gatewayd itself was off",
    "unwatched": "not heard",
}
ABOVE = ("-12", "-6.7", "0", "4.4")  # °C; the levels that are shown: good keeping, 20 °F, ice melts, 40 °F
FIRST = (
    "Your local food-safety authority and the food's maker (what its package says) come first; this is the published "
    "chart and no more."
)
DRIP = "if no juice of raw meat or poultry dripped on it: somebody must say so"
DOUBT = "not judged: when in doubt, throw it out"
COLD = "Its warmest sensor stayed at or below 4.4 °C (40 °F) all the time, without a gap: the chart's cold column."
LOOK = (
    "Air that was warm throws nothing out by itself. Look at each box or package: are there ice crystals, or is it as "
    "cold as a refrigerator, 4.4 °C (40 °F) or below? Or was it above that for more than 2 hours?"
)
GOES_ON = (
    "It goes on: keep it shut and mend the cooling first. Look at the food when it is cold again, or when you take it "
    "out."
)
NAMED = 5  # foods that are named in a sentence; more are not read to the end (our choice)
ESTIMATE = "an estimate from the air, which may be off by some degrees; it decides nothing"


def brief(house: House, spell: Excursion, seen: Seen, those: Sequence[Fate], now: int) -> Plain:
    """Return the line of a list."""
    return {
        "number": spell.number,
        "freezer": spell.freezer,
        "name": name(spell.freezer, house),
        "began": iso(spell.began, house.zone),
        "ended": None if spell.ended is None else iso(spell.ended, house.zone),
        "lasted_h": round(((spell.ended or now) - spell.began) / HOUR, 2),
        "why": list(spell.why),
        "dark": spell.dark,
        "peak_c": seen.curve.peak,
        "packages": len(listed(those)),
        "to_decide": sum(fate.open for fate in those),
    }


def whole(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> Plain:
    """Return all that is known of a spell."""
    seen, those = carried.story(conn, house, spell, now)
    curve = seen.curve
    told, replies = excursion.messages(conn, spell, now)
    zone = house.zone
    return brief(house, spell, seen, those, now) | {
        "peak_at": None if curve.peak_at is None else iso(curve.peak_at, zone),
        "hours_above": {key: round(hours, 3) for key, hours in curve.above.items()},
        "hours_above_at_most": {key: round(hours, 3) for key, hours in curve.at_most.items()},
        "not_heard_h": round(curve.gaps, 3),
        "core_estimate_c": None if curve.core is None else round(curve.core, 2),
        "curve": [[iso(t, zone), value] for t, value in curve.points],
        "lid_open": [[iso(begin, zone), iso(end, zone)] for begin, end in curve.openings],
        "messages": [
            {
                "event": one.event, "person": one.person, "stage": one.stage, "title": one.title,
                "at": iso(one.at, zone),
                "ways": [[route, progress.value, iso(at, zone)] for route, progress, at in one.ways],
            }
            for one in told
        ],
        "answers": [{"event": r.event, "who": r.who, "at": iso(r.at, zone), "why": r.why} for r in replies],
        "done": excursion.done(conn, spell),
        "food": [fate_of(fate, house) for fate in listed(those)],
        "first": FIRST,
    }  # fmt: skip


def listed(those: Sequence[Fate]) -> list[Fate]:
    """Return the fates without what was used up, and so is neither judged nor lost."""
    return [fate for fate in those if not fate.gone or fate.decision is not None or fate.thrown or fate.unweighed]


def fate_of(fate: Fate, house: House) -> Plain:
    """Return one package, or one box that nobody listed."""
    package, verdict = fate.item.package, fate.verdict
    return {
        "package": None if package is None else package.id,
        "box": fate.item.box.id,
        "box_name": fate.item.box.name,
        "food": fate.item.food,
        "words": said.package(package, house.zone, house.units)
        if package is not None
        else "nobody listed what is in it",
        "kg": None if package is None else package.weight,
        "answer": fate.answer.value,
        "answered_by": fate.by,
        "hours_above_4.4": fate.hours,
        "touched": fate.touched,
        "look_again": fate.again,
        "raw_juice_open": fate.unsaid,
        "ruling": verdict.ruling.value,
        "rule": verdict.rule,
        "source": verdict.source,
        "cautions": list(fate.cautions),
        "copies_differ": verdict.strict,
        "decision": None if fate.decision is None else fate.decision.value,
        "decided_by": fate.decided_by,
        "decided_at": None if fate.decided_at is None else iso(fate.decided_at, house.zone),
        "gone": fate.gone,
        "also_in": [{"number": number, "freezer": freezer} for number, freezer in fate.also],
    }


def lost(conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], now: int) -> list[Plain]:
    """Return what was thrown out, for an insurer: the weights are those of the list."""
    found: list[Plain] = []
    once: set[int | str] = set()  # what was carried from one freezer to another is in the spells of both
    for spell in spells:
        for fate in carried.story(conn, house, spell, now)[1]:
            package = fate.item.package
            key = fate.item.box.id if package is None else package.id
            if key in once or (not fate.thrown and not fate.unweighed):
                continue
            once.add(key)
            kg = round(fate.thrown, 3) if not fate.unweighed else None
            found.append(
                {
                    "freezer": name(spell.freezer, house),
                    "box": fate.item.box.name,
                    "food": fate.item.food,
                    "package": None if package is None else package.id,
                    "kg": kg,
                    "frozen": None if package is None or package.frozen is None
                    else said.day(package.frozen, house.zone, about=package.about),
                    "thrown_out": None if fate.decided_at is None else iso(fate.decided_at, house.zone),
                    "by": fate.decided_by,
                    "why": why_out(fate),
                    "source": fate.verdict.source,
                }
            )  # fmt: skip
    return found


# -- words -----------------------------------------------------------------------------------------------------


def when(spell: Excursion, house: House, now: int) -> str:
    """Say when it was and for how long."""
    begin = f"{from_wall(spell.began).astimezone(house.zone):%a %d %b %Y %H:%M}"
    lasted = show_span((spell.ended or now) - spell.began)
    if spell.ended is None:
        return f"{begin}, for {lasted}, and it goes on"
    return f"{begin} to {from_wall(spell.ended).astimezone(house.zone):%a %d %b %H:%M}, {lasted}"


def why(spell: Excursion) -> str:
    """Say what it was."""
    return ", ".join(WHY.get(kind, called(kind)) for kind in spell.why)


def state(those: Sequence[Fate], *, done: bool) -> str:
    """Say how far its food is decided on; what was used up or thrown out by the list asks nobody any more."""
    left = sum(fate.open for fate in those)
    if not those:
        return "no list of its food" + (", done" if done else "")
    if not left:
        return "all decided"
    return f"{left} of {len(listed(those))} to decide" + (", said to be done" if done else "")


def peaks(seen: Seen, house: House) -> Iterator[str]:
    """Say how warm it became: the air, the food (an estimate), and for how long nothing was heard."""
    curve, units = seen.curve, house.units
    if curve.peak is not None and curve.peak_at is not None:
        heard = ", as far as it was heard" if curve.gaps else ""
        yield f"Warmest air at its warmest sensor: {units.show(curve.peak)}, {hour(curve.peak_at, house)}{heard}"
    if curve.core is not None:
        yield f"Warmest food: about {units.show(curve.core)} ({ESTIMATE})"
    elif seen.blind:
        yield "Warmest food: not known, for too long nothing was heard."
    if curve.gaps:
        yield f"Not heard for {show_span(round(curve.gaps * HOUR))} of it; that counts as warm in the last column."


def hour(wall: int, house: House) -> str:
    """Write the day of the week and the time of a wall stamp (ms)."""
    return f"{from_wall(wall).astimezone(house.zone):%a %H:%M}"


def levels(seen: Seen, house: House) -> list[tuple[str, str, str]]:
    """Return the levels with how long the air was surely, and at most, above each."""
    curve = seen.curve

    def long(hours: float) -> str:
        return show_span(round(hours * HOUR))

    return [(level(float(key), house), long(curve.above[key]), long(curve.at_most[key])) for key in ABOVE]


def opened(seen: Seen) -> str:
    """Say how often and how long a lid was open, empty where no contact says so."""
    if not seen.curve.openings:
        return ""
    total = sum(end - begin for begin, end in seen.curve.openings)
    many = len(seen.curve.openings)
    return f"Lid open: {'once' if many == 1 else f'{many} times'}, {show_span(total)} in all"


def told(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> list[tuple[int, str]]:
    """Return when (wall ms) who was told what by which way and how far it came, and who answered."""
    sent, replies = excursion.messages(conn, spell, now)
    found = []
    for one in sent:
        ways = ", ".join(f"{route}: {progress.value}" for route, progress, _ in one.ways)
        found.append((one.at, f"told {person(one.person, house)}: {one.title} ({ways or 'not sent'})"))
    for reply in replies:
        because = f": {reply.why}" if reply.why else ""
        turn = "ended" if reply.what is What.RESET else "answered"
        found.append((reply.at, f"{turn} by {person(reply.who, house)} ({_of(reply, spell, house)}){because}"))
    return sorted(found, key=lambda line: line[0])


def _of(reply: excursion.Reply, spell: Excursion, house: House) -> str:
    """Say which alarm was answered; whose, where it is not the freezer's own."""
    whose = "" if reply.subject == spell.freezer else f"{name(reply.subject, house)}, "
    return f"{whose}{called(reply.kind)}"


def ruling(fate: Fate) -> str:
    """Return what the chart says of an item, and that it is not judged where somebody must look or say first."""
    if fate.verdict.ruling is Ruling.NOT_JUDGED:
        return DOUBT
    return f"not judged ({fate.verdict.ruling.value}, {DRIP})" if fate.unsaid else fate.verdict.ruling.value


def words(fate: Fate, house: House) -> str:
    """Return what an item is: the package as its list has it."""
    package = fate.item.package
    return "all that is in it" if package is None else said.package(package, house.zone, house.units)


def reasons(fate: Fate, house: House) -> Iterator[str]:
    """Say why the chart says so, which copies of it differ, and what else counts."""
    if fate.verdict.ruling is not Ruling.NOT_JUDGED:
        yield fate.verdict.rule
    if fate.verdict.strict:
        yield fate.verdict.strict
    for other, freezer in fate.also:
        yield f"It was in the warm spell {other} of {name(freezer, house)} too, which counts with this one."
    if fate.again:
        yield "Somebody looked, but it was warm or unseen for more than 2 hours since. Look again."


def why_out(fate: Fate) -> str:
    """Say why an item was thrown out: by the chart's rule as it stood then, or because the household did not want it.

    What the chart would have kept was thrown out by the household alone.
    """
    if fate.ruled is Ruling.NOT_JUDGED or (fate.drip and fate.ruled in (Ruling.REFREEZE, Ruling.IF_SOUND)):
        return "Thrown out without a verdict of the chart, for nobody could tell: when in doubt, throw it out."
    if fate.ruled is Ruling.REFREEZE:
        return "Thrown out by the household; by the chart it could have been kept."
    if fate.ruled is Ruling.IF_SOUND:
        return "Thrown out by the household; by the chart it could have been kept as long as it was sound."
    return fate.rule or fate.verdict.rule


def became(fate: Fate, house: House) -> str:
    """Say what was decided on an item, or that it is not there any more; empty where it is to be decided."""
    if fate.decision is not None:
        return f"Decided by {person(fate.decided_by, house)}: {fate.decision.value}"
    return "Used up, not there any more." if fate.gone else ""


def chart_says(those: Sequence[Fate]) -> str:
    """Say what the chart says of some items, the foods by name: "throw out trout; keep bread"."""
    groups: dict[tuple[Ruling, bool], list[Fate]] = {}
    for fate in those:
        groups.setdefault((fate.verdict.ruling, fate.unsaid), []).append(fate)
    return "; ".join(_rule(*which, named(some)) for which, some in groups.items()) or "nothing"


def _rule(ruling: Ruling, unsaid: bool, foods: str) -> str:  # noqa: FBT001 - a part of the key above
    if ruling is Ruling.NOT_JUDGED:
        return f"not judged: {foods}"
    if unsaid:
        return f"keep {foods}, if no juice of raw meat or poultry dripped on it"
    return f"keep {foods}, as long as it is sound" if ruling is Ruling.IF_SOUND else f"{ruling.value} {foods}"


def decided_on(decision: Decision, those: Sequence[Fate], weight: str = "", count: float | None = None) -> str:
    """Say what was decided on which food: "Thrown out: 2 bags of trout and venison (4 kg)."

    `count` where it was a part of one package. Rows that are too many to name, or the same, are counted.
    """
    part = f"{said.number(count)} of " if count is not None else ""
    rows = list(dict.fromkeys(_row(fate) for fate in those))
    plain = len(rows) == len(those) <= NAMED
    foods = f"{part}{listed_words(rows)}" if plain else named(those)
    more = ", ".join(filter(None, ["" if plain else f"{len(those)} rows of the list", weight]))
    return f"{capital(decision.value)}: {foods}{f' ({more})' if more else ''}."


def _row(fate: Fate) -> str:
    """Return an item as the list counts it: "2 bags of trout"; one without a bag by its name alone."""
    package = fate.item.package
    if package is None or (package.count == 1 and not package.packed):
        return named([fate])
    return said.what(package)


def named(those: Sequence[Fate], most: int = NAMED) -> str:
    """Name the foods of some items, each once, the first few of many."""
    foods = list(
        dict.fromkeys(
            fate.item.food if fate.item.package is not None else f"all that is in {fate.item.box.name}"
            for fate in those
        )
    )
    left = len(foods) - most
    return listed_words([*foods[:most], f"{left} more"] if left > 0 else foods)


def harsh(those: Sequence[Fate]) -> str:
    """Name what the chart throws out and nobody has decided on, empty for nothing: nobody is done before that is."""
    found = [fate for fate in those if fate.open and fate.verdict.ruling is Ruling.DISCARD]
    return named(found) if found else ""


def counts(those: Sequence[Fate]) -> str:
    """Say how many items were decided how, and how many are to decide."""
    every = Counter(
        fate.decision.value if fate.decision else "to decide" for fate in those if fate.open or fate.decision
    )
    return ", ".join(f"{many} {what}" for what, many in every.items())


# -- the list of what was lost, as a file ----------------------------------------------------------------------

COLUMNS = ("freezer", "box", "food", "package", "kg", "frozen", "thrown_out", "by", "why", "source")


def csv(rows: Sequence[Plain]) -> Iterator[str]:
    """Write what was thrown out as lines of RFC 4180; no cell is taken for a formula."""
    cells = [["" if row[each] is None else comma.safe(str(row[each])) for each in COLUMNS] for row in rows]
    yield from comma.lines([list(COLUMNS), *cells])
