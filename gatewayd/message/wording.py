"""Word the messages: what happened, how bad, since when, how fast, and what to do now.

Read by somebody woken at night. One thing to do, household words, no codes. The advice follows the published
rules for home freezers: shut, a full one holds about 48 h and a half-full one about 24 h; food with ice crystals, or
at 40 °F (4.4 °C) or colder, may be refrozen or cooked; never taste to find out (USDA and FDA on power outages).
"""

from collections.abc import Callable

from gatewayd.message.words import clock, degrees, listed, name, pace
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.format import Saying
from gatewayd.model.house import WIRED, House
from gatewayd.model.moment import HOUR
from gatewayd.model.units import show_span

Text = tuple[str, str]  # title, body

_LOOK = (
    "Go and look: is the lid or door shut, is the plug in, is the breaker on, is the compressor running? "
    "Then keep it shut."
)
_HOLDS = (
    "Kept shut, a full freezer stays cold for about 48 hours and a half-full one for about 24 "
    "(government rule of thumb)."
)
_JUDGE = (
    "Food that still has ice crystals, or is at 4.4 °C (40 °F) or colder, may be refrozen or cooked. Never taste "
    "food to find out. When in doubt, throw it out. Your local food-safety authority and the maker's label come first."
)


def word(event: Event, house: House) -> Text:
    """Return title and body for an event; every event has some, told or not."""
    writer = _WRITERS.get((event.kind, event.what)) or _WRITERS.get((event.kind, None)) or _plain
    title, body = writer(event, house)
    return f"{house.name}: {title}", f"{body}\n\n{_sign_off(event)}"


def _sign_off(event: Event) -> str:
    first = event.first or event.number
    if event.what in (What.RAISED, What.WORSE, What.REPEATED):
        return f"Message {event.number}. To say that you have seen it: gatewayd ack {first}"
    return f"Message {event.number}."


def _place(event: Event, house: House) -> str:
    freezer = house.freezers.get(event.subject)
    return f" ({freezer.place})" if freezer and freezer.place else ""


def _since(event: Event, house: House) -> str:
    since = event.facts.get("since")
    return clock(since, event.at.wall, house.zone) if isinstance(since, int) else "an unknown time"


def _lasted(event: Event) -> str:
    lasted = event.facts.get("lasted")
    return show_span(lasted) if isinstance(lasted, int) else "an unknown time"


def _warm(event: Event, house: House) -> Text:
    facts, who = event.facts, name(event.subject, house)
    now, speed = degrees(facts.get("value"), house), pace(facts.get("speed"), house)
    body = (
        f"{who}{_place(event, house)} has been warmer than {degrees(facts.get('limit'), house)} since "
        f"{_since(event, house)} ({_lasted(event)}). It is at {now} now{' ' + speed if speed else ''}."
    )
    if event.kind == "highhigh":
        body += f" The food may begin to thaw.\n\nWhat to do now: {_LOOK} If it does not get colder within the hour, "
        body += f"move the food to another freezer or to cool boxes with ice. {_JUDGE}"
        return f"{who} is much too warm, {now}", body
    return f"{who} is too warm, {now}", f"{body}\n\nWhat to do now: {_LOOK} {_HOLDS}"


def _warm_over(event: Event, house: House) -> Text:
    facts, who = event.facts, name(event.subject, house)
    peak_at = facts.get("peak_at")
    at = f" ({clock(peak_at, event.at.wall, house.zone)})" if isinstance(peak_at, int) else ""
    body = (
        f"{who}{_place(event, house)} is at {degrees(facts.get('value'), house)} again. It was warmer than "
        f"{degrees(facts.get('limit'), house)} for {_lasted(event)}, from {_since(event, house)}; the warmest was "
        f"{degrees(facts.get('peak'), house)}{at}.\n\n"
        "What to do: if nobody knows why, look at lid, plug and gasket in daylight."
    )
    peak, freezer = facts.get("peak"), house.freezers.get(event.subject)
    if isinstance(peak, float) and freezer and peak > freezer.limits.highhigh:
        body += f" Look at the food before you trust it. {_JUDGE}"
    return f"{who} is cold again, {degrees(facts.get('value'), house)}", body


def _unwatched(event: Event, house: House) -> Text:
    facts, who = event.facts, name(event.subject, house)
    body = f"Nothing has been heard from {who}{_place(event, house)}"
    if facts.get("value") is not None:
        rising = " and rising" if facts.get("rising") else ""
        value = degrees(facts["value"], house)
        body += f" since {_since(event, house)} ({_lasted(event)}). It was at {value}{rising} then."
    else:
        body += f" for {_lasted(event)}, since the watch began."
    if facts.get("why"):
        body += f" {facts['why']}"
    body += (
        " Whether it is cold now cannot be seen from here.\n\nWhat to do now: look at the freezer and its sensor. Most "
        "often the sensor's battery is empty, or the sensor lies where its radio does not reach."
    )
    return f"{who} is not being watched", body


def _unwatched_worse(event: Event, house: House) -> Text:
    who = name(event.subject, house)
    body = (
        f"Nothing has been heard from {who}{_place(event, house)} for {_lasted(event)}. By now it could have warmed "
        "unseen.\n\nWhat to do now: look at the freezer itself, then at its sensor."
    )
    return f"{who} has not been watched for {_lasted(event)}", body


def _unwatched_over(event: Event, house: House) -> Text:
    who, value = name(event.subject, house), degrees(event.facts.get("value"), house)
    body = (
        f"{who}{_place(event, house)} is heard again: {value}. It was not watched for {_lasted(event)}, from "
        f"{_since(event, house)}; how warm it was in between is not known."
    )
    return f"{who} is watched again, {value}", body


def _source_down(event: Event, house: House) -> Text:
    who, reason = name(event.subject, house), str(event.facts.get("reason") or "")
    hears = [f.name for f in house.freezers.values() if _heard_by(f.sensors, event.subject, house)]
    radio = _is_radio(event.subject, house)
    what = "has heard nothing" if radio else "has not been reached"
    body = f"{who} {what} since {_since(event, house)} ({_lasted(event)})"
    body += f": {reason}. " if reason else ". "
    if hears:
        body += f"Until it is back nothing is heard from {listed(hears)}."
    if radio:
        body += (
            "\n\nWhat to do now: look at the gateway itself. Pull its Bluetooth stick and put it back, or start the "
        )
        body += "gateway anew. The sensors and their batteries are not to blame."
        return f"{who} hears nothing", body
    body += "\n\nWhat to do now: see whether the computer it runs on and the network between are switched on."
    return f"{who} is not reachable", body


def _source_over(event: Event, house: House) -> Text:
    who = name(event.subject, house)
    back = "hears again" if _is_radio(event.subject, house) else "is reached again"
    return f"{who} is back", f"{who} {back}. It was away for {_lasted(event)}, from {_since(event, house)}."


def _is_radio(source: str, house: House) -> bool:
    """Return whether a source is a radio of the gateway itself: its sensors speak otherwise than by MQTT."""
    return source != WIRED and any(
        sensor.source == source and isinstance(sensor.payload, Saying) for sensor in house.sensors.values()
    )


def _heard_by(sensors: tuple[str, ...], source: str, house: House) -> bool:
    return any(house.sensors[s].source == source for s in sensors if s in house.sensors)


def _dark(event: Event, house: House) -> Text:
    facts = event.facts
    lasted = facts.get("lasted")
    span = f"for {show_span(lasted)}" if isinstance(lasted, int) else "for a time that is not known"
    began, ended = facts.get("since"), facts.get("until")
    stamps = ""
    if isinstance(began, int) and isinstance(ended, int) and isinstance(lasted, int):
        stamps = f", from {clock(began, event.at.wall, house.zone)} to {clock(ended, event.at.wall, house.zone)}"
    lines = [
        f"  {freezer.name}: {_after_dark(facts.get('freezer:' + freezer.id), house)}"
        for freezer in house.freezers.values()
        if freezer.sensors
    ]
    body = f"gatewayd itself was not running {span}{stamps}. Nothing was watched in that time. Now:\n" + "\n".join(
        lines
    )
    body += "\n\nHow warm it was in between is not known; a freezer that is cold now may have thawed and frozen again."
    if not isinstance(lasted, int) or lasted >= HOUR:
        body += f"\n\nWhat to do now: if the mains was off, look at the food in each freezer. {_JUDGE}"
    return f"nothing was watched {span}", body


def _after_dark(value: Fact, house: House) -> str:
    return degrees(value, house) if value is not None else "not heard yet"


def _silent(event: Event, house: House) -> Text:
    who = name(event.subject, house)
    if event.what is What.OVER:
        return f"{who} is heard again", f"The sensor {who} is heard again after {_lasted(event)}."
    why = f" {event.facts['why']}" if event.facts.get("why") else ""
    return f"{who} is silent", f"Nothing has been heard from the sensor {who} for {_lasted(event)}.{why}"


def _stuck(event: Event, house: House) -> Text:
    who = name(event.subject, house)
    if event.what is What.OVER:
        return f"{who} moves again", f"The sensor {who} shows changing temperatures again."
    value = degrees(event.facts.get("value"), house)
    body = (
        f"The sensor {who} has said exactly {value} for {_lasted(event)}. A freezer's air never stands that still: "
        "the sensor may hang. Take its battery out for a minute."
    )
    return f"{who} shows the same temperature all day", body


def _clock(event: Event, house: House) -> Text:
    moved = event.facts.get("moved")
    if not isinstance(moved, int):
        return _plain(event, house)
    way, span = "forward" if moved > 0 else "back", show_span(abs(moved))
    return f"the clock was set {way}", f"The computer's clock was set {way} by {span}."


def _store(event: Event, house: House) -> Text:  # noqa: ARG001 - every writer has the same form
    text = str(event.facts.get("text") or "")
    if event.what is What.OVER:
        return "readings are written again", f"Readings are written to the disk again, after {_lasted(event)}. {text}"
    body = (
        f"{text} The freezers are watched all the same, and readings wait in memory.\n\n"
        "What to do now: look at the computer's disk or card. Until this is mended, do not switch it off."
    )
    return "readings cannot be written", body


def _mended(event: Event, house: House) -> Text:  # noqa: ARG001 - every writer has the same form
    return "the file with the readings was put right", str(event.facts.get("text") or "")


def _plain(event: Event, house: House) -> Text:
    who = name(event.subject, house)
    text = str(event.facts.get("text") or event.why or f"{event.kind.replace('-', ' ')}: {event.what.value}")
    return f"{who}: {event.kind.replace('-', ' ')} {event.what.value}", text


_WRITERS: dict[tuple[str, What | None], Callable[[Event, House], Text]] = {
    ("high", What.RAISED): _warm,
    ("high", What.OVER): _warm_over,
    ("highhigh", What.RAISED): _warm,
    ("highhigh", What.OVER): _warm_over,
    ("unwatched", What.RAISED): _unwatched,
    ("unwatched", What.WORSE): _unwatched_worse,
    ("unwatched", What.OVER): _unwatched_over,
    ("source-down", What.RAISED): _source_down,
    ("source-down", What.OVER): _source_over,
    ("dark", What.NOTED): _dark,
    ("silent", What.RAISED): _silent,
    ("silent", What.OVER): _silent,
    ("stuck", What.RAISED): _stuck,
    ("stuck", What.OVER): _stuck,
    ("clock", What.NOTED): _clock,
    ("mended", What.NOTED): _mended,
    ("store", What.RAISED): _store,
    ("store", What.OVER): _store,
}
