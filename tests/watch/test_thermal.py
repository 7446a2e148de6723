"""The pictures of freezers in the watch: what enters them, what is asked of them, and what they add to alarms."""

from dataclasses import replace
from math import isnan

import pytest

from gatewayd.alarm.kinds import RISING
from gatewayd.model.contents import Group
from gatewayd.model.event import What
from gatewayd.model.given import ClockStep, Condition, Fitted, Recalled, Rewired, Start, Tick
from gatewayd.model.house import Freezer, House, Kind, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.outlook import Cause, Label, Sure
from gatewayd.model.reading import Arrival, Heard
from gatewayd.thermal.ageing import Day
from gatewayd.thermal.course import Course
from gatewayd.watch.facts import facts
from gatewayd.watch.known import Pace
from gatewayd.watch.report import note
from gatewayd.watch.watch import Watch
from tests.days.player import BROKER, Player, house

SHED = "shed-chest"


def roomy() -> House:
    """Return a house with one freezer and a thermometer in its room."""
    plain = house(1)
    freezer = replace(plain.freezers[SHED], room="shed-room", room_about=12.0)
    sensors = {**plain.sensors, "shed-room": Sensor("shed-room", "Shed room", BROKER, "room/shed")}
    return replace(plain, freezers={SHED: freezer}, sensors=sensors)


def heard_in(course: Course) -> list[float]:
    """Return what a course holds of the air, without the minutes in which nothing was heard."""
    return [value for value in course.air if not isnan(value)]


def saw(minute: int) -> float:
    """Return the air of a minute in ordinary cycles of an hour."""
    return round(-20 + 4 * abs((minute / 30) % 2 - 1), 1)


def test_only_good_live_readings_enter() -> None:
    """Late, retained and bad readings never come into a picture."""
    day = Player(house(1))
    day.hear(-18.0)
    day.hear(-1.0, arrival=Arrival.LATE)
    day.hear(-2.0, arrival=Arrival.RETAINED)
    day.hear(85.0)

    assert heard_in(day.watch.pictures[SHED].course) == [-18.0]


def test_warmest_probe_enters() -> None:
    """Of two probes the warmer one is the air of the freezer, as for its alarms."""
    plain = house(1)
    sensors = {**plain.sensors, "deep": Sensor("deep", "Deep probe", BROKER, "air/deep")}
    day = Player(
        replace(plain, sensors=sensors, freezers={SHED: Freezer(SHED, "Shed", sensors=("shed-chest-air", "deep"))})
    )
    day.hear(-16.0)
    day.go(MINUTE)
    day.give(Heard(BROKER, "deep", b"-25", day.now))

    assert list(day.watch.pictures[SHED].course.air) == [-16.0, -16.0]


def test_room_enters() -> None:
    """The thermometer of the room stands beside the air, and tells how warm the room is."""
    day = Player(roomy())
    for minute in range(70):
        day.hear(saw(minute))
        day.give(Heard(BROKER, "shed-room", b"7.1", day.now))
        day.go(MINUTE)
    picture = day.watch.pictures[SHED]

    assert picture.course.room_mean(picture.course.first, picture.course.end) == pytest.approx(7.1)
    assert picture.facts.room == 7.0


@pytest.mark.parametrize(
    ("freezer", "volume", "weight", "room", "told"),
    [
        (Freezer(SHED, "Shed"), 300, 54, 20, False),
        (Freezer(SHED, "Shed", Kind.UPRIGHT), 250, 45, 20, False),
        (Freezer(SHED, "Shed", volume=100, contents={Group.MEAT: 12}, room_about=8), 100, 12, 8, True),
        (Freezer(SHED, "Shed", volume=5000, room_about=99), 2000, 360, 60, False),
    ],
)
def test_what_nobody_said_is_guessed(freezer: Freezer, volume: float, weight: float, room: float, told: bool) -> None:
    """Volume, contents and room are the keeper's word, else a guess of a half-full freezer, within what is possible."""
    found = facts(freezer, house(1))

    assert (found.volume, round(found.weight, 6), found.room, found.told) == (volume, weight, room, told)


def test_rewired_keeps_what_was_seen() -> None:
    """A change of the settings keeps the pictures, takes new facts, and drops those of freezers that are gone."""
    day = Player(house(2))
    day.report(MINUTE, [-18.0] * 5)
    kept = day.watch.pictures[SHED]
    larger = replace(day.house.freezers[SHED], volume=400.0)
    day.give(Rewired(replace(day.house, freezers={SHED: larger})))

    assert day.watch.pictures == {SHED: kept}
    assert kept.facts.volume == 400.0
    assert len(heard_in(kept.course)) == 5


def test_fits_are_asked_for_at_their_pace() -> None:
    """A fit is asked for once in the wished time, and never where nobody computes."""
    asked = {}
    for pace in (None, Pace(calm=4 * HOUR)):
        day = Player(house(1))
        day.watch.pace = pace
        wants = 0
        for minute in range(9 * 60):
            day.hear(saw(minute))
            day.now = day.now.later(MINUTE)
            for who, _ in day.watch.step(Tick(), day.now).fits:
                wants += 1
                day.give(Fitted(who, None))  # it failed, so the next is asked for in its time
        asked[pace] = wants

    assert list(asked.values()) == [0, 3]


def test_past_is_asked_for_when_the_clock_is_right() -> None:
    """The stored past is wanted at a start, or once the clock can be trusted, and only once in a run."""
    right, unset = Watch(house(1), Moment(0, HOUR)), Watch(house(1), Moment(0, HOUR))
    at = Moment(DAY, HOUR)

    assert [right.step(Start(), at).recall, right.step(Tick(), at.later(1)).recall] == [True, False]
    assert not unset.step(Start(trusted=False), at).recall
    assert not unset.step(Tick(trusted=False), at.later(1)).recall
    assert not unset.step(ClockStep(DAY, trusted=False), at.later(DAY)).recall
    assert unset.step(Tick(), at.later(DAY + 1)).recall


def test_past_is_put_before_what_was_heard() -> None:
    """What the store holds stands before this run at its distance by the wall clock; what was heard stays."""
    day = Player(roomy())
    day.report(MINUTE, [-18.0, -17.0], SHED)
    begun = day.now.wall - 2 * MINUTE
    day.give(
        Recalled(
            {
                "shed-chest-air": [(begun - 20 * DAY, 1.0), (begun - HOUR, -25.0), (begun, 9.0)],
                "shed-room": [(begun - HOUR, 6.0)],
            }
        )
    )
    course = day.watch.pictures[SHED].course

    assert heard_in(course) == [-25.0, -18.0, -17.0]
    assert (len(course), course.room[0]) == (62, 6.0)


def sure_power(day: Player) -> None:
    """Let the picture say that it is sure that nothing cools, and has been for 20 minutes."""
    picture = day.watch.pictures[SHED]
    picture.look = lambda now: None  # type: ignore[method-assign]
    picture.cause = Cause(Label.POWER, Sure.SURE, held=True, held_20=True, since=day.now)


def test_sure_cause_raises_sooner() -> None:
    """A cause that is sure raises "no longer cooling" before the air alone would, once, and above the usual tops."""
    found = {}
    for sharp in (False, True):
        day = Player(house(1))
        day.report(MINUTE, [saw(n) for n in range(24 * 60)])
        if sharp:
            sure_power(day)
        begun = day.now
        for minute in range(120):
            day.hear(round(-20 + 0.06 * minute, 1))
            day.go(MINUTE)
        (raised,) = [e for e in day.events if e.kind == RISING.name and e.what is What.RAISED]
        found[sharp] = (raised.at.steady - begun.steady) // MINUTE

    assert found[True] < found[False]
    assert -20 + 0.06 * found[True] > -16.0


def test_unsure_cause_raises_nothing() -> None:
    """Ordinary cycles raise nothing, however sure a cause is."""
    day = Player(house(1))
    day.report(MINUTE, [saw(n) for n in range(24 * 60)])
    sure_power(day)
    day.report(MINUTE, [saw(n) for n in range(12 * 60)])

    assert day.turns("rising") == []


def test_drift_is_noted_once_a_day() -> None:
    """A thermostat that drifts is told of once a day, not each minute."""
    day = Player(house(1), pace=Pace(DAY, DAY))
    day.report(MINUTE, [saw(n) for n in range(96 * 60)])
    before = [event for event in day.events if event.kind == "drift"]
    day.report(MINUTE, [round(saw(n) + 2.0, 1) for n in range(40 * 60)])
    notes = [event for event in day.events if event.kind == "drift"]

    assert before == []
    assert 1 <= len(notes) <= 2
    assert {event.facts["change"] for event in notes} == {2.0}
    assert "Shed chest is 2.0 °C warmer than usual" in day.told()


def test_failed_fit_is_asked_for_again() -> None:
    """A fit that failed is no result, and the next one is asked for in its time."""
    day = Player(house(1))
    day.watch.pace = Pace()
    asked = 0
    for minute in range(3 * 60):
        day.hear(saw(minute))
        day.now = day.now.later(MINUTE)
        fits = day.watch.step(Tick(), day.now).fits
        asked += len(fits)
        for who, _ in fits:
            day.give(Fitted(who, None))

    assert asked == 3
    assert day.watch.pictures[SHED].outlook is None
    day.give(Fitted("gone", None))  # its freezer was taken out of the settings meanwhile


def test_sensors_outrank_the_shape() -> None:
    """What the gateway's own supply says stands in the picture, and in the facts of the freezer's alarms."""
    day = Player(house(1))
    day.report(MINUTE, [saw(n) for n in range(60)])
    day.give(Condition("mains", on=False))
    day.report(MINUTE, [-18.0] * 3)
    there = day.watch.pictures[SHED].mains_out
    day.give(Condition("mains", on=True))
    day.report(MINUTE, [-2.0] * 60)

    assert (there, day.watch.pictures[SHED].mains_out) == (False, True)
    assert day.facts("highhigh")["mains"] == "out"
    assert day.facts("mains-out")["how"] == "host"
    day.go(5 * HOUR)
    assert day.facts("mains-out", What.REPEATED)["much_too_warm"] == SHED


def test_leaking_gasket_is_noted_once_in_four_weeks() -> None:
    """A freezer that works more in the same room is told of once, and not again within four weeks."""
    day = Player(roomy())
    today = day.now.wall // DAY
    days = [Day(today - n, 0.6 - 0.004 * n, 3000, -18.0, 20.0, 28) for n in range(48, -1, -1)]
    day.watch.pictures[SHED].kept.days = days
    day.report(MINUTE, [saw(n) for n in range(30 * 60)], SHED)

    assert [event.kind for event in day.events if event.kind == "ageing"] == ["ageing"]
    assert "the gasket or the lid of Shed chest may leak" in day.told()
    assert "The gasket or the lid of Shed chest may leak: it works" in note(day.watch, day.now)[1]


def test_days_of_ordinary_running_are_summed_up() -> None:
    """Each day of ordinary running leaves its duty, period and temperatures, one entry a day."""
    day = Player(roomy(), pace=Pace(12 * HOUR, 12 * HOUR))
    for minute in range(3 * 24 * 60):
        day.hear(saw(minute))
        day.give(Heard(BROKER, "shed-room", b"7.1", day.now))
        day.go(MINUTE)
    days = day.watch.pictures[SHED].kept.days

    assert 2 <= len(days) <= 3
    assert len({each.day for each in days}) == len(days)
    assert (days[-1].period, days[-1].air, days[-1].room) == (
        pytest.approx(3600, rel=0.05),
        pytest.approx(-18.0, abs=0.1),
        pytest.approx(7.1),
    )
