"""Time out of range: a spell at a stretch, a day's sum. The rows of alarm_rows.csv carry their source in the file."""

import csv
import json
from collections.abc import Callable
from operator import ge, le
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.alarm.kinds import WARM_LONG
from gatewayd.alarm.outofrange import OutOfRange
from gatewayd.alarm.signs import Signs
from gatewayd.model.event import What
from gatewayd.model.house import Freezer
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE
from tests.alarm.scene import START, Log, at

FILE = Path(__file__).parent.parent / "data/alarm_rows.csv"
ROWS = {row["name"]: row for row in csv.DictReader(FILE.read_text().splitlines())}
COMPARE: dict[str, Callable[[float, float], bool]] = {">=": ge, "<=": le}
ZONE = ZoneInfo("Europe/Berlin")
GAP = 5 * MINUTE


class Feed:
    """Hold signs that are fed one value a minute, with limits of one's own."""

    def __init__(self, **limits: object) -> None:
        """Begin at the start."""
        self.signs, self.log, self.minute = Signs(), Log(), 0
        self.freezer = Freezer("shed-chest", "Shed chest", limits=Limits(**limits))  # type: ignore[arg-type]

    def feed(self, value: float, minutes: int, boot: str = START.boot) -> None:
        """Feed a value for some minutes."""
        for _ in range(minutes):
            self.signs.take(value, at(self.minute * MINUTE, boot), GAP, self.freezer, self.log.alarms, ZONE)
            self.minute += 1


@pytest.mark.parametrize("name", ["who_45C", "who_30C", "who_minus0.5C"])
def test_published_device_limits(name: str) -> None:
    """WHO 10-day device (WHO/IVB/05.23): at the threshold itself the time counts, and the alarm comes at its hours."""
    row, hours = json.loads(ROWS[name]["input"]), float(ROWS[name]["expected"])
    beyond = COMPARE[row["op"]]
    inside = row["threshold_c"] + (-0.1 if row["op"] == ">=" else 0.1)
    assert beyond(row["threshold_c"], row["threshold_c"])
    assert not beyond(inside, row["threshold_c"])
    found, reached = OutOfRange(), None
    for minute in range(round(hours * 60) + 3):
        found.take(at(minute * MINUTE), GAP, 0, out=beyond(row["threshold_c"], row["threshold_c"]))
        counted = found.single if row["kind"] == "single" else found.total
        if reached is None and counted >= hours * HOUR:
            reached = minute
    assert reached == hours * 60


@given(st.lists(st.tuples(st.integers(1, 1200), st.booleans()), max_size=60))
def test_sums_never_exceed_the_time_that_passed(steps: list[tuple[int, bool]]) -> None:
    """However readings come, the spell is not longer than the sum, nor the sum than the time that was seen."""
    found, now, most = OutOfRange(), 0, 0
    for seconds, out in steps:
        now += seconds * 1000
        most += min(seconds * 1000, GAP)
        found.take(at(now), GAP, 0, out=out)
        assert 0 <= found.single <= found.total <= most


def test_day_begins_at_local_midnight() -> None:
    """Nine hours warm before midnight in Berlin and nine after are two days, whatever the day in Greenwich."""
    feed = Feed(warm_single=0)
    midnight = -(START.wall + HOUR * 2) % (24 * HOUR)  # in May Berlin is two hours ahead of UTC
    feed.minute = midnight // MINUTE - 9 * 60
    feed.feed(-14.0, 18 * 60)
    assert feed.log.turns(WARM_LONG.name) == []
    feed.feed(-14.0, 90)
    assert feed.log.turns(WARM_LONG.name)[:1] == ["raised"]


def test_sum_of_a_day_is_told_with_the_day() -> None:
    """Ten hours in all, in pieces, are told as of the day since its first warm reading, and are over with the day."""
    feed = Feed(warm_single=0)
    feed.minute = (-(START.wall + HOUR * 2) % (24 * HOUR)) // MINUTE + 1
    begun = feed.minute
    for _ in range(6):
        feed.feed(-14.0, 120)
        feed.feed(-18.0, 60)
    facts = feed.log.told(WARM_LONG.name)
    assert (facts["which"], facts["limit"], facts["lasted"]) == ("day", -15.0, 10 * HOUR)
    assert facts["since"] == at(begun * MINUTE).wall
    feed.feed(-18.0, 8 * 60)

    assert feed.log.turns(WARM_LONG.name) == ["raised", "over"]
    assert feed.log.told(WARM_LONG.name, What.OVER)["lasted"] == 12 * HOUR


def test_single_spell_is_over_after_its_off_delay() -> None:
    """Six hours at a stretch are told; ten minutes seen in range end it, and its end says how long it was."""
    feed = Feed(warm_total=0)
    feed.feed(-14.0, 7 * 60)
    assert feed.log.told(WARM_LONG.name)["which"] == "single"
    feed.feed(-18.0, 5)
    feed.feed(-14.0, 2)  # a short one more: its own spell, the same alarm
    feed.feed(-18.0, 10)
    assert feed.log.turns(WARM_LONG.name)[-1] != "over"
    feed.feed(-18.0, 1)

    assert feed.log.told(WARM_LONG.name, What.OVER)["lasted"] == (7 * 60 + 7) * MINUTE


def test_gap_ends_no_warm_spell() -> None:
    """An hour without a reading is no ten minutes in range."""
    feed = Feed(warm_total=0)
    feed.feed(-14.0, 7 * 60)
    feed.feed(-18.0, 1)
    feed.minute += 60
    feed.feed(-18.0, 1)
    assert "over" not in feed.log.turns(WARM_LONG.name)
    feed.feed(-18.0, 6)
    assert "over" in feed.log.turns(WARM_LONG.name)


def test_end_is_seen_in_another_boot() -> None:
    """Told in one boot and in range in the next: over after the off-delay, though steady time began anew."""
    feed = Feed(warm_total=0)
    feed.feed(-14.0, 7 * 60)
    feed.feed(-18.0, 2)
    feed.signs.forget_steady()
    feed.feed(-18.0, 15, "another")
    assert "over" in feed.log.turns(WARM_LONG.name)


def test_zero_switches_either_off() -> None:
    """Neither is told where both are 0, and one that stands ends when it is switched off."""
    feed = Feed(warm_single=0, warm_total=0)
    feed.feed(-14.0, 15 * 60)
    assert feed.log.turns(WARM_LONG.name) == []
    for kept in ("warm_single", "warm_total"):
        feed = Feed(**{"warm_single": 0, "warm_total": 0, kept: HOUR})
        feed.feed(-14.0, 2 * 60)
        assert feed.log.turns(WARM_LONG.name)[0] == "raised"
        feed.freezer = Freezer("shed-chest", "Shed chest", limits=Limits(warm_single=0, warm_total=0))
        feed.feed(-14.0, 1)
        assert feed.log.turns(WARM_LONG.name)[-1] == "over"
