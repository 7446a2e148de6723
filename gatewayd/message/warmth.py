"""Word what a freezer does: too warm, no longer cooling, open, too cold."""

from gatewayd.message.cause import firm, found, look, off, powerless, why
from gatewayd.message.left import left, told
from gatewayd.message.rule import beside, holds, over
from gatewayd.message.script import JUDGE, WHY, Script, Text, joined, judge, now, of, titled
from gatewayd.message.words import degrees, lid, place, roughly, span, spell, spent, stamp
from gatewayd.model.event import Event, What
from gatewayd.model.house import House
from gatewayd.model.outlook import Label

_FOOD = "Look at the food. Never taste it to find out; when in doubt, throw it out."
_POWER_WHY = "If nobody knows why, look at plug and breaker in daylight."


def _look(event: Event, house: House) -> str:
    """Say where to look: where the cause points to, else at all that is most often at fault."""
    shut = not over(event)
    general = f"Look at {lid(event.subject, house)}, plug and breaker; does it run?{' Then keep it shut.' * shut}"
    return look(event, house, shut=shut) or general


def _held(event: Event, house: House) -> str:
    """Return how long a shut freezer holds, nothing where its air is the room's: it may stand open."""
    if firm(event) is Label.ROOM_AIR:
        return ""
    return joined(holds(event, house), _FOOD if over(event) else "")


def _outlook(event: Event, house: House) -> str:
    """Say why it warms and how long is left, where the advice gives the rule."""
    return joined(why(event, house), left(event, house))


def _rising_outlook(event: Event, house: House) -> str:
    """Say the same of one that is said to have stopped cooling."""
    return joined(why(event, house, stopped=True), left(event, house))


def _outlook_beside(event: Event, house: House) -> str:
    """Say why it warms and how long is left, with the rule, which the advice does not give."""
    return joined(_outlook(event, house), beside(event))


def _lid_outlook(event: Event, house: House) -> str:
    """Say the same of an open lid, which is the cause itself where it is one of a lid."""
    reason = "" if found(event) in (Label.LID_OR_LOAD, Label.OPENED) else why(event, house)
    return joined(reason, left(event, house), beside(event))


def _ended(event: Event) -> str:
    """Say what to look at when it is over: after a power cut nobody needs to look at the lid."""
    return "The power had been off." if off(event) else _POWER_WHY if powerless(event) else WHY


def _warmer(event: Event, house: House, how: str = "too warm") -> str:
    who, limit = f"{of(event, house)}{place(event.subject, house)}", degrees(event.facts.get("limit"), house)
    passed = f"warmer than {limit}" if limit else how
    since = spell(event, house)
    return f"{who} has been {passed}{since}." if since else f"{who} is {passed}."


def _high(event: Event, house: House) -> Text:
    return titled(f"{of(event, house)} is too warm", event, house), joined(_warmer(event, house), now(event, house))


def _high_worse(event: Event, house: House) -> Text:
    falls = event.facts.get("rising") is False
    headline = f"{of(event, house)} is {'still too warm' if falls else 'too warm and getting warmer'}"
    return titled(headline, event, house), joined(_warmer(event, house), now(event, house), "It is more urgent now.")


def _high_advice(event: Event, house: House) -> str:
    return joined(_look(event, house), _held(event, house))


def _highhigh(event: Event, house: House) -> Text:
    title = titled(f"{of(event, house)} is much too warm", event, house)
    thaw = "" if told(event) else "The food may begin to thaw."  # a forecast says it better
    return title, joined(_warmer(event, house, "much too warm"), now(event, house), thaw)


def _highhigh_advice(event: Event, house: House) -> str:
    if off(event):
        return f"Move the food to a freezer that has power, or to cool boxes with ice. {judge(event)}"
    if event.what is What.REPEATED:
        return f"{_look(event, house)} If it does not get colder, move the food. {judge(event)}"
    return (
        f"{_look(event, house)} If it does not get colder within the hour, move the food to another freezer or to cool "
        f"boxes with ice. {JUDGE}"
    )


def _warm_over(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    value, limit, peak = (degrees(facts.get(fact), house) for fact in ("value", "limit", "peak"))
    peak_at = stamp(facts.get("peak_at"), event, house)
    body = f"{who}{place(event.subject, house)} is at {value} again." if value else f"{who} is cold again."
    body += f" It was {f'warmer than {limit}' if limit else 'too warm'}{spent(event, house)}"
    body += f"; the warmest was {peak}{f' ({peak_at})' if peak_at else ''}." if peak else "."
    title = titled(f"{who} is cold again", event, house)
    if facts.get("latched") is True or facts.get("check") is True:
        title = f"{who} is cold again{f', but was at {peak}' if peak else ''}: check the food"
        body += (
            f"\n\nThe food must be looked at: it was warm enough, for long enough, to thaw. {JUDGE}\n\nThe alarm stays "
            "in the list until somebody says what was decided.\n"
            f'For instance: gatewayd checked {event.subject} --why "kept all; still hard"'
        )
    else:
        warmest, freezer = facts.get("peak"), house.freezers.get(event.subject)
        body += f"\n\n{_ended(event)}"
        if isinstance(warmest, float) and freezer and warmest > freezer.limits.highhigh:
            body += f" Look at the food before you trust it. {JUDGE}"
    return title, body


def _rising(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    limit, eta = degrees(facts.get("limit"), house), roughly(facts.get("eta"))
    # one range at a time: where there is a forecast, it takes the place of the pace
    reaches = f"At this pace it reaches {limit} in about {eta}." if limit and eta and not told(event) else ""
    since = spell(event, house)
    stopped = f"has not cooled{since}." if since else "does not cool any more."
    body = joined(f"{who}{place(event.subject, house)} {stopped}", now(event, house), reaches)
    return titled(f"{who} has stopped cooling", event, house), body


def _rising_advice(event: Event, house: House) -> str:
    shut = not over(event)
    general = f"Check plug, breaker and {lid(event.subject, house)}: most often it is one of them."
    general += " Then keep it shut." if shut else ""
    return joined(look(event, house, shut=shut) or general, _held(event, house))


def _rising_over(event: Event, house: House) -> Text:
    who = of(event, house)
    body = joined(
        f"{who}{place(event.subject, house)} cools again.",
        now(event, house),
        f"It had not cooled{spent(event, house)}." if spent(event, house) else "",
    )
    return titled(f"{who} cools again", event, house), f"{body}\n\n{_ended(event)}"


def _maybe(event: Event) -> str:
    """Return `probably ` where nothing at the lid itself said so: it was concluded from the temperature."""
    facts = event.facts
    if "inferred" in facts:
        return "probably " if facts["inferred"] else ""
    return "" if facts.get("contact") or facts.get("how") in ("contact", "sensor") else "probably "


def _lid(event: Event, house: House) -> Text:
    what, since, maybe = f"{lid(event.subject, house)} of {of(event, house)}", spell(event, house), _maybe(event)
    opened = f"has {maybe}been open{since}" if since else f"is {maybe}open"
    body = f"The {what}{place(event.subject, house)} {opened}{': the air in it warms as it does then' * bool(maybe)}."
    return f"the {what} is {maybe}open", joined(body, _air(event, house))


def _air(event: Event, house: House) -> str:
    return now(event, house, "The air inside")


def _lid_still(event: Event, house: House) -> str:
    return f"the {lid(event.subject, house)} of {of(event, house)} is {_maybe(event)}still open"


def _lid_advice(event: Event, house: House) -> str:
    if _maybe(event) and powerless(event):  # only concluded from the temperature, which has a better reason now
        return look(event, house)
    return f"Shut the {lid(event.subject, house)}, and look that no package and no ice holds it open."


def _lid_over(event: Event, house: House) -> Text:
    who, what = of(event, house), lid(event.subject, house)
    maybe, lasted = _maybe(event), spent(event, house)
    body = f"The {what} of {who}{place(event.subject, house)} is {maybe}shut again."
    return f"the {what} of {who} is {maybe}shut again", joined(body, f"It was open{lasted}." if lasted else "")


def _long(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    limit, lasted = degrees(facts.get("limit"), house), span(facts.get("lasted"))
    body = f"{who}{place(event.subject, house)} was {f'warmer than {limit}' if limit else 'too warm'}"
    if lasted:
        body += f" for {lasted}"
        body += {"single": " in one go", "day": " in all within a day"}.get(str(facts.get("which")), "")
    body += ". Such hours add up, and shorten how long the food stays good to eat."
    return f"{who} has been warm for long", joined(body, now(event, house))


def _long_advice(event: Event, house: House) -> str:
    return look(event, house) or (
        f"See whether it is set too warm, iced up or overfull, and whether the {lid(event.subject, house)} closes well."
    )


def _long_over(event: Event, house: House) -> Text:
    who, limit = of(event, house), degrees(event.facts.get("limit"), house)
    body = f"{who}{place(event.subject, house)} is {f'colder than {limit}' if limit else 'cold enough'} again."
    return f"{who} is cold enough again", joined(body, now(event, house))


def _cold(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    habit, since = degrees(facts.get("habit"), house), spell(event, house)
    body = joined(
        f"{who}{place(event.subject, house)} {f'has been unusually cold{since}' if since else 'is unusually cold'}.",
        now(event, house),
        f"Usually it is at about {habit}." if habit else "",
        "That costs electricity, and more often than not somebody left it set so.",
    )
    return titled(f"{who} is unusually cold", event, house), body


def _cold_advice(_event: Event, _house: House) -> str:
    return "Look at its dial and its fast-freeze switch. If both are as always, the sensor may be wrong."


def _cold_over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), spent(event, house)
    body = joined(
        f"{who}{place(event.subject, house)} is as cold as usual again.",
        now(event, house),
        f"It was unusually cold{lasted}." if lasted else "",
    )
    return titled(f"{who} is as cold as usual", event, house), body


def _chatter(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    count, window = facts.get("count"), span(facts.get("window"))
    times = f" {count} times" if isinstance(count, int) and not isinstance(count, bool) and count > 1 else " many times"
    body = (
        f"{who}{place(event.subject, house)} crossed its limit{times}{f' within {window}' if window else ''}. "
        "It is counted and not told each time."
    )
    return f"{who} keeps crossing its limit", joined(body, now(event, house))


def _chatter_advice(event: Event, house: House) -> str:
    return (
        f"See whether the {lid(event.subject, house)} closes well and the sensor hangs free of it. If all is well, the "
        "limit lies too near to what this freezer always does: set it a little warmer."
    )


def _chatter_over(event: Event, house: House) -> Text:
    who = of(event, house)
    return (
        f"{who} has settled",
        f"{who}{place(event.subject, house)} no longer keeps crossing its limit.",
    )


SCRIPTS = {
    "high": Script(
        _high, _warm_over, lambda e, h: f"{of(e, h)} is still too warm", _high_advice, now, _high_worse, _outlook
    ),
    "highhigh": Script(
        _highhigh,
        _warm_over,
        lambda e, h: f"{of(e, h)} is still much too warm",
        _highhigh_advice,
        now,
        outlook=_outlook_beside,
    ),
    "rising": Script(
        _rising,
        _rising_over,
        lambda e, h: f"{of(e, h)} is still not cooling",
        _rising_advice,
        now,
        outlook=_rising_outlook,
    ),
    "lid-open": Script(_lid, _lid_over, _lid_still, _lid_advice, _air, outlook=_lid_outlook),
    "warm-long": Script(
        _long, _long_over, lambda e, h: f"{of(e, h)} is still too warm", _long_advice, now, outlook=_outlook_beside
    ),
    "too-cold": Script(_cold, _cold_over, lambda e, h: f"{of(e, h)} is still unusually cold", _cold_advice, now),
    "chattering": Script(
        _chatter, _chatter_over, lambda e, h: f"{of(e, h)} still keeps crossing its limit", _chatter_advice, now
    ),
}
