"""Read the times that people type: a day, a moment, or a span back from now."""

import re
from datetime import datetime, tzinfo

from gatewayd.model.moment import to_wall
from gatewayd.model.units import parse_span

FOREVER = 1 << 62  # ms; later than any stamp


def read_when(text: str, zone: tzinfo, now: int) -> int:
    """Return the moment (wall ms) that a text means, or a span back from `now`. Raise ValueError for anything else."""
    try:
        if re.match(r"\d{4}-", text):
            read = datetime.fromisoformat(text)
            found = to_wall(read if read.tzinfo else read.replace(tzinfo=zone))
        else:
            found = now - parse_span(text)
    except (ValueError, OverflowError):
        found = -FOREVER
    if abs(found) >= FOREVER:
        raise ValueError(f"{text!r} is no time; write 2026-11-25, 2026-11-25T14:00 or a span like 7 days.")
    return found
