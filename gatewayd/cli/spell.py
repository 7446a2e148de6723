"""Write a warm spell and what becomes of its food for a terminal."""

import sqlite3
from collections.abc import Iterator, Sequence

from gatewayd.food.fate import SENSOR, Fate
from gatewayd.food.seen import Seen
from gatewayd.message.words import name
from gatewayd.model.excursion import Excursion
from gatewayd.model.house import House
from gatewayd.store import carried
from gatewayd.store import spell as words

BARS = "▁▂▃▄▅▆▇█"
WIDTH = 60  # characters of a curve


def lines(conn: sqlite3.Connection, house: House, spell: Excursion, now: int) -> Iterator[str]:
    """Write all that is known of a spell."""
    seen, those = carried.story(conn, house, spell, now)
    yield f"{words.FIRST}\n"
    yield f"Warm spell {spell.number}: {name(spell.freezer, house)}"
    yield f"  {words.when(spell, house, now)}: {words.why(spell)}"
    if spell.ended is None:
        yield f"  {words.GOES_ON}"
    yield from (f"  {line}" for line in words.peaks(seen, house))
    yield "  Time above        surely    at most"
    yield from (f"    {above:>9}  {sure:>10}  {most:>9}" for above, sure, most in words.levels(seen, house))
    yield from _drawn(seen, spell, house, now)
    if seen.curve.openings:
        yield f"  {words.opened(seen)}"
    told = words.told(conn, house, spell, now)
    yield from (f"  {words.hour(at, house)}  {text}" for at, text in told)
    if not told:
        yield "  Nobody was told of it."
    yield ""
    yield from food(those, house)


def _drawn(seen: Seen, spell: Excursion, house: House, now: int) -> Iterator[str]:
    """Draw the curve in one line, a dot where nothing was heard."""
    points, span = seen.curve.points, max(1, (spell.ended or now) - spell.began)
    if len(points) < 2:
        return
    best: dict[int, float] = {}
    for t, value in points:
        place = min(WIDTH - 1, (t - spell.began) * WIDTH // span)
        best[place] = max(value, best.get(place, value))
    low, high = min(best.values()), max(best.values())
    step = (high - low) / (len(BARS) - 1) or 1.0

    def bar(place: int) -> str:
        if place in best:
            return BARS[round((best[place] - low) / step)]
        middle = spell.began + (2 * place + 1) * span // (2 * WIDTH)
        blind = any(begin <= middle <= end for begin, end in seen.blind)
        return "·" if blind else bar(max((p for p in best if p < place), default=min(best)))

    drawn = "".join(bar(place) for place in range(WIDTH))
    yield f"  {drawn}  {house.units.show(low)} to {house.units.show(high)}"


def food(those: Sequence[Fate], house: House) -> Iterator[str]:
    """Write each package with its verdict; what is said of many alike is said once."""
    if not those:
        yield "The stock's list has nothing in this freezer. Judge each package by itself."
        yield words.LOOK
        return
    those = words.listed(those)
    if not those:
        yield "All that was in this freezer is used up by the stock's list."
        return
    by_sensor = all(fate.by == SENSOR for fate in those)
    yield words.COLD if by_sensor else words.LOOK
    box = None
    for fate in those:
        if fate.item.box.id != box:
            box = fate.item.box.id
            yield f"\n{fate.item.box.name} ({box})"
        yield from _package(fate, house)
    yield ""
    cautions = dict.fromkeys(each for fate in those for each in fate.cautions)
    sources = dict.fromkeys(fate.verdict.source for fate in those)
    yield from (f"  {each}" for each in cautions)
    yield from (f"  Source: {each}" for each in sources)
    yield f"  {words.counts(those)}"


def _package(fate: Fate, house: House) -> Iterator[str]:
    number = "" if fate.item.package is None else str(fate.item.package.id)
    yield f"  {number:>5}  {words.words(fate, house)}: {words.ruling(fate)}"
    yield from (f"         {line}" for line in words.reasons(fate, house))
    if became := words.became(fate, house):
        yield f"         {became}"
