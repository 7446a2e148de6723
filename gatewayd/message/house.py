"""Say in one sentence how a house's freezers are, the worst first, and what to do about it.

What is read are the rows of `watch.view.status`; what is said of an alarm is what its message says.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from gatewayd.message.script import JUDGE
from gatewayd.message.wording import SCRIPTS
from gatewayd.message.words import capital, degrees, listed, pace
from gatewayd.model.event import Event, What
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.priority import Priority, parse_priority
from gatewayd.model.units import show_span
from gatewayd.thermal.picture import UNHEARD

Plain = Mapping[str, Any]

HEARD_WITHIN = UNHEARD * MINUTE  # the slowest sensor takes 30 min between two readings
STANDING = ("unacknowledged", "acknowledged")
# Of alarms that matter equally the first named here is told: what harms food soonest. Our choice.
_FIRST = ("highhigh", "not-cooling", "high", "mains-out", "rising", "lid-open", "unwatched", "source-down", "store")
_WARM = ("high", "highhigh")
# What is told in a message in the words of a terminal.
_HERE = {
    "route": "Mend it in the settings, or at the mail or chat account, then try it on the page People.",
}
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Headline:
    """Hold the sentence of a house, what to do now (empty: nothing), how the others are, and how bad it is.

    `how` is `good`, `warn` or `bad`; `alarm` is the number of the alarm it tells of, 0 for none.
    """

    text: str
    todo: str = ""
    others: str = ""
    how: str = "good"
    alarm: int = 0


def headline(house: House, rows: Sequence[Plain], alarms: Sequence[Plain], known: Mapping[str, Event]) -> Headline:
    """Return the sentence of the house from its freezers and alarms; `known` is what is known of each freezer."""
    worst = min([*by_harm(alarms), *_begun_warm(alarms, rows)], key=_harm, default=None)
    if worst is not None:
        about = str(worst["subject"])
        rest = [row for row in rows if row["id"] != about]
        of_freezer = about in house.freezers
        more = "" if not rest else holding(house, rest, others=of_freezer) if of_freezer else _sentence(house, rows)
        return replace(of_alarm(house, worst, known.get(about)), others=more)
    bad = next(iter(sorted((row for row in rows if not holds(row, house)), key=_ease)), None)
    if bad is None:
        if not rows:
            return Headline("No freezer is set up yet", "Begin with its sensor.", how="warn")
        return Headline(_sentence(house, rows))
    rest = [row for row in rows if row is not bad]
    return replace(of_freezer_row(house, bad), others=holding(house, rest, others=True) if rest else "")


def by_harm(alarms: Sequence[Plain]) -> list[Plain]:
    """Return the alarms that a house's sentence tells of, the worst first.

    Those of a low priority, the monthly test, and what is hidden or over and done with are only listed. That somebody
    is at a freezer takes its messages away, but not what is wrong with it.
    """
    found = [
        one
        for one in alarms
        if (waits_for_food(one) or (one["state"] in STANDING and (not one["hidden"] or attended(one))))
        and parse_priority(one["priority"]) > Priority.LOW
        and one["kind"] != "test"
    ]
    return sorted(found, key=_harm)


def _begun_warm(alarms: Sequence[Plain], rows: Sequence[Plain]) -> list[Plain]:
    """Return what says that a freezer is too warm that was so before its defrost began, which then is not the cause."""
    return [one for one in alarms if one["kind"] in _WARM and one["state"] in STANDING and older(one, rows)]


def _harm(alarm: Plain) -> tuple[bool, int, int, str]:
    place = _FIRST.index(alarm["kind"]) if alarm["kind"] in _FIRST else len(_FIRST)
    return waits_for_food(alarm), -parse_priority(alarm["priority"]), place, str(alarm["since"])


def attended(alarm: Plain) -> bool:
    """Return whether an alarm is hidden only because somebody is at the freezer; of the lid he knows himself."""
    return bool(alarm.get("until")) and not alarm.get("suppressed_by") and alarm["kind"] != "lid-open"


def waits_for_food(alarm: Plain) -> bool:
    """Return whether an alarm is over and waits until somebody has checked the food."""
    return str(alarm["state"]).startswith("latched")


def of_alarm(house: House, alarm: Plain, known: Event | None) -> Headline:
    """Return what is said of one alarm: the title and the advice of its message, as things are now."""
    kind, subject, number = str(alarm["kind"]), str(alarm["subject"]), int(alarm["number"])
    priority = parse_priority(alarm["priority"])
    fresh = {} if known is None else {fact: value for fact, value in known.facts.items() if value is not None}
    facts = {**alarm.get("facts", {}), **fresh}  # those of the alarm are of its last turn
    at = known.at if known is not None else Moment(0, 0)
    script = SCRIPTS[kind]
    if waits_for_food(alarm):
        event = Event(number, at, subject, kind, What.OVER, priority, facts={**facts, "latched": True})
        return Headline(capital(script.over(event, house)[0]), f"Look at the food. {JUDGE}", how="bad", alarm=number)
    event = Event(number, at, subject, kind, What.RAISED, priority, facts=facts)
    how = "bad" if priority is Priority.HIGH else "warn"
    todo = _HERE.get(kind) or script.advice(replace(event, what=What.NOTED), house)  # no message's range stands above
    return Headline(capital(script.raised(event, house)[0]), todo, how=how, alarm=number)


def of_freezer_row(house: House, row: Plain) -> Headline:
    """Return what is said of a freezer that no alarm stands for, and that is not simply holding."""
    name, value, ago = row["name"], row["celsius"], row["heard_ago"]
    if busy(row):
        return Headline(f"{name} is {row['state']}", how="warn")
    if row["state"] == "no sensor":
        return Headline(f"{name} has no sensor, so nothing is known of it", "Give it one.", how="warn")
    if value is None or ago is None:
        return Headline(f"{name} has not been heard yet", "Wait some minutes; then look at its sensor.", how="warn")
    if ago > HEARD_WITHIN:
        return Headline(
            f"{name} has not been heard for {show_span(ago)}", "Look at the freezer, then at its sensor.", how="warn"
        )
    shown = degrees(value, house)
    if value > house.freezers[row["id"]].limits.high:
        return Headline(f"{name} is warmer than it should be, {shown}", "See that it is shut.", how="warn")
    return Headline(f"{name}: {row['state']}", how="warn")


def busy(row: Plain) -> bool:
    """Return whether somebody has begun something with a freezer that keeps it from cooling."""
    test = row["test"]
    return row["defrost"] is not None or (test is not None and test["ended"] is None)


def holds(row: Plain, house: House) -> bool:
    """Return whether a freezer is known to be cold enough now."""
    value, ago, freezer = row["celsius"], row["heard_ago"], house.freezers.get(row["id"])
    if freezer is None or value is None or ago is None or busy(row):
        return False
    return bool(ago <= HEARD_WITHIN and value <= freezer.limits.high)


def _ease(row: Plain) -> tuple[bool, bool]:
    """Put first what nobody has begun himself, and last what has no sensor."""
    return row["state"] == "no sensor", busy(row)


def _sentence(house: House, rows: Sequence[Plain]) -> str:
    """Say how all freezers of a house are, nothing where there are none."""
    return holding(house, rows, others=False)


def holding(house: House, rows: Sequence[Plain], *, others: bool) -> str:
    """Say which of some freezers hold: `All three freezers are holding`, `The other two freezers are holding`."""
    good = [row for row in rows if holds(row, house)]
    if not rows:
        return ""
    if len(good) < len(rows):
        held = [f"{_count(len(good)).capitalize()} {'is' if len(good) == 1 else 'are'} holding"] if good else []
        begun = [f"{row['name']} is {row['state']}" for row in rows if busy(row)]
        left = [row["name"] for row in rows if not holds(row, house) and not busy(row)]
        unknown = [f"{listed(left)} {'is' if len(left) == 1 else 'are'} not known to be cold"] if left else []
        return "; ".join([*held, *begun, *unknown])
    if len(rows) == 1:
        return f"{rows[0]['name']} is holding"
    if others:
        return f"The other {_count(len(rows))} freezers are holding"
    return f"{'Both' if len(rows) == 2 else f'All {_count(len(rows))}'} freezers are holding"


def _count(number: int) -> str:
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)


def trend(speed: float | None, house: House) -> str:
    """Say how a temperature moves: `rising by 1.2 °C an hour`, `steady`; nothing where it is not known."""
    return pace(speed, house).removeprefix("and ")


def held(row: Plain) -> list[str]:
    """Say why alarms of a freezer are held, and until when."""
    said, test, defrost = [], row.get("test"), row.get("defrost")
    if row["quiet_until"]:
        said.append(f"somebody is at it; its alarms are quiet until {_clock(row['quiet_until'])}")
    if test and not test["ended"]:
        said.append(f"switched off for a test until {_clock(test['until'])}, its alarms are held")
    elif test:
        until = f"; its alarms are held until {_clock(test['quiet_until'])}" if test["quiet_until"] else ""
        said.append(f"its test is over, and it is watched until it cools{until}")
    if defrost and defrost["quiet_until"]:
        said.append(f"being defrosted, its alarms are held until {_clock(defrost['quiet_until'])}")
    return said


def older(alarm: Plain, rows: Sequence[Plain]) -> bool:
    """Return whether an alarm stood before its freezer's defrost began, which then is no reason not to show it."""
    mine = next((one.get("defrost") for one in rows if one["id"] == alarm["subject"]), None)
    return mine is not None and datetime.fromisoformat(alarm["since"]) < datetime.fromisoformat(mine["began"])


def _clock(stamp: str) -> str:
    return f"{datetime.fromisoformat(stamp):%H:%M}"
