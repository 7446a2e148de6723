"""Word a defrost that runs: the food outside, the time that is over, and that it is cold again."""

from gatewayd.message.script import JUDGE, Text, joined, now, of, titled
from gatewayd.message.words import lid, place, span, stamp
from gatewayd.model.event import Event
from gatewayd.model.house import House

# What to do with the food outside, a quarter of an hour before its time is over and after it, and at the planned end.
FOOD_SOON = "Begin to put it back, or into another freezer."
FOOD_NOW = "Put it into a freezer at once, this one if it runs, or another, or cool boxes with ice."
OVER = "Dry it, SWITCH IT BACK ON, shut it, and hear that it runs."


def noted(event: Event, house: House) -> Text:
    """Return the words for a step of a defrost."""
    who, where = of(event, house), place(event.subject, house)
    match event.facts.get("stage"):
        case "begun":
            until = stamp(event.facts.get("until"), event, house)
            planned = f", planned until {until}" if until else ""
            return f"the defrost of {who} has begun", (
                f"The defrost of {who}{where} has begun{planned}. Its alarms are held meanwhile.\n\n"
                f"What to do now: food out, plug out, {lid(event.subject, house)} propped open. No metal, no heater. "
                "The food must be back in the cold within two hours."
            )
        case "step":
            return f"the defrost of {who} goes on", f"The defrost of {who}{where} goes on: {event.facts.get('step')}."
        case "food-soon" | "food-now":
            return _food(event, house)
        case "over":
            return f"the planned end of {who}'s defrost is here", joined(
                f"The time planned for the defrost of {who}{where} is over.", now(event, house)
            ) + (
                f"\n\nWhat to do now: {_small(OVER)} You are told if it "
                f"does not cool within 20 minutes. More time? gatewayd defrost start {event.subject} --for 30min"
            )
        case "ended":
            return f"the defrost of {who} is done", (
                f"The defrost of {who}{where} is done. Its alarms are told as always again once it is cold.\n\n"
                "What to do now: see that it is switched on."
            )
        case "cold":
            return titled(f"{who} is cold again after its defrost", event, house), joined(
                f"{who}{where} is cold again after its defrost. Its alarms are told as always from now on."
            ) + "\n\nWhat to do now: put the food back if it is still outside, and use first what was out."
        case "nothing":
            return f"{who} was not defrosted", (
                f"Nobody said that the defrost of {who}{where} was done, and its air was not seen to be warm enough to "
                "melt ice, so none is written down. Its alarms are told as always.\n\nWhat to do now: see that it is "
                f"switched on. If it was defrosted: gatewayd chore add {event.subject} defrosted"
            )
    return f"the defrost of {who}", f"There is news of the defrost of {who}{where}. See that it is switched on."


def _food(event: Event, house: House) -> Text:
    who, where = of(event, house), place(event.subject, house)
    lasted, since = span(event.facts.get("lasted")), stamp(event.facts.get("since"), event, house)
    out = f"The food of {who}{where} has been out" + (f" for {lasted}" if lasted else "")
    out += f", since {since}." if since else "."
    if event.facts.get("stage") == "food-soon":
        return f"the food of {who} must soon be in the cold", (
            f"{out} Two hours are the most.\n\n"
            f"What to do now: {_small(FOOD_SOON)} When it is in: gatewayd defrost step {event.subject} food-back"
        )
    return f"the food of {who} must be in the cold now", (
        f"{out} Two hours are the most.\n\n"
        f"What to do now: {_small(FOOD_NOW)} {JUDGE} When it is in: gatewayd defrost step {event.subject} food-back"
    )


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
