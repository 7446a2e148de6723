"""Say why a freezer warms, where that is held, and what to look at then.

A cause is read from the shape of the air's temperature. How sure it is, is told in plain words and never in percent:
what a method calls 0.9 was right in 0.78 (measured on simulated freezers).
"""

from collections.abc import Mapping

from gatewayd.message.words import lid, stamp
from gatewayd.model.event import Event
from gatewayd.model.house import House
from gatewayd.model.outlook import Label, Sure

_LEADS = {Sure.HINT: "It may be that", Sure.LIKELY: "Most likely", Sure.SURE: "It is clear that"}
# `{lid}` is what is opened at this freezer, `{since}` the time it began. "Came back" and not "was closed": of the lids
# that stayed ajar by a little, one in five looks so too (measured on simulated freezers).
_SAYINGS: Mapping[Label, str] = {
    Label.POWER: "cooling has stopped{since}",
    Label.LID_OR_LOAD: "the {lid} is ajar or warm food was put in",
    # what stands behind the colon is left out of a hint
    Label.ROOM_AIR: "the probe is in the room's air: out of the freezer, or the freezer is switched off and open",
    Label.OPENED: "it was opened and cools again",
    Label.AUTO_DEFROST: "it is defrosting by itself",
    Label.DRIFT: "it is set warmer, or slowly failing",
}
_SHUT = "Keep it shut."
# What replaces "look at lid, plug and breaker".
_ADVICE: Mapping[Label, str] = {
    Label.POWER: f"Check plug and breaker. {_SHUT}",
    Label.LID_OR_LOAD: "Shut the {lid} all round; see that nothing holds it open.",
    Label.ROOM_AIR: "See that the probe is in the freezer, and the freezer switched on and shut.",
    Label.OPENED: "See that the {lid} is well shut, and leave it shut.",
    Label.AUTO_DEFROST: "Leave it shut, and see in an hour whether it is colder.",
    Label.DRIFT: "See whether its dial was turned, or it is iced up.",
}


def found(event: Event) -> Label | None:
    """Return the cause that may be said, None where none is held or it explains nothing."""
    given = event.facts.get("cause")
    label = next((label for label in _SAYINGS if label.value == given), None)
    return None if off(event) else label  # a mains sensor outranks any shape of the air


def off(event: Event) -> bool:
    """Return whether it is known that the freezer has no power."""
    return event.facts.get("mains") == "out"


def firm(event: Event) -> Label | None:
    """Return the cause if it is more than a hint: sure enough to send somebody to one place instead of three."""
    return found(event) if _sure(event) is not Sure.HINT else None


def powerless(event: Event) -> bool:
    """Return whether it is known or looks as if nothing cools: nobody is sent to the lid then."""
    return off(event) or found(event) is Label.POWER


def why(event: Event, house: House, *, stopped: bool = False) -> str:
    """Say why it warms and how sure that is, nothing where it is not known.

    `stopped` is for a message that says already since when it does not cool.
    """
    if off(event):
        return "The power is off."
    label = found(event)
    if label is None:
        return ""
    since, saying = stamp(event.facts.get("cause_since"), event, house), _SAYINGS[label]
    if stopped and label is Label.POWER:
        saying = "the power or the compressor has failed"
    if firm(event) is None:
        saying = saying.partition(":")[0]
    return f"{_LEADS[_sure(event)]} {_filled(saying, event, house, f' since {since}' if since else '')}."


def look(event: Event, house: House, *, shut: bool = True) -> str:
    """Say what to look at where the cause tells that, nothing where the general advice stays the better one.

    Without `shut` it is too late to keep it so: the food is to be looked at.
    """
    if off(event):
        return "Keep it shut until the power is back." if shut else ""
    label = Label.POWER if powerless(event) else firm(event)
    text = _filled(_ADVICE[label], event, house) if label else ""
    return text if shut else text.removesuffix(_SHUT).rstrip()


def _sure(event: Event) -> Sure:
    given = event.facts.get("cause_sure")
    return next((sure for sure in Sure if sure.value == given), Sure.HINT)


def _filled(text: str, event: Event, house: House, since: str = "") -> str:
    return text.replace("{lid}", lid(event.subject, house)).replace("{since}", since)
