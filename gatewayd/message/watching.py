"""Word what is not being watched: a freezer, a whole source, a neighbour's house."""

from gatewayd.message.cause import off, why
from gatewayd.message.left import left
from gatewayd.message.rule import beside
from gatewayd.message.script import Script, Text, joined, of, titled
from gatewayd.message.words import degrees, listed, place, sentence, span, spell, spent
from gatewayd.model.event import Event, What
from gatewayd.model.format import Saying
from gatewayd.model.house import WIRED, House


def _then(event: Event, house: House) -> str:
    value = degrees(event.facts.get("value"), house)
    return f"It was at {value}{' and rising' if event.facts.get('rising') is True else ''} then." if value else ""


def _unwatched(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    body = f"Nothing has been heard from {who}{place(event.subject, house)}"
    if _then(event, house):
        body += f"{spell(event, house)}. {_then(event, house)}"
    else:
        lasted = span(facts.get("lasted"))
        body += f" for {lasted}, since the watch began." if lasted else " since the watch began."
    body = joined(body, sentence(facts.get("why")), "Whether it is cold now cannot be seen from here.")
    return f"{who} is not being watched", body


def _unwatched_outlook(event: Event, house: House) -> str:
    """Say why it warmed when it was last heard, and how long its food holds from then on."""
    reason = why(event, house)
    if reason and not off(event):
        reason = f"As last heard, {reason[0].lower()}{reason[1:]}"
    return joined(reason, left(event, house, unheard=True), beside(event))


def _unwatched_advice(event: Event, _house: House) -> str:
    if event.what is What.REPEATED:
        return "Look at the freezer, then at its sensor."
    return (
        "Look at the freezer, then at its sensor. Most often the sensor's battery is empty, or the sensor lies where "
        "its radio does not reach."
    )


def _unwatched_worse(event: Event, house: House) -> Text:
    who, lasted = of(event, house), span(event.facts.get("lasted"))
    body = (
        f"Nothing has been heard from {who}{place(event.subject, house)}{f' for {lasted}' if lasted else ' for long'}."
    )
    title = f"{who} has not been watched for {lasted}" if lasted else f"{who} is still not being watched"
    return title, f"{body} By now it could have warmed unseen."


def _unwatched_over(event: Event, house: House) -> Text:
    who, value, lasted = of(event, house), degrees(event.facts.get("value"), house), spent(event, house)
    body = f"{who}{place(event.subject, house)} is heard again{f': {value}' if value else ''}. "
    body += f"It was not watched{lasted}; how" if lasted else "How"
    return titled(f"{who} is watched again", event, house), f"{body} warm it was in between is not known."


def _radio(source: str, house: House) -> bool:
    """Return whether a source is a radio of the gateway itself: its sensors speak otherwise than by MQTT."""
    return source != WIRED and any(
        sensor.source == source and isinstance(sensor.payload, Saying) for sensor in house.sensors.values()
    )


def _heard_by(sensors: tuple[str, ...], source: str, house: House) -> bool:
    return any(house.sensors[s].source == source for s in sensors if s in house.sensors)


def _source(event: Event, house: House) -> Text:
    who, reason = of(event, house), sentence(event.facts.get("reason"))
    hears = [f.name for f in house.freezers.values() if _heard_by(f.sensors, event.subject, house)]
    radio = _radio(event.subject, house)
    body = joined(
        f"{who} {'has heard nothing' if radio else 'has not been reached'}{spell(event, house)}.",
        reason,
        f"Until it is back nothing is heard from {listed(hears)}." if hears else "",
        "The sensors and their batteries are not to blame." if radio else "",
    )
    return f"{who} {'hears nothing' if radio else 'is not reachable'}", body


def _source_still(event: Event, house: House) -> str:
    return f"{of(event, house)} still {'hears nothing' if _radio(event.subject, house) else 'cannot be reached'}"


def _source_advice(event: Event, house: House) -> str:
    if _radio(event.subject, house):
        return "Look at the gateway itself. Pull its Bluetooth stick and put it back, or switch the gateway off and on."
    return (
        "See whether the computer it runs on and the network between are switched on. If it answers but refuses, look "
        "at user and password in the settings."
    )


def _source_over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), spent(event, house)
    back = "hears again" if _radio(event.subject, house) else "is reached again"
    return f"{who} is back", joined(f"{who} {back}.", f"It was away{lasted}." if lasted else "")


def _neighbour(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    if facts.get("heard") is False:
        waited = span(facts.get("lasted"))
        body = f"Nothing has been heard from {who}'s gateway yet{f', after {waited} of waiting' if waited else ''}."
    elif facts.get("gone") is True:
        body = f"{who}'s gateway has broken off, and has given no sign of life{spell(event, house)}."
    else:
        body = f"{who}'s gateway has given no sign of life{spell(event, house)}."
    return f"{who}'s gateway is silent", f"{body} It may be that nobody is told when a freezer there warms."


def _neighbour_advice(event: Event, _house: House) -> str:
    if event.facts.get("heard") is False:
        return "Talk to them. It may be a mistake in the settings of either house."
    return "Call them: has the power failed there, or the network? If nobody answers, somebody should go and look."


def _neighbour_over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), spent(event, house)
    body = joined(f"{who}'s gateway gives signs of life again.", f"It was silent{lasted}." if lasted else "")
    return f"{who}'s gateway is back", body


SCRIPTS = {
    "unwatched": Script(
        _unwatched,
        _unwatched_over,
        lambda e, h: f"{of(e, h)} is still not being watched",
        _unwatched_advice,
        _then,
        _unwatched_worse,
        _unwatched_outlook,
    ),
    "source-down": Script(_source, _source_over, _source_still, _source_advice),
    "neighbour-silent": Script(
        _neighbour, _neighbour_over, lambda e, h: f"{of(e, h)}'s gateway is still silent", _neighbour_advice
    ),
}
