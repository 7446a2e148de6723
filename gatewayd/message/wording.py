"""Word the messages: what happened, how bad, since when, how fast, and what to do now.

Read by somebody woken at night. One thing to do, household words, no codes. Each kind of alarm has its script in the
module that speaks of such things: what a freezer does (`warmth`), its planned switch-offs (`trial`), its defrosts
(`thaw`), how it ages (`ageing`), what is not watched (`watching`), the mains (`power`), what ails a sensor (`ailing`),
what ails the gateway itself (`machine`).
"""

from collections.abc import Mapping

from gatewayd.message import ageing, ailing, machine, power, thaw, trial, warmth, watching
from gatewayd.message.script import UNASKED, Script, Text, Writer
from gatewayd.message.words import called, name, person, sentence
from gatewayd.model.event import Event, What
from gatewayd.model.house import House

SCRIPTS: Mapping[str, Script] = {
    **warmth.SCRIPTS,
    **trial.SCRIPTS,
    **watching.SCRIPTS,
    **power.SCRIPTS,
    **ailing.SCRIPTS,
    **machine.SCRIPTS,
}
_NOTES: Mapping[str, Writer] = {
    "dark": power.dark,
    "test": machine.untested,
    "clock": machine.moved,
    "mended": machine.mended,
    "week": machine.week,
    "test-off": trial.noted,
    "defrost": thaw.noted,
    "ageing": ageing.leaking,
    "drift": ageing.drifted,
}
_TOLD = frozenset({What.RAISED, What.WORSE, What.REPEATED, What.OVER})
_ASKING = frozenset({What.RAISED, What.WORSE, What.REPEATED})


def word(event: Event, house: House) -> Text:
    """Return title and body for an event; every event has some, told or not."""
    script, note = SCRIPTS.get(event.kind), _NOTES.get(event.kind)
    if script is not None and event.what in _TOLD:
        title, body = script.text(event, house)
    elif note is not None and event.what is What.NOTED:
        title, body = note(event, house)
    elif event.what in _BY_PEOPLE:
        title, body = _BY_PEOPLE[event.what](event, house)
    else:
        title, body = _plain(event, house)
    return f"{house.name}: {title}", f"{body}\n\n{_sign_off(event)}"


def _answered(event: Event, house: House) -> Text:
    """Tell the others that somebody is on it."""
    who, about = person(event.who, house) or "Somebody", f"{name(event.subject, house)}, {called(event.kind)}"
    said = f" {sentence(event.why)}" if event.why else ""
    number = f" (message {event.first})" if event.first else ""
    return f"{who} has seen it: {about}", f"{about}{number}: {who} has seen it.{said} It may go on all the same."


def _decided(event: Event, house: House) -> Text:
    """Tell what was decided about the food."""
    who, freezer = person(event.who, house) or "Somebody", name(event.subject, house)
    decision = f" What was decided: {sentence(event.why)}" if event.why else ""
    title = f"the food in {freezer} was looked at"
    return title, f"{who} looked at the food in {freezer}.{decision} The alarm is off the list."


def _sign_off(event: Event) -> str:
    if event.what in _ASKING and event.kind in SCRIPTS and event.kind not in UNASKED:
        return f"Message {event.number}. When you have seen it: gatewayd ack {event.first or event.number}"
    return f"Message {event.number}."


def _plain(event: Event, house: House) -> Text:
    """Word what has no script: a line of the log, or a turn that nobody is told of."""
    about = "" if event.subject == house.id else f"{name(event.subject, house)}: "
    what = "" if event.what is What.NOTED else f" {event.what.value}"
    title = f"{about}{called(event.kind)}{what}"
    return title, sentence(event.facts.get("text")) or sentence(event.why) or sentence(title)


_BY_PEOPLE: Mapping[What, Writer] = {What.ACKNOWLEDGED: _answered, What.RESET: _decided}
