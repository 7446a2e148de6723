"""Give account of what happened: an event, why people were told of it or not, and what became of the messages."""

from collections.abc import Callable
from datetime import tzinfo

from gatewayd.message.plan import HOUSE, Reason
from gatewayd.message.words import at, called, capital, clock, degrees, name, pace, sentence, span, stamp
from gatewayd.model.delivery import Progress
from gatewayd.model.event import Decision, Event, Fact, What
from gatewayd.model.house import House
from gatewayd.model.moment import from_wall

# What a turn is called behind the name of its alarm; `{who}` is who did it.
TURNS = {
    What.RAISED: "began",
    What.WORSE: "became worse",
    What.REPEATED: "was still going on",
    What.ACKNOWLEDGED: "seen by {who}",
    What.CONFIRMED: "confirmed by {who}",
    What.OVER: "was over",
    What.RESET: "ended by {who}",
    What.SILENCED: "sound switched off by {who}",
    What.SHELVED: "kept quiet by {who}",
    What.UNSHELVED: "no longer kept quiet",
    What.SUPPRESSED: "another message speaks for it",
    What.UNSUPPRESSED: "speaks for itself again",
    What.OUT_OF_SERVICE: "taken out of service by {who}",
    What.IN_SERVICE: "in service again",
    What.CLOSED: "closed, as the settings changed",
    What.NOTED: "noted",
}
PROGRESS = {
    Progress.WAITING: "waits to be sent",
    Progress.SENDING: "is being sent",
    Progress.SENT: "sent",
    Progress.GIVEN_UP: "could not be sent",
    Progress.NOT_NEEDED: "was not needed",
}
# The kinds of things that happen, as people look for them: a name for addresses, the words, the kinds of alarm. What
# is in none of them is a line of the log that is no alarm.
ABOUT = (
    (
        "warmth",
        "Too warm, or not cooling",
        ("high", "highhigh", "rising", "warm-long", "not-cooling", "chattering", "too-cold"),
    ),
    ("power", "Power and lids", ("mains-out", "lid-open")),
    (
        "sensors",
        "Sensors, and what is not watched",
        ("unwatched", "silent", "stuck", "sensor-fault", "battery", "weak-signal"),
    ),
    (
        "gateway",
        "The gateway itself",
        ("source-down", "store", "disk-filling", "route", "clock-unset", "neighbour-silent", "test"),
    ),
)
NOTES = ("notes", "What was done, and other notes")
NOT_KEPT = "Nothing is kept about whom to tell; it goes after 400 days."


def subject(event: Event, house: House) -> str:
    """Return what an event is about, as people call it."""
    return house.name if event.subject == house.id else name(event.subject, house)


def who(by: str, house: House) -> str:
    """Return the name of who did something: one of the people, a part of the house, or as it is written."""
    return house.people[by].name if by in house.people else name(by, house)


# How far a defrost or a test switch-off is, by its stage or its step.
STAGES = {
    "begun": "begun", "anyway": "begun, although something spoke against it", "ended": "said to be done",
    "over": "not cold again when its time was over", "cold": "cold again", "nothing": "cold, and nothing was done",
    "food-soon": "its food must go back soon", "food-now": "its food must go back now", "cancel": "cancelled",
    "manual": "the manual was read", "ready": "all is at hand", "food-out": "the food is out",
    "unplug": "unplugged", "lid": "the lid is propped", "ice": "the ice is off", "wash": "washed and dry",
    "on": "switched on", "food-back": "the food is back",
    "switch-on": "it is time to switch it on", "too-warm": "ended early, for it got too warm",
}  # fmt: skip
# What is known with an event, as people call it; what is not here is for programs and stands in the exports.
FACTS: dict[str, tuple[str, Callable[[Fact, Event, House], str]]] = {
    "value": ("It was at", lambda fact, _, house: degrees(fact, house)),
    "limit": ("Its limit", lambda fact, _, house: degrees(fact, house) if isinstance(fact, float) else ""),
    "peak": ("The warmest", lambda fact, _, house: degrees(fact, house)),
    "peak_at": ("The warmest came", stamp),
    "warmest": ("The warmest", lambda fact, _, house: degrees(fact, house)),
    "speed": ("How fast", lambda fact, _, house: pace(fact, house).removeprefix("and ")),
    "since": ("Since", stamp),
    "until": ("Until", stamp),
    "lasted": ("It lasted", lambda fact, _event, _house: span(fact)),
    "span": ("For", lambda fact, _event, _house: span(fact)),
    "reason": ("The reason", lambda fact, _event, _house: sentence(fact)),
    "why": ("Why", lambda fact, _event, _house: sentence(fact)),
    "ice": ("The ice", lambda fact, _event, _house: sentence(fact)),
    "note": ("Note", lambda fact, _event, _house: sentence(fact)),
}


def known(event: Event, house: House) -> list[tuple[str, str]]:
    """Return what was known with an event, each as (what it is called, in words); what says nothing is left out."""
    written = [(words, write(event.facts.get(name), event, house)) for name, (words, write) in FACTS.items()]
    return [(words, text) for words, text in written if text]


def turn(event: Event, house: House) -> str:
    """Say what an event is in a few words behind its subject: `too warm: began, −9.5 °C`."""
    if event.what is What.NOTED:
        text = event.facts.get("text") or STAGES.get(str(event.facts.get("step") or event.facts.get("stage")))
        return f"{called(event.kind)}: {text}" if isinstance(text, str) and text else called(event.kind)
    did = TURNS[event.what].format(who=who(event.who, house) or HOUSE)
    value = degrees(event.facts.get("value"), house) if event.what in (What.RAISED, What.WORSE, What.REPEATED) else ""
    return f"{called(event.kind)}: {did}{f', {value}' if value else ''}"


def line(event: Event, house: House) -> str:
    """Say an event in one line: `Shed chest, too warm: began, −9.5 °C`."""
    return f"{capital(subject(event, house))}, {turn(event, house)}"


def reason(decision: Decision) -> str:
    """Return why somebody was told or not, in words."""
    names = Reason.__members__
    return names[decision.reason].value if decision.reason in names else decision.reason.replace("_", " ").lower()


def decided(decision: Decision, house: House, today: int | None = None) -> str:
    """Say whom an event was told and why, or why not; times as people say them on the day of `today` (wall ms)."""
    for_whom = who(decision.person, house) if decision.person else "Everyone"
    until = decision.until
    waits = f"waits until {_time(until, today, house.zone)}, " if until is not None else ""
    return f"{for_whom}: {waits}{reason(decision)} ({_time(decision.at.wall, today, house.zone)})"


def delivered(to: str, route: str, progress: Progress, changed: int, house: House, today: int | None = None) -> str:
    """Say what became of a message to a person by a route, and when (wall ms)."""
    return f"{who(to, house)}: the message by {route}: {progress.value} ({_time(changed, today, house.zone)})"


def sent(
    to: str, route: str, progress: Progress, changed: int, tries: int, error: str, house: House, today: int
) -> str:
    """Say what became of a message, and what was wrong where it failed: `Ann, by ann-mail: sent, at 14:05`."""
    begun = f"{who(to, house)}, by {route}: {PROGRESS[progress]}"
    when = at(clock(changed, today, house.zone))
    tried = f" after {tries} tries" if tries > 1 else ""
    failed = f" ({error})" if error and progress is not Progress.SENT else ""
    waits = progress in (Progress.WAITING, Progress.SENDING)
    return f"{begun}{tried}{failed}, since {when.removeprefix('at ')}" if waits else f"{begun}{tried}, {when}{failed}"


def _time(wall: int, today: int | None, zone: tzinfo) -> str:
    """Write a time as on the day of `today`, as on its own day where none is given."""
    return clock(wall, wall if today is None else today, zone)


def day(wall: int, zone: tzinfo) -> str:
    """Write a day as a heading: `Tuesday 24 November 2026`."""
    when = from_wall(wall).astimezone(zone)
    return f"{when:%A} {when.day} {when:%B %Y}"
