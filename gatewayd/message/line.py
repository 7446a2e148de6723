"""Say an event in one plain line, for logs and lists."""

from gatewayd.message.wording import word
from gatewayd.message.words import called, degrees, name, person, span, stamp
from gatewayd.model.event import Event, What
from gatewayd.model.house import House

_BY_PEOPLE = {
    What.ACKNOWLEDGED: "acknowledged",
    What.CONFIRMED: "confirmed",
    What.SILENCED: "its sound was switched off",
    What.UNSHELVED: "no longer shelved",
    What.UNSUPPRESSED: "told by itself again",
    What.OUT_OF_SERVICE: "taken out of service",
    What.IN_SERVICE: "back in service",
}


def event_line(event: Event, house: House) -> str:
    """Return one line, without time and number: `Shed chest, too warm: acknowledged by Ann (on my way)`."""
    if event.what is What.NOTED:
        title, body = word(event, house)
        long = event.kind in ("dark", "week", "test")  # their first paragraph is no line
        return _flat(title.removeprefix(f"{house.name}: ") if long else body.split("\n\n")[0])
    return _flat(f"{name(event.subject, house)}, {called(event.kind)}: {_turn(event, house)}{_unheard(event, house)}")


def _turn(event: Event, house: House) -> str:
    facts, by = event.facts, _by(event, house)
    match event.what:
        case What.RAISED:
            return _more("raised", degrees(facts.get("value"), house))
        case What.WORSE:
            return _more(f"worse, now {event.priority.word}", degrees(facts.get("value"), house))
        case What.REPEATED:
            lasted = span(facts.get("lasted"))
            return _more("told again", f"it has lasted for {lasted}" if lasted else "")
        case What.OVER:
            lasted = span(facts.get("lasted"))
            latched = ", the food must be looked at" if facts.get("latched") is True else ""
            return f"over{f' after {lasted}' if lasted else ''}{latched}"
        case What.RESET:
            who = f" by {person(event.who, house)}" if event.who else ""
            return f"the food was looked at{who}{f', decided: {event.why}' if event.why else ''}"
        case What.SHELVED:
            until = stamp(facts.get("until"), event, house)
            return f"shelved{f' until {until}' if until else ' until it is over'}{by}"
        case What.SUPPRESSED:
            speaker = facts.get("suppressed_by")
            told = f", since {name(speaker, house)} speaks for it" if isinstance(speaker, str) and speaker else ""
            return f"suppressed{told}"
        case What.CLOSED:
            return "ended, it is no longer in the settings" if event.why == "removed" else f"ended by the settings{by}"
        case _:
            return f"{_BY_PEOPLE.get(event.what, event.what.value)}{by}"


def _by(event: Event, house: House) -> str:
    """Return who did it and why; the house's own doing needs no name."""
    who = f" by {person(event.who, house)}" if event.who and event.who != "the house" else ""
    return f"{who}{f' ({event.why})' if event.why else ''}"


def _unheard(event: Event, house: House) -> str:
    """Say why nobody was told, where an overlay hid it."""
    speaker, hidden = event.facts.get("suppressed_by"), event.facts.get("hidden")
    if event.what is not What.SUPPRESSED and isinstance(speaker, str) and speaker:
        return f"; {name(speaker, house)} speaks for it"
    if event.what is not What.SHELVED and isinstance(hidden, str) and hidden and hidden != "not shelved":
        return f"; not told, it is {hidden}"
    return ""


def _more(text: str, behind: str) -> str:
    return f"{text}, {behind}" if behind else text


def _flat(text: str) -> str:
    return " ".join(text.split())
