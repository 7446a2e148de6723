"""Meant: what is allowed and hardly meant, in the words of the file and, for the pages, in those of people."""

from typing import Any

from gatewayd.model.limits import Limits
from gatewayd.model.moment import DAY, HOUR
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import Warned
from gatewayd.settings.keys import Group, Key
from gatewayd.settings.reasons import LIMITS
from gatewayd.settings.refer import called, entries

MELTS = 0.0  # °C: above it, water is melting; a limit that warm is nearly always a lost minus sign
# °C: 3 K over the last tolerance of quick-frozen food in a shop cabinet (Directive 89/108/EEC, article 5)
LATE = -9.0
EARLY = -18.0  # °C: what the same directive asks of frozen food, so what most freezers are set to
WIDE = 5.0  # K: a freezer that was too warm and is well again may not come so far below its limit. Our choice
LOST = "the food may be lost before anybody hears of it"
DEAF = "whether the food is cold is not known for all that time"
# An alarm that waits longer comes when little is left to do: food at far too warm for 2 h must be judged (the 2-hour
# rule of the government charts for power cuts); 4 h without a reading is urgent by default, and after a day a freezer
# that stands still has thawed. An alarm that ends 2 h late hides the next one. Our choice, after those.
LONGEST: tuple[tuple[Key[int], int, str], ...] = (
    (schema.HIGH_ON_DELAY, 4 * HOUR, LOST),
    (schema.HIGHHIGH_ON_DELAY, 2 * HOUR, LOST),
    (schema.OFF_DELAY, 2 * HOUR, "an alarm stands long after it is over"),
    (schema.UNWATCHED, 4 * HOUR, DEAF),
    (schema.UNWATCHED_HIGH, DAY, DEAF),
)
NEVER: tuple[tuple[Key[int], str], ...] = (
    (schema.RISING_WITHIN, "means that a freezer which warms up is not told of before it is too warm"),
    (schema.LID_OPEN, "means that an open lid is never told of"),
)
NAMED: tuple[tuple[Group, Key[str], str], ...] = (
    (schema.FREEZERS, schema.FREEZER_NAME, "freezer"),
    (schema.PEOPLE, schema.PERSON_NAME, "person"),
)


def meant(id_: str, freezer: Checked, limits: Limits, units: TemperatureUnit) -> list[str]:
    """Return what is hardly meant of a freezer's limits."""
    found = freezer.group(schema.LIMITS)
    warnings: list[str] = []

    def warn(key: Key[Any], rest: str) -> None:
        shown, name = found.written(key), called(freezer, id_, schema.FREEZER_NAME)
        text = f"freezer {id_}: {key.name} {shown} {rest}"
        warnings.append(Warned.of(text, f"{name}, {label(key)}: {shown} {rest}"))

    if limits.highhigh > MELTS:
        warn(schema.HIGHHIGH, "is above freezing; is the minus sign missing?")
    if limits.high > LATE:
        warn(schema.HIGH, f"is warmer than {units.show(LATE, 0)}, so its alarm comes late")
    if limits.high < EARLY:
        usual = units.show(EARLY, 0)
        warn(schema.HIGH, f"is colder than {usual}, as many freezers are kept, so its alarm may come for nothing")
    if limits.deadband > WIDE:
        wide = units.show_difference(WIDE, 0)
        warn(schema.DEADBAND, f"is more than {wide}; an alarm may stand although it is cold again")
    for waits, longest, why in LONGEST:
        delay = found.maybe(waits)
        if delay is not None and delay > longest:
            warn(waits, f"is longer than {show_span(longest)}; {why}")
    for key, why in NEVER:
        if found.maybe(key) == 0:
            warn(key, why)
    return warnings


def contradiction(found: Checked, units: TemperatureUnit) -> str:
    """Say in the words of the pages which limits contradict each other, empty where none of them do."""
    high, highhigh = found.take(schema.HIGH), found.take(schema.HIGHHIGH)
    if not high < highhigh:
        return (
            f"{label(schema.HIGH)} ({units.show(high)}) must be colder than {label(schema.HIGHHIGH)} "
            f"({units.show(highhigh)})."
        )
    soon, late = found.take(schema.UNWATCHED), found.take(schema.UNWATCHED_HIGH)
    if soon > late:
        return (
            f"{label(schema.UNWATCHED)} ({show_span(soon)}) must not be longer than {label(schema.UNWATCHED_HIGH)} "
            f"({show_span(late)})."
        )
    return ""


def namesakes(root: Checked) -> list[str]:
    """Return a warning for each freezer and person whose name another one has already."""
    warnings: list[str] = []
    for section, key, what in NAMED:
        first: dict[str, str] = {}
        for id_, entry in entries(root, section).items():
            name = called(entry, id_, key)
            other = first.setdefault(name.casefold(), id_)
            if other != id_:
                text = f"{section.name} {other} and {id_} are both called {name}"
                warnings.append(Warned.of(text, f"there is another {what} called {name}; a message may mean either"))
    return warnings


def label(key: Key[Any]) -> str:
    """Return what the pages call a limit."""
    return f"“{LIMITS[key.name].label}”"
