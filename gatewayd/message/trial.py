"""Word a planned switch-off, in which a freezer shows how long it holds, and a freezer that does not cool after it."""

from gatewayd.message.cause import off, why
from gatewayd.message.left import left
from gatewayd.message.rule import holds
from gatewayd.message.script import Script, Text, joined, now, of, titled
from gatewayd.message.words import place, spell, spent, stamp
from gatewayd.model.event import Event
from gatewayd.model.house import House

# What to do where a freezer does not cool after it was defrosted.
NOT_COLD = (
    "Is it switched on? Look at its switch, plug and breaker, and see that it is shut. Food that is still outside must "
    "be in the cold within two hours: put it into another freezer."
)


def _stopped(event: Event, house: House) -> Text:
    over = "its defrosting" if event.facts.get("after") == "defrost" else "its test switch-off"
    body = (
        f"{of(event, house)}{place(event.subject, house)} has not cooled{spell(event, house)}, though {over} is over."
    )
    return titled(f"{of(event, house)} is not cooling again", event, house), joined(body, now(event, house))


def _advice(event: Event, house: House) -> str:
    if off(event):
        return f"Keep it shut until the power is back. {holds(event, house)}"
    if event.facts.get("after") == "defrost":  # it may be empty, so nothing is said of how long it holds
        return NOT_COLD
    return f"Is it switched on? Look at its switch, plug and breaker. Then keep it shut. {holds(event, house)}"


def _over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), spent(event, house)
    body = joined(
        f"{who}{place(event.subject, house)} cools again.",
        now(event, house),
        f"It had not cooled{lasted}." if lasted else "",
    )
    return titled(f"{who} cools again", event, house), body


def _outlook(event: Event, house: House) -> str:
    return joined(why(event, house, stopped=True), left(event, house))


def noted(event: Event, house: House) -> Text:
    """Return the words for a step of a planned switch-off."""
    who, where = of(event, house), place(event.subject, house)
    until = stamp(event.facts.get("until"), event, house)
    match event.facts.get("stage"):
        case "begun":
            then = f" until {until}" if until else ""
            return f"the test of {who} has begun", (
                f"The test switch-off of {who}{where} has begun. It shows how long this freezer holds.\n\n"
                f"What to do now: see that it is switched off, and leave it shut{then}. You are told when to switch it "
                "back on, and before that if it gets too warm."
            )
        case "switch-on":
            return f"switch {who} back on now", (
                f"The test switch-off of {who}{where} is over.\n\n"
                "What to do now: switch it back on, and hear that it runs. You are told if it does not cool."
            )
        case "too-warm":
            return f"switch {who} back on now, it got too warm", joined(
                f"The test switch-off of {who}{where} has ended early: it got too warm.",
                now(event, house),
            ) + "\n\nWhat to do now: switch it back on, keep it shut, and hear that it runs."
        case "ended":
            return f"the test of {who} has ended", (
                f"The test switch-off of {who}{where} has ended. Its alarms are told as always again once it cools.\n\n"
                "What to do now: see that it is switched on."
            )
    return f"the test of {who}", f"There is news of the test switch-off of {who}{where}. See that it is switched on."


SCRIPTS = {
    "not-cooling": Script(
        _stopped, _over, lambda e, h: f"{of(e, h)} is still not cooling", _advice, now, outlook=_outlook
    ),
}
