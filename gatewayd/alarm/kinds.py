"""The kinds of alarm, their priority, and whether a person must have seen them."""

from dataclasses import dataclass

from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.priority import Priority


@dataclass(frozen=True, slots=True)
class Kind:
    """Describe one kind of alarm.

    `asks` is false for those that need no person: they acknowledge themselves. `again` is false for those that are
    told once and not repeated.
    """

    name: str
    priority: Priority
    asks: bool = True
    again: bool = True


# of a freezer
HIGH = Kind("high", Priority.MEDIUM)  # counts as high while it is still rising
HIGHHIGH = Kind("highhigh", Priority.HIGH)
RISING = Kind("rising", Priority.MEDIUM)
MAINS_OUT = Kind("mains-out", Priority.MEDIUM)  # of a sensor that sees the mains, or of the house
LID_OPEN = Kind("lid-open", Priority.MEDIUM)
WARM_LONG = Kind("warm-long", Priority.LOW, asks=False)
TOO_COLD = Kind("too-cold", Priority.LOW, asks=False)
CHATTERING = Kind("chattering", Priority.LOW, asks=False)
UNWATCHED = Kind("unwatched", Priority.MEDIUM)
NOT_COOLING = Kind("not-cooling", Priority.HIGH)  # after a planned test switch-off: somebody forgot to end it
# of a sensor
SILENT = Kind("silent", Priority.LOW, asks=False)
STUCK = Kind("stuck", Priority.LOW, asks=False)
FAULT = Kind("sensor-fault", Priority.LOW, asks=False)
BATTERY = Kind("battery", Priority.LOW, asks=False)
WEAK_SIGNAL = Kind("weak-signal", Priority.LOW, asks=False)
# of the gateway and what is around it
SOURCE_DOWN = Kind("source-down", Priority.MEDIUM)
STORE = Kind("store", Priority.MEDIUM, asks=False)  # readings cannot be written; they wait in memory
DISK = Kind("disk-filling", Priority.MEDIUM, asks=False)
ROUTE = Kind("route", Priority.MEDIUM, asks=False)  # a way to reach people cannot be used, or does not deliver
CLOCK_UNSET = Kind("clock-unset", Priority.LOW, asks=False)
NEIGHBOUR = Kind("neighbour-silent", Priority.MEDIUM)
TEST = Kind("test", Priority.MEDIUM, again=False)  # the monthly one, which asks for a tap

OF_FREEZER = (HIGH, HIGHHIGH, RISING, LID_OPEN, WARM_LONG, TOO_COLD, CHATTERING, MAINS_OUT, UNWATCHED)
KINDS = {
    kind.name: kind
    for kind in (
        *OF_FREEZER,
        NOT_COOLING,
        *(SILENT, STUCK, FAULT, BATTERY, WEAK_SIGNAL),
        *(SOURCE_DOWN, STORE, DISK, ROUTE, CLOCK_UNSET, NEIGHBOUR, TEST),
    )
}
# What "I am at the freezer" shelves: all that a person who works at it causes.
AT_FREEZER = (HIGH, HIGHHIGH, RISING, LID_OPEN, WARM_LONG, TOO_COLD, CHATTERING)  # and the mains of its own plug
AT_FREEZER_FOR = HOUR
# High High must be looked at by a person, with a decision about the food, after 2 h beyond it (the 2-hour rule of the
# government charts for power cuts) or any good reading above 0 °C, where food thaws; else it ends by itself.
LATCH_AFTER = 2 * HOUR
LATCH_ABOVE = 0.0

# Silence: a radio sensor misses single reports for minutes (a chip that filters duplicates passes one per 10 s
# whatever the sensor sends, measured), so 8 intervals and never less than 20 minutes.
SILENT_INTERVALS = 8
SILENT_LEAST = 20 * MINUTE
UNKNOWN_INTERVAL = 5 * MINUTE  # taken until an interval is learnt: recorders of frozen food log every 5 min or faster
STUCK_AFTER = DAY  # a freezer's air never stands to the last digit through a day of cooling cycles
SOURCE_DOWN_AFTER = 10 * MINUTE  # a router's or broker's restart takes a few minutes
SOURCE_UP_AFTER = 2 * MINUTE  # a link that comes and goes is not yet back
UNWATCHED_LEAST_DOWN = 60 * MINUTE  # while a source is down it is the one told of, for the first hour
# The longest distance of two readings that still counts as having seen what lay between: three intervals
# (OPC gives none; a third missing report is no longer chance), and 5 min at least, in which a closed freezer's
# air cannot warm and cool again unnoticed.
GAP_INTERVALS = 3
GAP_LEAST = 5 * MINUTE
DARK_LEAST = 10 * MINUTE  # a restart or an upgrade is shorter and not worth a message
SETTLE = 10 * MINUTE  # after a dark spell: how long to wait for every freezer before telling
TREND_STEP = 120 * SECOND  # distance of the points kept for a trend
