"""Word what ails a sensor: silent, stuck, at fault, its battery, its signal."""

import math

from gatewayd.message.script import Script, Text, joined, of
from gatewayd.message.words import degrees, sentence, span, spell, spent
from gatewayd.model.event import Event
from gatewayd.model.house import House


def _silent(event: Event, house: House) -> Text:
    who = of(event, house)
    return f"{who} is silent", joined(
        f"Nothing has been heard from the sensor {who}{spell(event, house)}.", sentence(event.facts.get("why"))
    )


def _silent_advice(_event: Event, _house: House) -> str:
    return "Look at the sensor. Most often its battery is empty, or it lies where its radio does not reach."


def _silent_over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), span(event.facts.get("lasted"))
    return f"{who} is heard again", f"The sensor {who} is heard again{f' after {lasted}' if lasted else ''}."


def _stuck(event: Event, house: House) -> Text:
    who, value = of(event, house), degrees(event.facts.get("value"), house)
    said = f"exactly {value}" if value else "exactly the same temperature"
    body = f"The sensor {who} has said {said}{spell(event, house) or ' all day'}."
    still = "A freezer's air never stands that still: the sensor may hang."
    return f"{who} shows the same temperature all day", f"{body} {still}"


def _stuck_advice(_event: Event, _house: House) -> str:
    return "Take its battery out for a minute, and look at the freezer itself meanwhile."


def _stuck_over(event: Event, house: House) -> Text:
    who = of(event, house)
    return f"{who} moves again", f"The sensor {who} shows changing temperatures again."


def _fault(event: Event, house: House) -> Text:
    facts, who = event.facts, of(event, house)
    count, why = facts.get("count"), facts.get("why")
    why = why.strip().rstrip(".") if isinstance(why, str) else ""
    often = f"{count} times" if isinstance(count, int) and count > 1 else ""
    more = ", ".join(part for part in (why, often) if part)
    body = f"The sensor {who} is heard, but has said nothing usable{spell(event, house)}{f': {more}' if more else ''}."
    return f"{who} says nothing usable", body


def _fault_advice(_event: Event, _house: House) -> str:
    return "Look at the sensor: its plug and cable, then its battery. Until it is well it watches nothing."


def _fault_over(event: Event, house: House) -> Text:
    who, lasted = of(event, house), spent(event, house)
    body = f"The sensor {who} says usable values again."
    return f"{who} is well again", joined(body, f"It said none{lasted}." if lasted else "")


def _level(event: Event) -> str:
    level, unit = event.facts.get("level"), event.facts.get("unit")
    if isinstance(level, bool) or not isinstance(level, int | float) or not isinstance(unit, str):
        return ""
    return {"%": f"{level:.0f} %", "V": f"{level:.2f} V"}.get(unit, "") if math.isfinite(level) else ""


def _battery(event: Event, house: House) -> Text:
    who, level = of(event, house), _level(event)
    body = joined(
        f"The battery of the sensor {who} will soon be empty{f': it shows {level}' if level else ''}.",
        sentence(event.facts.get("why")),
    )
    return f"the battery of {who} is low", body


def _battery_advice(_event: Event, _house: House) -> str:
    return "Put a new one in within the next days, before the sensor falls silent."


def _battery_over(event: Event, house: House) -> Text:
    who, level = of(event, house), _level(event)
    title = f"the battery of {who} is good again"
    return title, f"The battery of the sensor {who} is good again{f', {level}' if level else ''}."


def _weak(event: Event, house: House) -> Text:
    who, missed = of(event, house), event.facts.get("missed")
    share = f"{missed:.0%}".replace("%", " %") if isinstance(missed, float) and 0 < missed <= 1 else "some"
    body = f"Of what the sensor {who} sends, {share} does not arrive: its radio does not get through well."
    return f"{who} is hard to hear", body


def _weak_advice(event: Event, _house: House) -> str:
    given = sentence(event.facts.get("advice"))
    return given or (
        "Bring the gateway nearer, within about 6 m (20 ft) of the freezer, or move the sensor towards the lid's "
        "gasket."
    )


def _weak_over(event: Event, house: House) -> Text:
    who = of(event, house)
    return f"{who} is heard well again", f"The sensor {who} is heard well again."


SCRIPTS = {
    "silent": Script(_silent, _silent_over, lambda e, h: f"{of(e, h)} is still silent", _silent_advice),
    "stuck": Script(_stuck, _stuck_over, lambda e, h: f"{of(e, h)} still shows the same temperature", _stuck_advice),
    "sensor-fault": Script(_fault, _fault_over, lambda e, h: f"{of(e, h)} still says nothing usable", _fault_advice),
    "battery": Script(_battery, _battery_over, lambda e, h: f"the battery of {of(e, h)} is still low", _battery_advice),
    "weak-signal": Script(_weak, _weak_over, lambda e, h: f"{of(e, h)} is still hard to hear", _weak_advice),
}
