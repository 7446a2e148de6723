"""When a defrost is due, a good day for it, and its steps."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from gatewayd.model.house import Freezer, Kind
from gatewayd.model.moment import DAY, from_wall, to_wall
from gatewayd.upkeep.defrost import (
    FOOD_BACK,
    KEYS,
    REST,
    STEPS,
    SWITCHED_ON,
    Reason,
    due,
    earliest,
    good_day,
    next_step,
)
from gatewayd.upkeep.frost import Growth

BERLIN = ZoneInfo("Europe/Berlin")
NOW = to_wall(dt.datetime(2026, 9, 10, 9, tzinfo=BERLIN))
CHEST = Freezer("shed-chest", "Shed chest", Kind.CHEST)


def ice(now: float, rate: float, measured: float | None = None) -> Growth:
    """Return a growth from `now` mm by `rate` mm a day that is known well."""
    return Growth(NOW, now, 0.5, rate, 0.001, 5, 2, measured)


def test_a_year_after_the_last_and_overdue_two_months_later() -> None:
    """A freezer is due a year after its last defrost (So Easy to Preserve: at least once a year)."""
    (one,) = due(CHEST, NOW, NOW - 900 * DAY, [NOW - 500 * DAY, NOW - 100 * DAY])
    assert (one.by, one.why) == (NOW + 265 * DAY, Reason.YEAR)
    assert one.overdue == NOW + 325 * DAY
    assert one.words == "a year after the last defrost"


def test_without_a_defrost_the_year_counts_from_when_it_is_known() -> None:
    """Where none is written down it is due a year after the freezer became known; where neither is, nothing is said."""
    (one,) = due(CHEST, NOW, NOW - 400 * DAY)
    assert one.by == NOW - 35 * DAY
    assert "no defrost of it is written down" in one.words
    assert due(CHEST, NOW, None) == []


def test_the_earliest_speaks_with_its_reason() -> None:
    """Frost that is thick before the year is over comes first, and a year that ends before the frost does."""
    fast = due(CHEST, NOW, None, [NOW - 100 * DAY], ice(4.0, 0.05))
    slow = due(CHEST, NOW, None, [NOW - 300 * DAY], ice(1.0, 0.01))
    assert [one.why for one in fast] == [Reason.FROST, Reason.YEAR]
    assert (fast[0].by - NOW) / DAY == pytest.approx((6.35 - 4) / 0.05, abs=1)
    assert [one.why for one in slow] == [Reason.YEAR, Reason.FROST]
    assert fast[0].early is not None
    assert fast[0].early <= fast[0].by


def test_frost_of_half_an_inch_is_overdue() -> None:
    """Half an inch that was measured is overdue today, a quarter is due today."""
    thick, thin = due(CHEST, NOW, None, [], ice(13.0, 0.02, 13.0))[0], due(CHEST, NOW, None, [], ice(7.0, 0.02, 7.0))[0]
    assert (thick.by, thick.overdue) == (NOW, NOW)
    assert thin.by == NOW
    assert thin.overdue is not None
    assert thin.overdue > NOW


def test_a_strong_trend_of_the_cycles_is_a_hint_to_measure() -> None:
    """Cycles that grew longer by a fifth and more ask for a ruler, less than that for nothing; never overdue by it."""
    hint = due(CHEST, NOW, None, [], None, 0.35)
    assert [(one.why, one.overdue) for one in hint] == [(Reason.TREND, None)]
    assert "measure it" in hint[0].words
    assert due(CHEST, NOW, None, [], None, 0.10) == []


def test_a_freezer_that_defrosts_itself_is_due_by_its_frost_only() -> None:
    """No calendar and no hint for automatic defrost, but thick ice in it is told all the same."""
    auto = replace(CHEST, kind=Kind.UPRIGHT_AUTO_DEFROST)
    assert due(auto, NOW, NOW - 900 * DAY, [], None, 0.5) == []
    assert [one.why for one in due(auto, NOW, None, [], ice(7.0, 0.02, 7.0))] == [Reason.FROST]


def day_of(**more: object) -> dt.date:
    """Return the local day that is proposed."""
    told: dict[str, object] = {"now": NOW, "by": NOW + 300 * DAY, "zone": BERLIN, "room": {}}
    return from_wall(good_day(**(told | more)).at).astimezone(BERLIN).date()  # type: ignore[arg-type]


def test_a_good_day_is_a_saturday_in_the_coldest_month_of_the_room() -> None:
    """The room's own year is gone by: coldest in February here, so a Saturday then; words say so."""
    room = {month: [10.0 + abs(month - 2)] * 28 for month in range(1, 13)}
    found = day_of(room=room)
    assert (found.month, found.year, found.weekday()) == (2, 2027, 5)
    assert "coldest in February" in good_day(NOW, None, BERLIN, room).words


def test_without_a_sensor_in_the_room_the_winter_of_the_household_is_taken() -> None:
    """The clocks tell the hemisphere; where they are never changed no month is named."""
    assert day_of().month in (12, 1, 2)
    assert day_of(zone=ZoneInfo("Australia/Sydney"), by=NOW + 350 * DAY).month in (6, 7, 8)
    assert "in the cold season" in good_day(NOW, None, ZoneInfo("Asia/Kolkata"), {}).words


def test_it_is_never_proposed_after_it_is_due() -> None:
    """Due in three weeks or overdue already: a Saturday before that day, or the next one."""
    assert day_of(by=NOW + 21 * DAY) <= from_wall(NOW + 21 * DAY).date()
    assert day_of(by=NOW - 50 * DAY) == dt.date(2026, 9, 12)


def test_an_empty_freezer_counts_as_much_as_a_cold_room() -> None:
    """With rooms alike it is the month in which least was in it; the words name both."""
    room = {month: [12.0] * 20 for month in range(1, 13)}
    weights = dict.fromkeys(range(1, 13), 40.0) | {4: 5.0}
    assert day_of(room=room, weights=weights).month == 4
    words = good_day(NOW, None, BERLIN, room, weights, 23.0).words
    assert "it held least in April (5 kg)" in words
    assert "23 kg in it now" in words


def test_the_steps_hold_every_caution() -> None:
    """The maker first, the plug before the water, no metal, no heat, the lid propped, dried, on before the food."""
    text = " ".join(f"{step.do} {step.mind}" for step in STEPS)
    for caution in ("maker", "Unplug", "metal", "hair dryer", "children", "dry it completely", "Two hours", "10 to 15"):
        assert caution in text
    assert KEYS.index("manual") == 0
    assert KEYS.index("unplug") < KEYS.index("ice") < KEYS.index(SWITCHED_ON) < KEYS.index(FOOD_BACK)
    assert "SWITCH IT BACK ON" in STEPS[KEYS.index(SWITCHED_ON)].do


def test_the_next_step_follows_the_furthest_that_is_done() -> None:
    """A step that was left out is not asked for again, and after the last there is none."""
    assert next_step({}) is STEPS[0]
    assert next_step({"unplug": 1, "manual": 0}) is STEPS[KEYS.index("unplug") + 1]
    assert next_step({FOOD_BACK: 1}) is None


def test_no_day_within_half_a_year_after_a_defrost_unless_frost_says_so() -> None:
    """A freezer that was defrosted lately is left alone for half a year, unless the measured ice is due before."""
    done = [NOW - 5 * DAY]
    year = due(CHEST, NOW, None, done)
    frost = due(CHEST, NOW, None, done, ice(7.0, 0.02, 7.0))
    begin = earliest(year, done, NOW)
    day = good_day(NOW, year[0].by, BERLIN, {}, begin=begin)

    assert begin == done[0] + REST
    assert day.at >= begin
    assert earliest(frost, done, NOW) is None
    assert earliest(year, [], NOW) is None
    trend = due(CHEST, NOW, None, done, None, 0.35)
    assert good_day(NOW, trend[0].by, BERLIN, {}, begin=earliest(trend, done, NOW)).at >= done[0] + REST
