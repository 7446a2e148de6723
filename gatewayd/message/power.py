"""Word a power cut: while it lasts, when it is over, and after one in which the watcher itself was dark."""

from gatewayd.message.left import left
from gatewayd.message.rule import HOLDS, holds
from gatewayd.message.script import JUDGE, Script, Text, joined, judge
from gatewayd.message.words import at, degrees, listed, name, span, spell, spent, stamp
from gatewayd.model.event import Event, What
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import HOUR

# Dry ice is worth its dangers only if the cut may outlast a half-full freezer's 24 h: half of them. Our choice.
DRY_ICE_AFTER = 12 * HOUR
PART = "\n\n"
DARK_FOOD_AFTER = HOUR  # nothing was watched, nor is it known that the lid was shut; within the hour no food takes harm
# The same rules (USDA, FDA) let a refrigerator's food pass for about 4 h; a shut freezer holds for longer, and an alarm
# of its own tells when it does not.
CUT_FOOD_AFTER = 4 * HOUR
# 50 lb (22.7 kg) hold a full freezer of 18 cu ft (510 L) for 2 days: FDA on power outages. Gloves, cardboard and fresh
# air: Michigan State University Extension.
_DRY_ICE = (
    "If it may last longer than a day, dry ice helps: about 23 kg (50 lb) keep a full freezer of 500 L (18 cu ft) for "
    "2 days. Wear thick gloves, lay cardboard between ice and packages, keep the room aired, since its gas can choke "
    "you, and never close it up airtight."
)
_KNOWN_BY = {
    "sensor": "The sensor at the mains says so.",
    "power": "The meter in its plug sees no power.",
    "host": "The gateway's own supply says so: it runs on its battery.",
}
_ENDED = {
    "power": "The computer had lost its power.",
    "shutdown": "The computer had been shut down.",
    "stop": "gatewayd had been stopped by somebody.",
    "crash": "gatewayd had failed and was started again.",
}


def _ids(event: Event, fact: str) -> list[str]:
    given = event.facts.get(fact)
    return [found for part in given.split(",") if (found := part.strip())] if isinstance(given, str) else []


def _covered(event: Event, house: House) -> list[str]:
    """Return the names of the freezers that are without power as far as is known."""
    ids = _ids(event, "covers") or ([event.subject] if event.subject in house.freezers else [])
    return [name(found, house) for found in ids]


def _past(event: Event, house: House) -> list[str]:
    """Return the names of those that are much too warm already: no rule of hours speaks for them any more."""
    return [name(found, house) for found in _ids(event, "much_too_warm")]


def _where(event: Event, house: House) -> str:
    """Return what has no power: one freezer by its name, else the place or nothing."""
    given = event.facts.get("place")
    if isinstance(given, str) and given.strip():
        return f" ({given.strip()})"
    covered = _covered(event, house)
    return f" ({covered[0]})" if len(covered) == 1 else ""


def _guessed(event: Event) -> bool:
    return event.facts.get("how") == "inferred"


def _out(event: Event, house: House) -> Text:
    covered, where, since = _covered(event, house), _where(event, house), spell(event, house)
    if _guessed(event):
        title = f"the power seems to be off{where}"
        freezers = listed(covered) if covered else "the freezers"
        off = f"has been off{since}" if since else "is off"
        at_once = "" if len(covered) == 1 else " at the same time"
        body = joined(
            f"As it looks, the power {off}: {freezers} stopped cooling{at_once}.", "No sensor sees the mains itself."
        )
        return title, body
    body = joined(
        f"The power has been off{since}." if since else "The power is off.",
        _KNOWN_BY.get(str(event.facts.get("how")), ""),
        _stands(event, house),
    )
    return f"the power is off{where}", body


def _still(event: Event, house: House) -> str:
    where = _where(event, house)
    return f"the power {'still seems to be' if _guessed(event) else 'is still'} off{where}"


def _stands(event: Event, house: House) -> str:
    covered = _covered(event, house)
    return f"Without power: {listed(covered)}." if covered else ""


def _advice(event: Event, house: House) -> str:
    lasted, past = event.facts.get("lasted"), _past(event, house)
    long, again = isinstance(lasted, int) and lasted >= DRY_ICE_AFTER, event.what is What.REPEATED
    look = "look at plug and breaker, and whether the neighbours have light"
    if past:
        return _first_the_food(event, house, past)
    if long:
        after = f"When the power is back, look at the food. {judge(event)}"
        return f"{joined('Keep the freezers shut.', _rule(event, house), _DRY_ICE)}{' ' if again else PART}{after}"
    if again:
        return joined("Keep the freezers shut.", _rule(event, house))
    return (
        f"Keep the freezers shut, and {look}. {_rule(event, house)} You are told if one of them gets too warm. Never "
        "taste food to find out."
    )


def _rule(event: Event, house: House) -> str:
    """Return the rule of hours; what to go by is that of the freezer whose range is told."""
    given = event.facts.get("left_of")
    covered = _covered(event, house)
    if len(covered) == 1:
        return holds(event, house)
    return holds(event, house, name(given, house) if isinstance(given, str) and given else "The first of them")


def _first_the_food(event: Event, house: House, past: list[str]) -> str:
    """Say what to do where a freezer is much too warm already: its food comes before all else."""
    others = [who for who in _covered(event, house) if who not in past]
    again = event.what is What.REPEATED
    rule = "" if again else _rule(event, house) if _left(event, house) else HOLDS
    rest = f"{PART}{joined(f'Keep {listed(others)} shut.', rule)}" if others else ""
    if again:
        return f"Look at the food in {listed(past)}. Move what is still hard. {judge(event)}{rest}"
    return (
        f"Look at the food in {listed(past)}: it is much too warm in there already, and no rule of hours speaks for it "
        f"any more. Move what is still hard to a freezer that has power, or to cool boxes with ice. {JUDGE}{rest}"
    )


def _left(event: Event, house: House) -> str:
    """Say how long is left in the freezer that gets warm first, nothing where that is past it already."""
    given, past = event.facts.get("left_of"), _past(event, house)
    if isinstance(given, str) and given:
        return "" if name(given, house) in past else left(event, house, inside=name(given, house))
    many = len(_covered(event, house)) != 1
    return "" if past else left(event, house, inside="the first of them" if many else "")


def _over(event: Event, house: House) -> Text:
    covered, where, lasted = _covered(event, house), _where(event, house), event.facts.get("lasted")
    was, past = spent(event, house), _past(event, house)
    body = joined(
        f"{'As it looks, the' if _guessed(event) else 'The'} power is back{where}.", f"It was off{was}." if was else ""
    )
    body += f"\n\nLook whether {listed(covered) if covered else 'each freezer'} "
    body += f"{'run' if len(covered) > 1 else 'runs'} again, and keep {'them' if len(covered) != 1 else 'it'} shut."
    if past:
        body += f" Look at the food in {listed(past)} first: it became much too warm. {JUDGE}"
    elif not isinstance(lasted, int) or lasted >= CUT_FOOD_AFTER:
        body += f" Then look at the food before you trust it. {JUDGE}"
    return f"the power is back{where}", body


def dark(event: Event, house: House) -> Text:
    """Return what is known after a time in which the watcher itself was not running."""
    facts = event.facts
    lasted, ended = facts.get("lasted"), str(facts.get("ended") or "")
    span_known = span(lasted)
    told = f"for {span_known}" if span_known else "for a time that is not known"
    began, until = (stamp(facts.get(fact), event, house) for fact in ("since", "until"))
    between = f", from {began} to {until}" if span_known and began and until else ""
    lines = [_line(event, house, freezer) for freezer in house.freezers.values() if freezer.sensors]
    body = joined(
        f"gatewayd itself was not running {told}{between}. Nothing was watched in that time.",
        _ENDED.get(ended, "Why is not known."),
    )
    if lines:
        body += "\n\nThe freezers:\n" + "\n".join(lines)
    title = f"nothing was watched {told}"
    if isinstance(lasted, int) and 0 <= lasted < DARK_FOOD_AFTER:
        return title, body
    body += (
        "\n\nHow warm it was in between is not known; a freezer that is cold now may have thawed and frozen again."
        f"\n\nWhat to do now: {_after_dark(ended)} {JUDGE}"
    )
    return title, body


def _after_dark(ended: str) -> str:
    if ended == "power":
        return "The freezers were most likely without power too: see that each one runs, and look at the food in each."
    if ended in ("shutdown", "stop", "crash"):
        return "See that each freezer runs. If the power was off as well, look at the food in each."
    return "See that each freezer runs. If the power was off, look at the food in each."


def _line(event: Event, house: House, freezer: Freezer) -> str:
    facts = event.facts
    before, now = facts.get(f"before:{freezer.id}"), facts.get(f"freezer:{freezer.id}")
    was, when = degrees(before, house), stamp(facts.get(f"before_at:{freezer.id}"), event, house)
    after = degrees(now, house)
    warm = isinstance(now, float | int) and not isinstance(now, bool) and now > freezer.limits.high
    present = f"is {after} now{', which is too warm' if warm else ''}" if after else "has not been heard yet"
    if was:
        return f"  {freezer.name}: was {was}{f' {at(when)}' if when else ' before'}, {present}"
    return f"  {freezer.name}: {present}"


SCRIPTS = {"mains-out": Script(_out, _over, _still, _advice, _stands, outlook=_left)}
