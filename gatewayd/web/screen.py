"""What one page of the walk from box to box shows."""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from typing import Any

from gatewayd.food import asking
from gatewayd.food.asking import among, brought, key, rulings, step
from gatewayd.food.fate import SENSOR, Fate
from gatewayd.food.said import number as number_of
from gatewayd.food.said import weight
from gatewayd.message.words import capital, name
from gatewayd.model.excursion import Answer, Excursion, Ruling
from gatewayd.model.house import House
from gatewayd.store import excursion, spell
from gatewayd.store.carried import Carried
from gatewayd.web.happened import address
from gatewayd.web.stand import Place, Scene, Stand, joined

MANY = 12  # packages that are named on a page; the rest is one tap away
# What the big button does that follows the verdict.
_ORDER = {
    Ruling.REFREEZE: ("refreeze", "keep", "throw"),
    Ruling.IF_SOUND: ("refreeze", "keep", "throw"),
    Ruling.DISCARD: ("throw", "refreeze", "keep"),
    Ruling.NOT_JUDGED: ("throw", "refreeze", "keep"),
}
_SAYS = {"keep": "Keep it as it is", "refreeze": "Freeze it again, use it first", "throw": "Throw it out"}
_SOUND = {
    "keep": "Yes: keep it as it is",
    "refreeze": "Yes: freeze it again, use it first",
    "throw": "No: throw it out",
}


def screen(house: House, scene: Scene, place: Place, stand: Stand, number: int) -> dict[str, Any]:
    """Return what the page of a question shows; where nothing is asked any more, of the box that is done."""
    asked, those = _asked(place, stand)
    answering = [fate for fate in place.those if fate.open and fate.by == SENSOR]
    onward = scene.places[scene.places.index(place) + 1 :]
    shown: dict[str, Any] = {
        "ask": asked, "stand": stand, "box": place.name, "freezer": name(place.spell.freezer, house),
        "place": scene.places.index(place) + 1, "places": len(scene.places),
        "items": [(key(fate), spell.words(fate, house)) for fate in those], "many": MANY,
        "way": f"/what-happened/{number}/walk",
        "question": "", "rules": asking.RULES, "rest": asking.REST if answering and asked == "found" else "",
        "back": _back(scene, place, stand, number), "first": spell.FIRST,
        "goes_on": spell.GOES_ON if place.spell.ended is None else "",
        "fields": {**stand.fields, "those": joined(key(fate) for fate in those), "ask": asked},
        "onward": Stand(stand.freezer, onward[0].at).address(number) if onward
        else address(number, stand.freezer, "/walk", end="1"),
    }  # fmt: skip
    match asked:
        case "found":
            return {**shown, "question": asking.COLD}
        case "warm":
            return {**shown, "question": asking.WARM}
        case "long":
            return {**shown, "question": asking.LONG}
        case "juice":
            return {**shown, "question": asking.JUICE}
        case "chart":
            return shown | _chart(house, those, shown)
        case "doubt":
            cautions = dict.fromkeys(each for fate in those for each in fate.cautions)
            return shown | {"cautions": list(cautions), "fields": {**shown["fields"], "shown": rulings(those)}}
        case "decide" | "sure":
            return shown | _decide(house, those[0], stand, shown)
        case _:
            rows = [(spell.words(fate, house), spell.became(fate, house) or "To decide.") for fate in place.those]
            return {**shown, "rows": rows}


def _asked(place: Place, stand: Stand) -> tuple[str, list[Fate]]:
    """Return the name of the question and of what it is asked; one in between counts while it makes sense."""
    meant = [fate for fate in place.those if fate.open and among(fate, stand.those)]
    unseen = [fate for fate in meant if fate.answer is Answer.UNKNOWN]
    match stand.q:
        case "warm" | "long" if unseen:
            return stand.q, unseen
        case "juice" if meant:
            return "juice", meant
        case "sure" if meant and stand.want in ("keep", "refreeze"):
            return "sure", meant[:1]
    found, those = step(place.those, place.said, stand.aside)
    return found.value, those


def _back(scene: Scene, place: Place, stand: Stand, number: int) -> str:
    """Return the page before: the question before in this box, or the box before."""
    if stand.q:
        return stand.plain().address(number)
    if stand.aside != asking.Aside():
        return Stand(stand.freezer, stand.at).address(number)
    before = scene.places.index(place) - 1
    return (
        address(number, stand.freezer) if before < 0 else Stand(stand.freezer, scene.places[before].at).address(number)
    )


def _chart(house: House, those: Sequence[Fate], shown: dict[str, Any]) -> dict[str, Any]:
    groups: dict[str, list[str]] = {}
    for fate in those:
        groups.setdefault(brought(fate), []).append(spell.words(fate, house))
    cautions = dict.fromkeys(each for fate in those for each in fate.cautions)
    fields = {**shown["fields"], "shown": rulings(those)}
    return {"groups": groups, "cautions": list(cautions), "fields": fields, "total": len(those)}


def _decide(house: House, fate: Fate, stand: Stand, shown: dict[str, Any]) -> dict[str, Any]:
    ruling, package = fate.verdict.ruling, fate.item.package
    sound = ruling is Ruling.IF_SOUND and not fate.unsaid
    order = ("throw", "refreeze", "keep") if fate.unsaid else _ORDER[ruling]
    if ruling is Ruling.REFREEZE and fate.by == SENSOR and not fate.unsaid:
        order = ("keep", "refreeze", "throw")
    several = package is not None and package.count is not None and package.count > 1
    return {
        "what": spell.words(fate, house),
        "ruling": capital(spell.ruling(fate)),
        "harsh": ruling in (Ruling.DISCARD, Ruling.NOT_JUDGED) or fate.unsaid,
        "reasons": list(spell.reasons(fate, house)),
        "source": fate.verdict.source,
        "cautions": fate.cautions,
        "question": asking.SOUND if sound else "",
        "buttons": [(verb, (_SOUND if sound else _SAYS)[verb]) for verb in order],
        "count": number_of(package.count) if several and package is not None and package.count is not None else "",
        "wants": _SAYS.get(stand.want, ""),
        "fields": {**shown["fields"], "ask": "decide", "shown": rulings([fate])},
    }


def summary(conn: sqlite3.Connection, house: House, spells: Sequence[Excursion], now: int) -> dict[str, Any]:
    """Return what the last page of a walk shows: what was decided, what is left, and what was lost."""
    past, left = Carried(conn, house, now), 0
    freezers: list[dict[str, Any]] = []
    for each in spells:
        those = spell.listed(past.story(each)[1])
        left += sum(fate.open for fate in those)
        freezers.append(
            {
                "id": each.freezer,
                "number": each.number,
                "name": name(each.freezer, house),
                "counts": dict(Counter(fate.decision.value for fate in those if fate.decision is not None)),
                "left": [(fate.item.box.name, spell.words(fate, house)) for fate in those if fate.open],
                "harsh": spell.harsh(those),
                "bare": not those,
                "done": excursion.done(conn, each),
            }
        )
    lost = spell.lost(conn, house, spells, now)
    kg = sum(row["kg"] or 0.0 for row in lost)
    return {
        "freezers": freezers,
        "left": left,
        "lost": [
            (row["food"], row["box"], None if row["kg"] is None else weight(row["kg"], house.units)) for row in lost
        ],
        "total": weight(kg, house.units),
        "unweighed": sum(row["kg"] is None for row in lost),
    }
