"""The script of one kind of alarm: what is said when it begins, goes on, grows worse and ends, and what to do.

The advice stands beside the wording and not in it, so that no message of an end can repeat that of the beginning. It
follows the published rules for home freezers: food with ice crystals, or at 40 °F (4.4 °C) or colder, may be refrozen
or cooked; never taste to find out (USDA and FDA on power outages).
"""

from collections.abc import Callable
from dataclasses import dataclass

from gatewayd.message.left import told
from gatewayd.message.words import at, capital, degrees, name, pace, person, span, stamp
from gatewayd.model.event import Event, What
from gatewayd.model.house import House

Text = tuple[str, str]  # title, body
Writer = Callable[[Event, House], Text]
Phrase = Callable[[Event, House], str]

JUDGE = (
    "Food that still has ice crystals, or is at 4.4 °C (40 °F) or colder, may be refrozen or cooked. Never taste "
    "food to find out. When in doubt, throw it out. Your local food-safety authority and the maker's label come first."
)
_JUDGE_AGAIN = "Never taste food; when in doubt, throw it out."
WHY = "If nobody knows why, look at lid, plug and gasket in daylight."

# Kinds that ask for no person: nobody needs to say that they have seen them. The kinds themselves live beside the
# alarms, which the wording may not import; a test holds the two together.
UNASKED = frozenset(
    {
        *("warm-long", "too-cold", "chattering", "silent", "stuck", "sensor-fault", "battery", "weak-signal"),
        *("store", "disk-filling", "route", "clock-unset"),
    }
)
# What a person who works at the freezer causes, and may keep quiet for an hour.
AT_WORK = frozenset({"high", "highhigh", "rising", "lid-open"})


def judge(event: Event) -> str:
    """Return how to judge food; a reminder has only what must never be forgotten."""
    return _JUDGE_AGAIN if event.what is What.REPEATED else JUDGE


def nothing(_event: Event, _house: House) -> str:
    """Say nothing."""
    return ""


def now(event: Event, house: House, what: str = "It") -> str:
    """Say how warm it (or `what`) is now and how that moves, nothing where it is not known.

    Where a forecast follows, the pace is left out: one figure of how fast it goes is enough at night.
    """
    value = degrees(event.facts.get("value"), house)
    speed = pace(event.facts.get("speed"), house)
    if told(event):
        speed = speed.partition(" by ")[0]
    return f"{what} is at {value} now{' ' + speed if speed else ''}." if value else ""


def titled(headline: str, event: Event, house: House, fact: str = "value") -> str:
    """Return a headline with the temperature behind it, where that is known."""
    value = degrees(event.facts.get(fact), house)
    return f"{headline}, {value}" if value else headline


@dataclass(frozen=True, slots=True)
class Script:
    """Hold how one kind of alarm is told.

    `still` is the headline while it goes on, `advice` the one thing to do while it does, `present` how things are now,
    `outlook` why it is so and how long is left. `worse` is only needed where growing worse wants words of its own.
    """

    raised: Writer
    over: Writer
    still: Phrase
    advice: Phrase
    present: Phrase = nothing
    worse: Writer | None = None
    outlook: Phrase = nothing

    def text(self, event: Event, house: House) -> Text:
        """Return title and body of any turn, without the sign-off."""
        if event.what is What.OVER:
            return self.over(event, house)
        if event.what is What.RAISED:
            title, body = self.raised(event, house)
        elif event.what is What.WORSE:
            title, body = self.worse(event, house) if self.worse else self._more_urgent(event, house)
        else:
            title, body = self._again(event, house)
        advice = self.advice(event, house)
        if event.what is What.RAISED and event.kind in AT_WORK and event.subject in house.freezers:
            advice += f"\n\nAt work there? Quiet for an hour: gatewayd at {event.subject}"
        outlook = self.outlook(event, house)
        parts = (body, outlook, f"What to do now: {advice}" if advice else "")
        return title, "\n\n".join(part for part in parts if part)

    def _headline(self, event: Event, house: House) -> str:
        headline = self.still(event, house)
        return titled(headline, event, house) if self.present is now else headline

    def _again(self, event: Event, house: House) -> Text:
        repeats = event.facts.get("repeats")
        told = f"This is reminder {repeats}." if isinstance(repeats, int) and repeats > 0 else ""
        return self._headline(event, house), joined(*self._going_on(event, house), told, _seen(event, house))

    def _more_urgent(self, event: Event, house: House) -> Text:
        return self._headline(event, house), joined(*self._going_on(event, house), "It is more urgent now.")

    def _going_on(self, event: Event, house: House) -> tuple[str, str, str]:
        since, lasted = stamp(event.facts.get("since"), event, house), span(event.facts.get("lasted"))
        began = f"It began {at(since)}" if since else ""
        if lasted:
            began = f"{began}, {lasted} ago." if began else f"It has lasted for {lasted} by now."
        elif began:
            began += "."
        return f"{capital(self.still(event, house))}.", began, self.present(event, house)


def _seen(event: Event, house: House) -> str:
    who = event.facts.get("acknowledged_by")
    if isinstance(who, str) and who and event.kind not in UNASKED:
        return f"{person(who, house)} has seen it, but it has not ended."
    return "" if event.kind in UNASKED else "Nobody has said yet that they have seen it."


def joined(*parts: str) -> str:
    """Join sentences, leaving out those that could not be said."""
    return " ".join(part for part in parts if part)


def of(event: Event, house: House) -> str:
    """Return the name of what the event is about."""
    return name(event.subject, house)
