"""Readers of when people are told: hours in which they sleep, times of the week."""

import re

from gatewayd.model.telling import Weekly
from gatewayd.settings.readers import Reader, clock_time

OFF = "off"
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")  # as date.weekday() counts


def _quiet(text: str) -> tuple[int, int]:
    ends = re.split(r"\s*[-\u2013]\s*", text.strip())  # a hyphen, or the dash of print that people paste
    if len(ends) != 2:
        raise ValueError("is not from one time of day to another")
    begin, end = (clock_time.parse(written) for written in ends)
    if begin == end:
        raise ValueError("begins when it ends; leave it off for no quiet hours")
    return begin, end


def _weekly(text: str) -> Weekly | None:
    if text.strip().lower() == OFF:
        return None
    day, _, clock = text.strip().lower().partition(" ")
    found = [number for number, name in enumerate(_DAYS) if day in (name, name[:3])]
    if not found:
        raise ValueError("does not begin with a day of the week")
    return Weekly(found[0], clock_time.parse(clock.strip()))


quiet: Reader[tuple[int, int]] = Reader(_quiet, "from one time of day to another, like 22:00-07:00")
weekly: Reader[Weekly | None] = Reader(_weekly, "a day and a time of day, like Sunday 18:00, or off")
