"""Say when by the household's calendar: the note of the week, the test of the month, the end of the quiet hours.

All go by local time. On the nights the clocks change, a time that comes twice means the first of the two, and a time
that is skipped means the moment at which the clocks are put forward.
"""

from datetime import date, datetime, timedelta, tzinfo

from gatewayd.model.moment import from_wall, to_wall
from gatewayd.model.telling import Weekly

WEEK_DAYS = 7
Quiet = tuple[int, int]


def next_weekly(weekly: Weekly, zone: tzinfo, after: int) -> int:
    """Return the first such time of the week later than `after`; both wall ms."""
    day = _local(after, zone).date()
    day += timedelta(days=(weekly.day - day.weekday()) % WEEK_DAYS)
    while (found := _stamp(day, weekly.minute, zone)) <= after:
        day += timedelta(days=WEEK_DAYS)
    return found


def next_monthly(weekly: Weekly, zone: tzinfo, after: int) -> int:
    """Return the first such time in the first seven days of a month later than `after`; both wall ms."""
    day = _local(after, zone).date().replace(day=1)
    while (found := _stamp(_first(day, weekly.day), weekly.minute, zone)) <= after:
        day = (day + timedelta(days=31)).replace(day=1)  # a month has at most 31 days
    return found


def quiet_until(quiet: Quiet | None, zone: tzinfo, wall: int) -> int | None:
    """Return when the quiet hours end in which `wall` lies (both wall ms), None if it lies in none.

    `quiet` are minutes after local midnight; the second may lie on the next day. An end that comes twice, on the
    night the clocks are put back, is the second of the two where the first is past.
    """
    if quiet is None:
        return None
    begins, ends = quiet
    here = _local(wall, zone)
    minute = here.hour * 60 + here.minute
    inside = begins <= minute < ends if begins < ends else minute >= begins or minute < ends
    if not inside:
        return None
    day = here.date() + timedelta(days=1 if minute >= ends else 0)
    until = _stamp(day, ends, zone)
    return until if until > wall else _stamp(day, ends, zone, fold=1)


def _first(month: date, weekday: int) -> date:
    return month + timedelta(days=(weekday - month.weekday()) % WEEK_DAYS)


def _local(wall: int, zone: tzinfo) -> datetime:
    return from_wall(wall).astimezone(zone)


def _stamp(day: date, minute: int, zone: tzinfo, fold: int = 0) -> int:
    """Return the wall ms at which the clocks of `zone` show this minute of the day, `fold` 1 for the second time."""
    shown = datetime(day.year, day.month, day.day, *divmod(minute, 60))  # noqa: DTZ001 - what clocks show
    while True:
        found = to_wall(shown.replace(tzinfo=zone, fold=fold))
        if _local(found, zone).replace(tzinfo=None, fold=0) == shown:
            return found
        shown += timedelta(minutes=1)  # skipped: the first minute that exists is the moment the clocks were put forward
