"""Word what ails the gateway itself: its disk, its clock, its ways to reach people; and the monthly test."""

from gatewayd.message.script import Script, Text, joined, nothing
from gatewayd.message.words import person, sentence, span, spell, stamp
from gatewayd.model.event import Event
from gatewayd.model.house import House


def _text(event: Event) -> str:
    return sentence(event.facts.get("text"))


def _store(event: Event, _house: House) -> Text:
    body = joined(
        _text(event) or "Readings cannot be written to the disk.",
        "The freezers are watched all the same, and readings wait in memory.",
    )
    return "readings cannot be written", body


def _store_advice(_event: Event, _house: House) -> str:
    return "Look at the computer's disk or card. Until this is mended, do not switch it off."


def _store_over(event: Event, _house: House) -> Text:
    lasted = span(event.facts.get("lasted"))
    body = f"Readings are written to the disk again{f', after {lasted}' if lasted else ''}."
    return "readings are written again", joined(body, _text(event))


def _disk(event: Event, _house: House) -> Text:
    body = "When it is full, new readings can only wait in memory. Alarms go on."
    return "the disk is filling up", joined(_text(event) or "The gateway's disk or card is filling up.", body)


def _disk_advice(_event: Event, _house: House) -> str:
    return "Make room on the computer's disk or card, or put a larger one in."


def _disk_over(event: Event, _house: House) -> Text:
    return "the disk has room again", joined("The gateway's disk or card has room again.", _text(event))


# The pages leave the sentence with the command out; a house without pages has only that.
TRY = "Send a test message from the house's page People. Without pages: sudo gatewayd check --routes"


def _route(event: Event, _house: House) -> Text:
    body = joined("Messages do not get out by one of the ways you set up.", _text(event))
    return "a way to reach you does not work", f"{body} The other ways carry them meanwhile, where there are any."


def _route_advice(_event: Event, _house: House) -> str:
    return f"Mend it in the settings, or at the mail or chat account. {TRY}"


def _route_over(_event: Event, _house: House) -> Text:
    return "all ways to reach you work again", "All the ways to reach you that you set up can be used again."


def _unset(event: Event, house: House) -> Text:
    body = (
        f"Nothing has set the computer's clock{spell(event, house)}. Freezers are watched all the same, but the times "
        "in messages may be wrong, and the weekly note and the monthly test wait."
    )
    return "the computer does not know the time", body


def _unset_advice(_event: Event, _house: House) -> str:
    return "See whether the router and the internet work; the computer asks there for the time."


def _unset_over(_event: Event, _house: House) -> Text:
    return "the computer knows the time again", "The computer's clock has been set; times in messages are right again."


def _test(_event: Event, _house: House) -> Text:
    body = "This is the monthly test. Nothing is wrong: it shows that a message reaches you, and that you can answer."
    return "monthly test, please answer", body


def _test_advice(_event: Event, _house: House) -> str:
    return "Answer it once: tap the link in this message if it has one, or use the command below."


def _test_still(_event: Event, _house: House) -> str:
    return "the monthly test is still waiting for an answer"


def _test_over(event: Event, house: House) -> Text:
    who = event.facts.get("acknowledged_by")
    if event.facts.get("answered") is False:
        return "nobody answered the monthly test", "The monthly test is over. Nobody answered it."
    by = f" by {person(who, house)}" if isinstance(who, str) and who else ""
    return "the monthly test was answered", f"The monthly test was answered{by}. Messages reach you."


def untested(event: Event, house: House) -> Text:
    """Return the words for a test that nobody answered, told once."""
    since = stamp(event.facts.get("since"), event, house)
    body = (
        f"Nobody answered the monthly test{f' ({since})' if since else ''}. If you were away, all is well. If you "
        "never saw it, alarms do not reach you either. You are not told of this again before a test was answered.\n\n"
        f"What to do now: see that messages reach you. {TRY}"
    )
    return "nobody answered the monthly test", body


def moved(event: Event, _house: House) -> Text:
    """Return the words for a clock that was set."""
    by = event.facts.get("moved")
    if not isinstance(by, int) or not span(abs(by)):
        return "the clock was set", "The computer's clock was set."
    way = "forward" if by > 0 else "back"
    return f"the clock was set {way}", f"The computer's clock was set {way} by {span(abs(by))}."


def mended(event: Event, _house: House) -> Text:
    """Return the words for a store that was put right."""
    return "the file with the readings was put right", str(event.facts.get("text") or "It was damaged.")


def week(event: Event, _house: House) -> Text:
    """Return the note of the week, which others write."""
    return str(event.facts.get("title") or "the week"), str(event.facts.get("text") or "There is nothing to tell.")


SCRIPTS = {
    "store": Script(_store, _store_over, lambda _e, _h: "readings still cannot be written", _store_advice),
    "disk-filling": Script(_disk, _disk_over, lambda _e, _h: "the disk is still filling up", _disk_advice),
    "route": Script(_route, _route_over, lambda _e, _h: "a way to reach you still does not work", _route_advice),
    "clock-unset": Script(
        _unset, _unset_over, lambda _e, _h: "the computer still does not know the time", _unset_advice
    ),
    "test": Script(_test, _test_over, _test_still, _test_advice, nothing),
}
