"""Read the times that a keeper types."""

import re
from datetime import datetime, tzinfo

from gatewayd.cli import house
from gatewayd.model.moment import to_wall
from gatewayd.model.units import parse_span


def when(text: str, zone: tzinfo, now: int, otherwise: int) -> int:
    """Read a moment (wall ms), or a span back from `now`; exit with a sentence for anything else."""
    if not text:
        return otherwise
    try:
        if re.fullmatch(r"\d{4}-.*", text):
            read = datetime.fromisoformat(text)
            return to_wall(read if read.tzinfo else read.replace(tzinfo=zone))
        return now - parse_span(text)
    except (ValueError, OverflowError):
        house.refuse(f"{text!r} is no time; write 2026-11-25, 2026-11-25T14:00 or a span like 7 days.", house.WRONG)
