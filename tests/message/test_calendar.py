"""When the note of the week and the test of the month are due, and when quiet hours end, also as the clocks change.

Europe changes at 01:00 UTC: Berlin from 02:00 to 03:00 on 2026-03-29 and from 03:00 to 02:00 on 2026-10-25 (directive
2000/84/EC). New York changes at 02:00 local time: 2026-03-08 and 2026-11-01 (Energy Policy Act of 2005, section 110).
"""

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.calendar import next_monthly, next_weekly, quiet_until
from gatewayd.model.moment import DAY, HOUR, MINUTE, from_wall, to_wall
from gatewayd.model.telling import SATURDAY, SUNDAY, Weekly

BERLIN, NEW_YORK = ZoneInfo("Europe/Berlin"), ZoneInfo("America/New_York")
CET, CEST = timezone(timedelta(hours=1)), timezone(timedelta(hours=2))
EST, EDT = timezone(timedelta(hours=-5)), timezone(timedelta(hours=-4))
YEARS = st.integers(to_wall(datetime(2024, 1, 1, tzinfo=UTC)), to_wall(datetime(2031, 1, 1, tzinfo=UTC)))
TIMES = st.builds(Weekly, st.integers(0, 6), st.integers(0, 1439))
ZONES = st.sampled_from([UTC, BERLIN, NEW_YORK, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("Asia/Kathmandu")])


def wall(offset: tzinfo, *fields: int) -> int:
    """Return a wall stamp from year, month, day, hour and minute at a fixed offset."""
    year, month, day, hour, minute = fields
    return to_wall(datetime(year, month, day, hour, minute, tzinfo=offset))


@pytest.mark.parametrize(
    ("after", "zone", "due"),
    [
        (wall(CET, 2026, 3, 22, 18, 0), BERLIN, wall(CEST, 2026, 3, 29, 18, 0)),  # 167 h later
        (wall(CEST, 2026, 10, 18, 18, 0), BERLIN, wall(CET, 2026, 10, 25, 18, 0)),  # 169 h later
        (wall(EST, 2026, 3, 1, 18, 0), NEW_YORK, wall(EDT, 2026, 3, 8, 18, 0)),
        (wall(EDT, 2026, 10, 25, 18, 0), NEW_YORK, wall(EST, 2026, 11, 1, 18, 0)),
        (wall(CEST, 2026, 6, 7, 17, 59), BERLIN, wall(CEST, 2026, 6, 7, 18, 0)),
        (wall(CEST, 2026, 6, 8, 0, 0), BERLIN, wall(CEST, 2026, 6, 14, 18, 0)),
    ],
)
def test_note_stays_at_its_hour(after: int, zone: tzinfo, due: int) -> None:
    """The note comes on Sunday at 18:00 by the clocks of the house, summer and winter."""
    assert next_weekly(Weekly(SUNDAY, 18 * 60), zone, after) == due


def test_hour_that_is_skipped_or_comes_twice() -> None:
    """A note at 02:30 comes as the clocks are put forward in spring, and once in autumn, the first time."""
    note = Weekly(SUNDAY, 150)

    assert next_weekly(note, BERLIN, wall(CET, 2026, 3, 28, 12, 0)) == wall(CEST, 2026, 3, 29, 3, 0)
    assert next_weekly(note, BERLIN, wall(CEST, 2026, 10, 24, 12, 0)) == wall(CEST, 2026, 10, 25, 2, 30)
    assert next_weekly(note, BERLIN, wall(CEST, 2026, 10, 25, 2, 30)) == wall(CET, 2026, 11, 1, 2, 30)
    assert next_weekly(note, NEW_YORK, wall(EST, 2026, 3, 7, 12, 0)) == wall(EDT, 2026, 3, 8, 3, 0)


@pytest.mark.parametrize(
    ("after", "due"),
    [
        (wall(CET, 2026, 11, 24, 12, 0), wall(CET, 2026, 12, 5, 11, 0)),
        (wall(CET, 2026, 12, 5, 10, 59), wall(CET, 2026, 12, 5, 11, 0)),
        (wall(CET, 2026, 12, 5, 11, 0), wall(CET, 2027, 1, 2, 11, 0)),  # over the end of the year
        (wall(CET, 2026, 1, 31, 12, 0), wall(CET, 2026, 2, 7, 11, 0)),  # the 7th is still of the first seven days
        (wall(CEST, 2026, 7, 31, 12, 0), wall(CEST, 2026, 8, 1, 11, 0)),  # and the 1st is the first of them
    ],
)
def test_test_comes_once_a_month(after: int, due: int) -> None:
    """The test comes on the first Saturday of the month at 11:00."""
    assert next_monthly(Weekly(SATURDAY, 11 * 60), BERLIN, after) == due


@given(weekly=TIMES, zone=ZONES, after=YEARS)
def test_week_and_month_leave_nothing_out(weekly: Weekly, zone: tzinfo, after: int) -> None:
    """The next time lies ahead, on its weekday, within a week and an hour, or in a month's first seven days."""
    note, test = next_weekly(weekly, zone, after), next_monthly(weekly, zone, after)

    assert after < note <= after + 7 * DAY + HOUR
    assert from_wall(note).astimezone(zone).weekday() == weekly.day
    assert from_wall(test).astimezone(zone).day <= 7
    assert from_wall(test).astimezone(zone).weekday() == weekly.day
    assert after < test <= after + 38 * DAY + HOUR  # from the 1st of one month to the 7th of the next


NIGHT, NOON = (22 * 60, 7 * 60), (12 * 60, 14 * 60)


@pytest.mark.parametrize(
    ("quiet", "zone", "at", "until"),
    [
        (NIGHT, BERLIN, wall(CET, 2026, 11, 24, 22, 0), wall(CET, 2026, 11, 25, 7, 0)),
        (NIGHT, BERLIN, wall(CET, 2026, 11, 24, 3, 12), wall(CET, 2026, 11, 24, 7, 0)),
        (NIGHT, BERLIN, wall(CET, 2026, 11, 24, 7, 0), None),
        (NIGHT, BERLIN, wall(CET, 2026, 11, 24, 21, 59), None),
        (NOON, BERLIN, wall(CET, 2026, 11, 24, 13, 0), wall(CET, 2026, 11, 24, 14, 0)),
        (NOON, BERLIN, wall(CET, 2026, 11, 24, 3, 0), None),
        (None, BERLIN, wall(CET, 2026, 11, 24, 3, 0), None),
        (NIGHT, BERLIN, wall(CET, 2026, 3, 28, 23, 0), wall(CEST, 2026, 3, 29, 7, 0)),  # the night has 8 h
        (NIGHT, BERLIN, wall(CEST, 2026, 10, 24, 23, 0), wall(CET, 2026, 10, 25, 7, 0)),  # and here 10 h
        (NIGHT, NEW_YORK, wall(EST, 2026, 3, 7, 23, 0), wall(EDT, 2026, 3, 8, 7, 0)),
        (NIGHT, NEW_YORK, wall(EDT, 2026, 10, 31, 23, 0), wall(EST, 2026, 11, 1, 7, 0)),
    ],
)
def test_quiet_hours_end(quiet: tuple[int, int] | None, zone: tzinfo, at: int, until: int | None) -> None:
    """Quiet hours end at their time by the clocks of the house, over midnight and as the clocks change."""
    assert quiet_until(quiet, zone, at) == until


def test_quiet_end_that_is_skipped_or_comes_twice() -> None:
    """An end at 02:30 is that of the clocks put forward in spring, and in autumn the next of the two to come."""
    quiet = (22 * 60, 150)

    assert quiet_until(quiet, BERLIN, wall(CET, 2026, 3, 29, 1, 0)) == wall(CEST, 2026, 3, 29, 3, 0)
    assert quiet_until(quiet, BERLIN, wall(CEST, 2026, 3, 29, 3, 0)) is None
    assert quiet_until(quiet, BERLIN, wall(CEST, 2026, 10, 25, 2, 10)) == wall(CEST, 2026, 10, 25, 2, 30)
    assert quiet_until(quiet, BERLIN, wall(CEST, 2026, 10, 25, 2, 40)) is None
    assert quiet_until(quiet, BERLIN, wall(CET, 2026, 10, 25, 2, 10)) == wall(CET, 2026, 10, 25, 2, 30)


@given(begins=st.integers(0, 1439), length=st.integers(1, 1439), zone=ZONES, at=YEARS)
def test_quiet_hours_always_end(begins: int, length: int, zone: tzinfo, at: int) -> None:
    """Whatever the hours, they end ahead, within a day and the hour the clocks may be put back, and not before time."""
    quiet = (begins, (begins + length) % 1440)
    until = quiet_until(quiet, zone, at)
    here = from_wall(at).astimezone(zone)

    assert (until is None) == ((here.hour * 60 + here.minute - begins) % 1440 >= length)
    if until is not None:
        assert at < until <= at + DAY + HOUR
        end = from_wall(until).astimezone(zone)
        assert (end.hour * 60 + end.minute - quiet[1]) % 1440 <= 60  # later only where the time itself is skipped
        assert until % MINUTE == 0
