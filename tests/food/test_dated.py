"""Days as people write them."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from gatewayd.food.dated import Day, read, unknown
from gatewayd.model.moment import from_wall

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "day", "about"),
    [
        ("2025-06-12", date(2025, 6, 12), False), ("12 June 2025", date(2025, 6, 12), False),
        ("12th Jun 2025", date(2025, 6, 12), False), ("June 12, 2025", date(2025, 6, 12), False),
        ("12.6.2025", date(2025, 6, 12), False), ("25/06/2025", date(2025, 6, 25), False),
        ("06/25/2025", date(2025, 6, 25), False), ("06/06/2025", date(2025, 6, 6), False),
        ("2025-06", date(2025, 6, 1), True), ("June 2025", date(2025, 6, 1), True),
        ("sept 2025", date(2025, 9, 1), True),
        ("6/2025", date(2025, 6, 1), True), ("2025", date(2025, 1, 1), True), ("June", date(2026, 6, 1), True),
        ("December", date(2025, 12, 1), True), ("about June 2025", date(2025, 6, 1), True),
        ("about 2025-06-12", date(2025, 6, 12), True), ("~June 2025", date(2025, 6, 1), True),
        ("2025-06-12?", date(2025, 6, 12), True), ("today", TODAY, False), ("yesterday", date(2026, 11, 24), False),
    ],
)  # fmt: skip
def test_read(text: str, day: date, *, about: bool) -> None:
    """A day is read in the ways people write it; of a month or year it is the first, and about."""
    assert read(text, TODAY) == Day(day, about)


@pytest.mark.parametrize("text", ["2025-13", "2025-02-30", "31 June 2025", "03/04/2025", "2027-01", "1970", "0000-01"])
def test_impossible(text: str) -> None:
    """A day that cannot be, lies ahead, could be two, or is no freezer's is refused with what to write."""
    with pytest.raises(ValueError, match=r"write it like|lies ahead"):
        read(text, TODAY)


@pytest.mark.parametrize("text", ["", "beans", "12", "top basket", "may be", "1 lb", "20255"])
def test_no_day(text: str) -> None:
    """Other words are no day."""
    assert read(text, TODAY) is None


def test_noon() -> None:
    """A day stands for its noon in the house, summer and winter."""
    london = ZoneInfo("Europe/London")

    assert from_wall(Day(date(2025, 6, 12)).noon(london)) == datetime(2025, 6, 12, 11, tzinfo=UTC)
    assert from_wall(Day(date(2025, 12, 12)).noon(london)) == datetime(2025, 12, 12, 12, tzinfo=UTC)


def test_unknown() -> None:
    """That nobody knows the day can be said."""
    assert [unknown(text) for text in ("", "?", "Unknown", "June")] == [True, True, True, False]
