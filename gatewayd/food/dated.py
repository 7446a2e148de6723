"""Read the day something was frozen: "2025-06-12", "2025-06", "June 2025", "about June 2025", "today".

Of a month or a year the first day is taken: food is then never thought younger than it is.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from gatewayd.model.moment import to_wall

OLDEST = 50  # years; what is older is a slip of the pen (our choice)
WAYS = "2025-06-12, 2025-06, June 2025 or about June 2025"

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = (
    r"(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|"
    r"nov(?:ember)?|dec(?:ember)?)\.?"
)
_ABOUT = re.compile(r"(?:about|around|approximately|approx\.?|roughly|circa|ca?\.|maybe|perhaps|~)\s*", re.IGNORECASE)
_ORDINAL = r"(\d{1,2})(?:st|nd|rd|th)?"


@dataclass(frozen=True, slots=True)
class Day:
    """Hold a day, and whether it is a guess: said so, or only the month or year is known."""

    day: date
    about: bool = False

    def noon(self, zone: tzinfo) -> int:
        """Return its noon in `zone` (wall ms)."""
        return to_wall(datetime.combine(self.day, time(12), zone))


def read(text: str, today: date) -> Day | None:
    """Read a day; None where `text` is none. ValueError for one that cannot be, or could be two."""
    plain = text.strip()
    guess = _ABOUT.match(plain)
    if guess is not None:
        plain = plain[guess.end() :]
    if plain.endswith("?"):
        plain, guess = plain[:-1].strip(), guess or _ABOUT.match("about")
    for pattern, make in _FORMS:
        found = pattern.fullmatch(plain)
        if found is not None:
            try:
                day = make(found, today)
            except ValueError as wrong:
                raise ValueError(
                    f"{text.strip()!r} is no day of the calendar ({wrong}); write it like {WAYS}"
                ) from wrong
            return Day(_lived(day.day, today, text), day.about or guess is not None)
    return None


def unknown(text: str) -> bool:
    """Return whether `text` says that nobody knows the day."""
    return text.strip().casefold() in ("", "?", "-", "unknown", "not known", "no date", "n/a", "none")


def _lived(day: date, today: date, text: str) -> date:
    if day > today + timedelta(days=1):  # a day's room for who lives ahead of the house's clock
        raise ValueError(f"{text.strip()!r} lies ahead; today is {today}")
    if day.year < today.year - OLDEST:
        raise ValueError(f"{text.strip()!r} is more than {OLDEST} years ago; write it like {WAYS}")
    return day


def _month(word: str) -> int:
    return _MONTHS.index(word[:3].lower()) + 1


def _slashes(found: re.Match[str], _today: date) -> Day:
    first, second, year = int(found[1]), int(found[2]), int(found[3])
    if first <= 12 and second <= 12 and first != second:
        raise ValueError("day or month first? it could be two days")
    return Day(date(year, second, first) if first > 12 or first == second else date(year, first, second))


def _last_month(found: re.Match[str], today: date) -> Day:
    month = _month(found[1])
    return Day(date(today.year if month <= today.month else today.year - 1, month, 1), about=True)


_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], date], Day]], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE), make)
    for pattern, make in (
        (r"(\d{4})-(\d{1,2})-(\d{1,2})", lambda m, _: Day(date(int(m[1]), int(m[2]), int(m[3])))),
        (r"(\d{4})[-/](\d{1,2})", lambda m, _: Day(date(int(m[1]), int(m[2]), 1), about=True)),
        (rf"{_MONTH}[ -]+(\d{{4}})", lambda m, _: Day(date(int(m[2]), _month(m[1]), 1), about=True)),
        (r"(?:the year )?((?:19|20)\d{2})", lambda m, _: Day(date(int(m[1]), 1, 1), about=True)),
        (rf"{_ORDINAL}[ -]*{_MONTH}[ -]*,?\s*(\d{{4}})", lambda m, _: Day(date(int(m[3]), _month(m[2]), int(m[1])))),
        (rf"{_MONTH}\s*{_ORDINAL},?\s+(\d{{4}})", lambda m, _: Day(date(int(m[3]), _month(m[1]), int(m[2])))),
        (r"(\d{1,2})\.\s*(\d{1,2})\.\s*(\d{4})", lambda m, _: Day(date(int(m[3]), int(m[2]), int(m[1])))),
        (r"(\d{1,2})/(\d{1,2})/(\d{4})", _slashes),
        (r"(\d{1,2})[./](\d{4})", lambda m, _: Day(date(int(m[2]), int(m[1]), 1), about=True)),
        (_MONTH, _last_month),
        (r"today|now", lambda _, today: Day(today)),
        (r"yesterday", lambda _, today: Day(today - timedelta(days=1))),
    )
)
