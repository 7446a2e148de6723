"""Word what is to be done, a line each."""

from datetime import tzinfo

from gatewayd.message.words import capital
from gatewayd.model.chore import Due
from gatewayd.model.moment import from_wall


def due_line(due: Due, now: int, zone: tzinfo) -> str:
    """Say one thing that is to be done: `Check Shed air in ice, by 3 March: once a year; a thermometer drifts`."""
    when = ""
    if due.by is not None:
        when = f", {'overdue since' if due.overdue else 'by'} {day(due.by, now, zone)}"
    elif due.overdue:
        when = ", soon"
    return f"{capital(due.what)}{when}: {due.reason.rstrip('.')}"


def day(wall: int, now: int, zone: tzinfo) -> str:
    """Write the local day of a wall stamp (ms), with its year where that is not this one: `3 March`."""
    when, today = from_wall(wall).astimezone(zone), from_wall(now).astimezone(zone)
    return f"{when.day} {when:%B}" if when.year == today.year else f"{when.day} {when:%B %Y}"
