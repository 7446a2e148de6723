"""What a freezer's air says beyond its limits. The rows of alarm_rows.csv carry their source in the file."""

import csv
import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.alarm.chatter import Chatter
from gatewayd.alarm.cold import LEARNT, YOUNG, Cold
from gatewayd.alarm.kinds import RISING, WARM_LONG
from gatewayd.alarm.limit import Turn
from gatewayd.alarm.outofrange import OutOfRange
from gatewayd.alarm.rising import Rising
from gatewayd.alarm.signs import Signs
from gatewayd.alarm.trend import Trend
from gatewayd.demo.cabinet import chest, upright
from gatewayd.demo.food import BEANS, BREAD, MILK, TROUT, VENISON
from gatewayd.model.house import Freezer, Kind
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.pack import pack, unpack
from tests.alarm.scene import Log, at
from tests.days.player import Player, house

FILE = Path(__file__).parent.parent / "data/alarm_rows.csv"
ROWS = {row["name"]: row for row in csv.DictReader(FILE.read_text().splitlines())}
FREEZER = Freezer("shed-chest", "Shed chest", sensors=("shed-chest-air",))


def given(name: str) -> dict[str, object]:
    """Return the input of a row."""
    found: dict[str, object] = json.loads(ROWS[name]["input"])
    return found


def test_single_time_out_of_range_begins_anew() -> None:
    """tor_single_resets: 40 min, a reading in range, 40 min: the hour at a stretch is never reached."""
    row = given("tor_single_resets")
    period, limit = int(str(row["period_min"])) * MINUTE, float(str(row["threshold_c"]))
    found, longest = OutOfRange(), 0
    temps = row["temps_c"]
    assert isinstance(temps, list)
    for index, value in enumerate(temps):
        found.hold(at(index * period).steady, period)
        longest = max(longest, found.single)
        found.take(at(index * period), period, 0, out=value >= limit)
    found.hold(at(len(temps) * period).steady, period)
    assert max(longest, found.single) == 40 * MINUTE < float(str(row["single_h"])) * HOUR


def test_cumulative_time_out_of_range_adds_up() -> None:
    """tor_cumulative_adds: 6 h and 4 h at 31 °C, with hours in range between, make 10 h with the last sample."""
    row, found, now, reached = given("tor_cumulative_adds"), OutOfRange(), 0, None
    hours, gaps = row["hours_at_31C"], row["gaps_h_at_20C"]
    assert isinstance(hours, list)
    assert isinstance(gaps, list)
    spans = [(31.0, hours[0]), (20.0, gaps[0]), (31.0, hours[1]), (20.0, gaps[1]), (31.0, hours[2]), (20.0, 1)]
    for value, lasts in spans:
        for _ in range(int(lasts) * 60):
            found.take(at(now), 5 * MINUTE, 0, out=value >= float(str(row["threshold_c"])))
            if reached is None and found.total >= float(str(row["cumulative_h"])) * HOUR:
                reached = now
            now += MINUTE
    assert reached == sum(lasts for _, lasts in spans[:5]) * HOUR  # no sooner than the sum itself


@pytest.mark.parametrize(("value", "counts"), [(-15.0, True), (-15.01, False)])
def test_limit_itself_counts(value: float, counts: bool) -> None:
    """tor_inclusive: a reading just at the threshold counts as out of range."""
    assert ROWS["tor_inclusive"]["expected"] == "counts (>=)"
    signs, log = Signs(), Log()
    for minute in range(7 * 60):
        signs.take(value, at(minute * MINUTE), 5 * MINUTE, FREEZER, log.alarms, house().zone)
    assert (log.turns(WARM_LONG.name) == ["raised"]) is counts


def test_gap_adds_no_time_out_of_range() -> None:
    """A gap of hours adds at most what counts as seeing."""
    found = OutOfRange()
    found.take(at(0), 5 * MINUTE, 0, out=True)
    found.take(at(9 * HOUR), 5 * MINUTE, 0, out=True)
    assert found.total == 5 * MINUTE


def test_sum_of_a_day_begins_anew_at_midnight() -> None:
    """Nine hours before and nine after local midnight are no ten hours of one day."""
    found = OutOfRange()
    for minute in range(18 * 60):
        found.take(at(minute * MINUTE), 5 * MINUTE, 1 if minute < 9 * 60 else 2, out=minute % 300 < 150)
    assert found.total < 10 * HOUR


@pytest.mark.parametrize("name", ["chatter_3_in_60", "chatter_3_in_61"])
def test_chattering_rows(name: str) -> None:
    """chatter_criterion: three activations within 60 s, not within 61."""
    chatter, window = Chatter(), given("chatter_criterion")["window_s"]
    stamps = given(name)["activation_ts_s"]
    assert isinstance(stamps, list)
    assert isinstance(window, int)
    for stamp in stamps:
        assert chatter.take(-11.0, at(stamp * SECOND), -12.0, 1.0)
        assert not chatter.take(-14.0, at(stamp * SECOND + 1), -12.0, 1.0)
    assert chatter.often(at(stamps[-1] * SECOND).steady, window * SECOND) == json.loads(ROWS[name]["expected"])
    assert len(stamps) >= int(ROWS["chatter_criterion"]["expected"])


def test_deadband_keeps_one_activation_one() -> None:
    """A value that swings within the deadband has come on once."""
    chatter = Chatter()
    came = [chatter.take(v, at(n), -12.0, 1.0) for n, v in enumerate([-11.9, -12.5, -11.9, -12.9, -11.9])]
    assert came == [True, False, False, False, False]


def test_too_cold_is_eight_kelvin_under_its_habit_for_two_hours() -> None:
    """A freezer that falls by 10 K is told after two hours, one that falls by 7 K is not; the habit does not follow."""
    for fall, turns in ((10.0, [Turn.ON]), (7.0, [])):
        cold, found = Cold(), []
        for minute in range(5 * 24 * 60):
            value = -18.0 - (fall if minute >= 3 * 24 * 60 else 0.0)
            turn = cold.take(value, at(minute * MINUTE), Limits(), 5 * MINUTE)
            if turn in (Turn.ON, Turn.OFF):
                found.append(turn)
                assert minute == 3 * 24 * 60 + 120
        assert found == turns
        assert cold.habit is not None


def test_too_cold_needs_a_day_of_habit() -> None:
    """Nothing is too cold before there is a day to compare it with."""
    cold = Cold()
    for minute in range((LEARNT + YOUNG - 1) * 60):
        assert cold.take(-30.0, at(minute * MINUTE), Limits(), 5 * MINUTE) is not Turn.ON
    assert cold.habit is None


def test_habit_is_learnt_from_its_rests() -> None:
    """Cycles of 20 min down and 40 min up make a habit of 40 min and the top they reach."""
    rising = Rising()
    for n in range(30 * 12):
        phase = n * 2 % 60
        value = -20.0 + (phase / 10 if phase < 40 else (60 - phase) / 5)
        rising.follow(value, at(n * 2 * MINUTE))
    assert rising.habit() is not None
    assert abs((rising.habit() or 0) - 40 * MINUTE) <= 2 * MINUTE
    assert abs((rising.top() or 0) + 16.0) <= 0.2


PLANTS = {
    "chest": (lambda: chest(400, 60, (TROUT, VENISON)), Kind.CHEST),
    "small chest": (lambda: chest(200, 20, (BEANS, BEANS)), Kind.CHEST),
    "upright": (lambda: upright(250, 30, (BREAD, MILK)), Kind.UPRIGHT_AUTO_DEFROST),
}


@pytest.mark.parametrize("name", PLANTS)
@pytest.mark.parametrize("seed", [1, 2])
def test_pulled_plug_is_told_long_before_the_limit(name: str, seed: int) -> None:
    """In each kind of simulated cabinet a pulled plug is told within two hours, and over two hours before High."""
    build, kind = PLANTS[name]
    plant, rng = build(), random.Random(seed)
    freezer = Freezer("shed-chest", "Shed chest", kind, sensors=("shed-chest-air",))
    day = Player(replace(house(1), freezers={"shed-chest": freezer}))
    pulled = 30 * 60 + rng.randrange(300)
    for minute in range(pulled + 9 * 60):
        plant.plugged = minute < pulled
        for _ in range(4):
            plant.step(16.0, 15.0)
        day.hear(round(plant.air + rng.gauss(0, 0.1), 1))
        day.go(MINUTE)
    first = {}
    for event in day.events:
        first.setdefault(event.kind, (event.at.steady - day.events[0].at.steady) - pulled * MINUTE)

    assert 0 < first["rising"] <= 2 * HOUR
    assert first["high"] - first["rising"] >= 2 * HOUR


def test_rising_ends_when_it_cools_again() -> None:
    """A freezer that is plugged in again is told of as cooling, once."""
    plant, day = chest(200, 20, (BEANS, BEANS)), Player(house(1))
    for minute in range(36 * 60):
        plant.plugged = not 30 * 60 <= minute < 32 * 60
        for _ in range(4):
            plant.step(16.0, 15.0)
        day.hear(round(plant.air, 1))
        day.go(MINUTE)
    assert day.turns(RISING.name) == ["shed-chest raised", "shed-chest over"]


def test_signs_can_be_saved() -> None:
    """All that the signs know goes into JSON and comes back the same."""
    signs, log, trend = Signs(), Log(), Trend()
    for minute in range(2 * 24 * 60):
        now = at(minute * MINUTE)
        value = -18.0 + (minute % 60) / 10
        signs.take(value, now, 5 * MINUTE, FREEZER, log.alarms, house().zone)
        if trend.add(now.steady, value):
            signs.follow(value, now, FREEZER, trend, log.alarms, contact=False)
    assert unpack(Signs, json.loads(json.dumps(pack(signs)))) == signs
    assert signs.rising.habit() is not None
    signs.forget_steady()
    assert signs.rising.habit() is not None
