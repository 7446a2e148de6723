"""Say when by the household's calendar: the note of the week, the test of the month, the end of the quiet hours.

All go by local time: on the night the clocks change a time that is skipped counts as just after the gap.
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

    `quiet` are minutes after local midnight; the second may lie on the next day.
    """
    if quiet is None:
        return None
    begins, ends = quiet
    here = _local(wall, zone)
    minute = here.hour * 60 + here.minute
    inside = begins <= minute < ends if begins < ends else minute >= begins or minute < ends
    if not inside:
        return None
    day = here.date()
    if minute >= ends:
        day += timedelta(days=1)
    return max(_stamp(day, ends, zone), wall + 1)


def _first(month: date, weekday: int) -> date:
    return month + timedelta(days=(weekday - month.weekday()) % WEEK_DAYS)


def _local(wall: int, zone: tzinfo) -> datetime:
    return from_wall(wall).astimezone(zone)


def _stamp(day: date, minute: int, zone: tzinfo) -> int:
    return to_wall(datetime(day.year, day.month, day.day, *divmod(minute, 60), tzinfo=zone))
