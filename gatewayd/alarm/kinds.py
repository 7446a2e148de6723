"""The kinds of alarm, their priority, and whether a person must have seen them."""

from dataclasses import dataclass

from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.priority import Priority


@dataclass(frozen=True, slots=True)
class Kind:
    """Describe one kind of alarm. `asks` is false for those that need no person: they acknowledge themselves."""

    name: str
    priority: Priority
    asks: bool = True


HIGH = Kind("high", Priority.HIGH)
HIGHHIGH = Kind("highhigh", Priority.HIGH)
UNWATCHED = Kind("unwatched", Priority.MEDIUM)
SOURCE_DOWN = Kind("source-down", Priority.MEDIUM)
SILENT = Kind("silent", Priority.LOW, asks=False)
STUCK = Kind("stuck", Priority.LOW, asks=False)

STORE = Kind("store", Priority.MEDIUM, asks=False)  # readings cannot be written; they wait in memory
ROUTE = Kind("route", Priority.LOW, asks=False)  # a way to reach people cannot be used

KINDS = {kind.name: kind for kind in (HIGH, HIGHHIGH, UNWATCHED, SOURCE_DOWN, SILENT, STUCK, STORE, ROUTE)}

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
