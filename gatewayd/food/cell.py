"""Read the cells of a file of packages, and make texts harmless for programs that compute cells."""

import re
from collections.abc import Set as AbstractSet
from datetime import date, datetime, tzinfo

from gatewayd.food import amount, dated
from gatewayd.model.units import parse_weight

_RISKY = re.compile(r"'*[=+\-@\t\r\n]")
_FLOAT = re.compile(r"\d{1,12}(?:\.\d{1,20})?(?:e-?\d{1,2})?", re.ASCII)  # as programs write one
_YES = frozenset(("yes", "y", "true", "1", "x", "about", "fresh"))
_NO = frozenset(("", "no", "n", "false", "0", "-"))


def number(text: str, numbers: AbstractSet[int]) -> int | None:
    """Read the id of a package on the list, None for an empty cell. ValueError for any other."""
    plain = text.strip().removeprefix("#")
    if not plain:
        return None
    if not re.fullmatch(r"[1-9]\d{0,11}", plain):
        raise ValueError(f"{text.strip()[:40]!r} is no id; leave it empty for a new package")
    if int(plain) not in numbers:
        raise ValueError(
            f"there is no package {plain} on the list; leave the id empty. For a file of another list say --new"
        )
    return int(plain)


def count(text: str) -> float | None:
    """Read how many, None for an empty cell. ValueError."""
    plain = text.strip()
    if not plain:
        return None
    return amount.checked_count(float(plain), plain) if _FLOAT.fullmatch(plain) else amount.count(plain[:80])


def weight(text: str, unit: str) -> float | None:
    """Read a weight (kg), None for an empty cell; a bare number is in `unit`, if the header says one. ValueError."""
    plain = text.strip()
    if not plain:
        return None
    if unit and _FLOAT.fullmatch(plain):
        return amount.checked_weight(float(plain) * parse_weight(f"1 {unit}"), plain)
    return amount.weight(plain[:80])


def day(text: str, today: date) -> dated.Day | None:
    """Read a day, None for one that nobody knows. ValueError."""
    if dated.unknown(text):
        return None
    found = dated.read(text[:80], today)
    if found is None:
        raise ValueError(f"{text.strip()[:40]!r} is no day; write it like {dated.WAYS}, or leave it empty")
    return found


def flag(text: str) -> bool:
    """Read yes or no; an empty cell is no. ValueError."""
    plain = text.strip().casefold()
    if plain not in _YES | _NO:
        raise ValueError(f"{text.strip()[:40]!r} is neither yes nor no")
    return plain in _YES


def since(text: str, zone: tzinfo) -> int | None:
    """Read a moment (wall ms), in `zone` where it names none; None for an empty cell. ValueError."""
    plain = text.strip()
    if not plain:
        return None
    try:
        when = datetime.fromisoformat(plain)
        return round((when if when.tzinfo else when.replace(tzinfo=zone)).timestamp() * 1000)
    except (ValueError, OverflowError) as wrong:
        raise ValueError(f"{plain[:40]!r} is no time; write it like 2025-06-12T14:00") from wrong


def bare(text: str) -> str:
    """Return a cell as it was meant: without the apostrophe that keeps spreadsheets from computing it."""
    return text[1:] if text.startswith("'") and _RISKY.match(text, 1) else text


def harmless(text: str) -> str:
    """Return a cell that no spreadsheet computes; `bare` gives back what it was."""
    return f"'{text}" if _RISKY.match(text) else text
