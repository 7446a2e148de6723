"""Read the times that a keeper types."""

from datetime import tzinfo

from gatewayd.cli import house
from gatewayd.model.period import read_when


def when(text: str, zone: tzinfo, now: int, otherwise: int) -> int:
    """Read a moment (wall ms), or a span back from `now`; exit with a sentence for anything else."""
    if not text:
        return otherwise
    try:
        return read_when(text, zone, now)
    except ValueError as wrong:
        house.refuse(str(wrong), house.WRONG)
