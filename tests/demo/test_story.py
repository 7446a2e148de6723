"""The script of the demo: when its days begin and how long its mishaps last."""

from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from gatewayd.demo.story import ENDS, STORY, Battery, Lid, Link, Plug, evening, first_midnight
from gatewayd.model.moment import DAY, HOUR, MINUTE, to_wall

LONDON = ZoneInfo("Europe/London")


def span(kind: type) -> int:
    begins, ends = (turn.at for turn in STORY if isinstance(turn.act, kind))
    return ends - begins


def test_the_story_is_told_in_order_within_four_days() -> None:
    """Turns stand in order of time and all lie well before the end, which lies within four days."""
    assert all(before.at < after.at for before, after in pairwise(STORY))
    assert STORY[-1].at + 2 * HOUR < ENDS < 4 * DAY


def test_mishaps_last_long_enough_to_be_told_and_no_longer() -> None:
    """The probe is dead for over 60 min and under 4 h; the broker is away for over 10 min and under 60."""
    assert HOUR < span(Battery) < 4 * HOUR
    assert 10 * MINUTE < span(Link) < HOUR
    assert span(Lid) > 45 * MINUTE
    assert span(Plug) > 45 * MINUTE


def test_the_first_midnight_is_a_local_one() -> None:
    """From an evening in summer time the story's zero is the next local midnight; a midnight is its own."""
    start = evening(date(2025, 7, 1), LONDON)
    midnight = to_wall(datetime(2025, 7, 1, 23, tzinfo=UTC))

    assert first_midnight(start, LONDON) == midnight == start + 6 * HOUR
    assert first_midnight(midnight, LONDON) == midnight
