"""Reasons: what a setting is called on the house's pages, and why its default is what it is.

By path, with `<id>` where the keeper's ids stand. What has no entry here is changed by hand only.
"""

from dataclasses import dataclass

from gatewayd.alarm import kinds
from gatewayd.model import contents


@dataclass(frozen=True, slots=True)
class Reason:
    """Hold what people read as a setting's name, and the reason for its default or for asking at all."""

    label: str
    why: str


LIMITS = {
    "high": Reason(
        "Too warm above",
        "The default is what frozen food in a shop may reach for a short time (Directive 89/108/EEC, article 5).",
    ),
    "high_on_delay": Reason(
        "Too warm for so long",
        "Longer than sorting food with the lid open, or an automatic defrost.",
    ),
    "highhigh": Reason("Far too warm above", "The default is common practice for household freezers."),
    "highhigh_on_delay": Reason(
        "Far too warm for so long",
        "This warm it is seldom the lid. With automatic defrost warm air blows for half an hour, so it waits longer.",
    ),
    "deadband": Reason(
        "Over again when colder by", "One degree keeps an alarm from coming and going at its limit (EEMUA 191)."
    ),
    "off_delay": Reason("Cold again for so long", "A lid shut for a moment does not end an alarm."),
    "unwatched": Reason("No reading for so long", "A shut freezer is in no hurry within the hour."),
    "unwatched_high": Reason("No reading for so long is urgent", "After four hours a dead freezer may have thawed."),
    "rising_within": Reason(
        "Warming up, too warm within", "Six hours leave time to drive home or to ask a neighbour."
    ),
    "too_cold": Reason("Colder than usual by", "More than a freezer overshoots after loading."),
    "too_cold_on_delay": Reason("Colder than usual for so long", "A pull-down after loading is over by then."),
    "lid_open": Reason("Lid open for so long", "Putting a week's shopping away is quicker."),
    "warm": Reason(
        "Warm for keeping above", "Quick-frozen food may reach it for a short time (Directive 89/108/EEC)."
    ),
    "warm_single": Reason("Warm for keeping, at a time", "A single long spell already shortens keeping."),
    "warm_total": Reason(
        "Warm for keeping, in a day", "Ten hours is what cold stores count (WHO/IVB/05.23)."
    ),
}  # fmt: skip
_ALARMS = {
    kinds.HIGH.name: Reason("Too warm", "It may wait until morning, not longer, so it cannot be made quieter."),
    kinds.HIGHHIGH.name: Reason("Far too warm", "Food is in danger: it wakes people."),
    kinds.RISING.name: Reason("Warming up", "Early enough to do something in peace."),
    kinds.LID_OPEN.name: Reason("Lid open", "Somebody is at home and can shut it."),
    kinds.WARM_LONG.name: Reason("Warm for long", "Nothing to do at once; it is for the log and the weekly note."),
    kinds.TOO_COLD.name: Reason("Colder than usual", "It costs power, not food."),
    kinds.CHATTERING.name: Reason("An alarm that comes and goes", "It tells of a limit set too tight."),
    kinds.MAINS_OUT.name: Reason("No power at its plug", "A shut freezer holds for hours; somebody should look."),
    kinds.UNWATCHED.name: Reason(
        "Not watched", "While nothing is heard, nothing can be told; so it cannot be silenced."
    ),
}
_CONTENTS = {
    contents.Group.MEAT.value: "Meat, fish, poultry",
    contents.Group.PRODUCE.value: "Vegetables and fruit",
    contents.Group.BREAD.value: "Bread, cake, dough",
    contents.Group.MEALS.value: "Meals, soup, milk",
    contents.Group.WATER.value: "Water and cold packs",
}
_WEIGH = "A guess is enough."
REASONS = {
    "site.name": Reason("What the house is called", "It stands at the head of every message."),
    "site.time_zone": Reason("Time zone", "All times that you read are in it."),
    "site.units": Reason("Temperatures in", "Degrees as your oven has them."),
    "freezers.<id>.name": Reason("Name", "Everybody of the house must know at once which one is meant."),
    "freezers.<id>.kind": Reason("How it is built", "A chest keeps its cold air when opened, an upright does not."),
    "freezers.<id>.volume": Reason("Volume", "It stands on the plate inside; a larger one stays cold for longer."),
    "freezers.<id>.place": Reason("Where it stands", "For whoever must go and look, maybe a neighbour."),
    "freezers.<id>.room": Reason("Thermometer of its room", "A warm room warms a dead freezer sooner."),
    "freezers.<id>.room_about": Reason("Its room is about", "Only where no thermometer says so."),
    **{f"freezers.<id>.limits.{key}": reason for key, reason in LIMITS.items()},
    **{f"freezers.<id>.alarms.{key}": reason for key, reason in _ALARMS.items()},
    **{f"freezers.<id>.contents.{key}": Reason(label, _WEIGH) for key, label in _CONTENTS.items()},
    "people.<id>.name": Reason("Name", "Others read it in messages: who has seen an alarm."),
    "people.<id>.told_from": Reason("Told from", "Medium and high ask somebody to act; low is for the log."),
    "people.<id>.quiet_hours": Reason("Quiet hours", "Whoever is woken for nothing stops listening."),
    "telling.join_within": Reason("One message for what happens within", "One power cut is one message, not three."),
    "telling.next_after": Reason("Next person after", "A quarter of an hour is a shower or a drive home."),
    "telling.again_high": Reason("Urgent: told again every", "A freezer that fails loses about a degree in an hour."),
    "telling.again_medium": Reason("Otherwise told again every", "Often enough to be done the same day."),
    "telling.note": Reason("Note of the week", "If it stays away, messages do not arrive."),
    "telling.test": Reason(
        "Test alarm, first week of a month", "It asks for a tap, so that the way to you is known to work."
    ),
}  # fmt: skip
