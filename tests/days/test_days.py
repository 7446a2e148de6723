"""Whole days: what is told, and that nothing else is."""

import datetime as dt
import random
from dataclasses import replace

import pytest

from gatewayd.demo.house import Answered, HeronLane, Sent, SourceUp
from gatewayd.demo.story import evening
from gatewayd.model.event import Stage
from gatewayd.model.given import ClockStep, Order, Rewired, SourceNews, Start, Tick
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Heard, Quality
from gatewayd.watch.watch import Watch
from tests.days.player import BROKER, Player, house


def cycling(hours: float, every: int = MINUTE, low: float = -20.0, high: float = -16.0) -> list[float]:
    """Return a freezer's air as its compressor makes it: a saw tooth of about an hour in steps of 0.1 K."""
    count = round(hours * HOUR / every)
    return [round(low + (high - low) * abs((n * every / HOUR * 2) % 2 - 1), 1) for n in range(count)]


def test_quiet_day_tells_nothing() -> None:
    """Two days of cooling cycles and short openings of the lid raise nothing."""
    day = Player()
    for _ in range(48):
        day.report(MINUTE, cycling(0.75))
        day.report(
            MINUTE,
            [-12.5, -8.0, -5.0, -6.0, -9.0, -11.0, -13.0, -14.0, -15.0, -16.0, -17.0, -17.5, -18.0, -18.5, -19.0],
        )

    assert day.told() == []
    assert {event.kind for event in day.events} == {"start"}


def test_lid_left_ajar_is_told_once_and_when_over() -> None:
    """A lid ajar for two hours is told after 45 minutes beyond the limit, once, and once when it is over."""
    day = Player(house(1))
    day.report(MINUTE, cycling(2))
    day.report(MINUTE, [-10.0] * 120)
    day.report(MINUTE, [-18.0] * 30)

    assert day.told() == ["Shed chest is too warm, −10.0 °C", "Shed chest is cold again, −18.0 °C"]
    body = day.notices[1].body
    assert "for 2 h," in body
    assert "the warmest was −10.0 °C" in body


def test_pulled_plug_grows_worse() -> None:
    """A freezer that warms for a day is told of at High and again at HighHigh, and ends with one message."""
    day = Player(house(1))
    day.report(MINUTE, [-18 + n / 60 for n in range(20 * 60)])
    day.report(MINUTE, [2 - n / 20 for n in range(20 * 20)])

    begun = [n for n in day.notices if n.stage is not Stage.REPEAT]
    assert [(n.kind, n.stage) for n in begun if n.kind != "rising"] == [
        ("high", Stage.NEW),
        ("highhigh", Stage.NEW),
        ("high", Stage.OVER),
    ]
    assert "2.0 °C" in day.notices[-1].body
    assert "Never taste food" in day.notices[-1].body


def test_silence_is_told_as_unwatched_once() -> None:
    """A dead probe is told of after an hour, as an unwatched freezer, and once when it is heard again."""
    day = Player(house(1))
    day.report(30 * SECOND, cycling(2, 30 * SECOND))
    day.go(3 * HOUR)
    day.report(30 * SECOND, cycling(0.2, 30 * SECOND))

    assert day.turns("silent") == ["shed-chest-air raised", "shed-chest-air over"]
    assert day.told() == ["Shed chest is not being watched", "Shed chest is watched again, −16.0 °C"]
    assert day.notices[0].priority is Priority.MEDIUM


def test_silence_becomes_urgent_after_four_hours() -> None:
    """A freezer that nobody has seen for four hours is told of again, urgently."""
    day = Player(house(1))
    day.report(30 * SECOND, cycling(1, 30 * SECOND))
    day.go(4 * HOUR + 30 * MINUTE)

    assert [(n.stage, n.priority) for n in day.notices] == [(Stage.NEW, Priority.MEDIUM), (Stage.WORSE, Priority.HIGH)]


def test_silence_while_warming_is_urgent_at_once() -> None:
    """A freezer that was warmer than all day and rising when last seen is urgent after the first hour."""
    day = Player(house(1))
    day.report(MINUTE, cycling(12))
    day.report(MINUTE, [-16 + n * 0.05 for n in range(70)])
    day.go(100 * MINUTE)

    told = [n for n in day.notices if n.kind == "unwatched"]
    assert [n.priority for n in told] == [Priority.HIGH]
    assert "and rising" in told[0].body


def test_bad_values_neither_start_nor_clear() -> None:
    """Power-on values and garbage raise no limit alarm, and the freezer counts as unwatched after an hour."""
    day = Player(house(1))
    day.report(MINUTE, cycling(2))
    day.report(MINUTE, [85.0] * 90)

    assert day.turns("high") == []
    assert day.told() == ["Shed chest is not being watched"]
    assert "power-on value" in day.notices[0].body
    assert {r.quality for r in day.rows if r.value > 80} == {Quality.POWER_ON}


def test_lost_source_is_told_in_place_of_its_sensors() -> None:
    """A broker away for forty minutes is one message and one when it is back, whatever its sensors do."""
    day = Player()
    day.report(30 * SECOND, cycling(1, 30 * SECOND))
    day.give(SourceNews(BROKER, up=False, reason="the connection was refused"))
    day.go(40 * MINUTE)
    day.give(SourceNews(BROKER, up=True, reason="it answers"))
    day.report(30 * SECOND, cycling(0.5, 30 * SECOND))

    assert day.told() == ["Home broker is not reachable", "Home broker is back"]
    assert "Shed chest, Cellar upright and Porch chest" in day.notices[0].body


def test_short_loss_of_source_is_not_told() -> None:
    """A broker that restarts within minutes is not worth a message."""
    day = Player()
    for _ in range(5):
        day.give(SourceNews(BROKER, up=False, reason="the connection was refused"))
        day.report(30 * SECOND, cycling(0.1, 30 * SECOND))
        day.give(SourceNews(BROKER, up=True, reason="it answers"))
        day.report(30 * SECOND, cycling(0.5, 30 * SECOND))

    assert day.told() == []


def test_source_down_does_not_hide_unwatched_for_ever() -> None:
    """After an hour without any reading each freezer is told of although the broker was told already."""
    day = Player(house(2))
    day.report(30 * SECOND, cycling(1, 30 * SECOND))
    day.give(SourceNews(BROKER, up=False, reason="the connection was refused"))
    day.go(90 * MINUTE)

    assert day.told() == [
        "Home broker is not reachable",
        "Cellar upright is not being watched",
        "Shed chest is not being watched",
    ]


def test_dark_night_is_one_message() -> None:
    """Nine hours without power are told once, with what each freezer shows now."""
    day = Player(house(2))
    day.report(MINUTE, cycling(3))
    day.restart(9 * HOUR, "boot-b")
    day.report(MINUTE, [-17.0] * 30)

    assert day.told() == ["nothing was watched for 9 h"]
    assert "is −17.0 °C" in day.notices[0].body
    assert "Never taste food" in day.notices[0].body


def test_warm_after_dark_raises_with_two_readings() -> None:
    """A freezer that is beyond its limits after a dark night is told of with the second reading."""
    day = Player(house(1))
    day.report(MINUTE, cycling(3))
    day.restart(9 * HOUR, "boot-b")
    day.report(30 * SECOND, [-4.0, -4.0])

    assert day.told() == ["Shed chest is much too warm, −4.0 °C", "nothing was watched for 9 h"]


def test_dark_with_wrong_clock_waits_for_the_time() -> None:
    """A computer that wakes in the past tells of the dark hours when its clock is right, with right times."""
    day = Player(house(1))
    day.report(MINUTE, cycling(3))
    stopped = day.now.wall
    day.restart(9 * HOUR, "boot-b", wall=stopped - 3 * HOUR, trusted=False)
    day.report(MINUTE, [-17.0] * 40)
    early = list(day.told())
    moved = 12 * HOUR
    day.now = Moment(day.now.wall + moved, day.now.steady, day.now.boot)
    day.give(ClockStep(moved, trusted=False))
    day.give(Tick(trusted=True))
    day.report(MINUTE, [-17.0] * 15)

    assert early == []
    assert day.told() == ["nothing was watched for 9 h"]
    assert [(r.delta, r.boot) for r in day.restamps] == [(moved, "boot-b")]


@pytest.mark.parametrize("moved", [DAY, -DAY, 40 * 365 * DAY, -HOUR])
def test_clock_steps_move_no_alarm(moved: int) -> None:
    """A clock that jumps a day, back or for forty years neither raises nor clears anything."""
    day = Player(house(1))
    day.report(MINUTE, cycling(3))
    day.report(MINUTE, [-10.0] * 30)
    day.now = Moment(day.now.wall + moved, day.now.steady, day.now.boot)
    day.give(ClockStep(moved, trusted=True))
    before = day.told()
    day.report(MINUTE, [-10.0] * 20)

    assert before == []
    assert day.told() == ["Shed chest is too warm, −10.0 °C"]


def test_step_back_restamps_only_the_future() -> None:
    """A believed clock that is set back re-stamps what would now lie in the future, and nothing else."""
    day = Player(house(1))
    day.now = Moment(day.now.wall - HOUR, day.now.steady, day.now.boot)
    day.give(ClockStep(-HOUR, trusted=True))

    assert [(r.first, r.last, r.delta) for r in day.restamps] == [(day.now.wall + 1, day.now.wall + HOUR, -HOUR)]


def test_restart_within_a_minute_changes_nothing() -> None:
    """A restart of the daemon in the middle of a delay neither loses nor adds seen time."""
    day = Player(house(1))
    day.report(MINUTE, cycling(3))
    day.report(MINUTE, [-10.0] * 30)
    day.restart(30 * SECOND)
    early = list(day.told())
    day.report(MINUTE, [-10.0] * 18)

    assert early == []
    assert day.told() == ["Shed chest is too warm, −10.0 °C"]
    assert "45 min" in day.notices[0].body or "46 min" in day.notices[0].body


def test_standing_alarm_survives_a_restart() -> None:
    """An alarm that stands is still there after a restart, with its number, and ends once."""
    day = Player(house(1))
    day.report(MINUTE, [-10.0] * 60)
    day.restart(MINUTE)
    day.report(MINUTE, [-18.0] * 15)

    assert day.turns("high") == ["shed-chest raised", "shed-chest over"]
    raised, over = [e for e in day.events if e.kind == "high"]
    assert over.first == raised.number


def test_late_readings_move_nothing() -> None:
    """Readings from a backlog are kept but neither raise, clear nor prove life."""
    day = Player(house(1))
    day.report(MINUTE, cycling(2))
    for n in range(100):
        day.go(MINUTE)
        day.hear(-2.0, arrival=Arrival.LATE, not_before=day.now.wall - HOUR)
        assert n < 60 or day.turns("unwatched")

    assert day.turns("high") == []
    late = [r for r in day.rows if r.arrival is Arrival.LATE]
    assert len(late) == 100
    assert {r.measured_to - r.measured_from for r in late} == {HOUR}


def test_retained_value_is_shown_but_is_no_life() -> None:
    """A value that the broker kept is neither stored nor judged."""
    day = Player(house(1))
    day.hear(-2.0, arrival=Arrival.RETAINED)
    day.go(2 * HOUR)

    assert day.rows == []
    assert day.told() == ["Shed chest is not being watched"]


def test_constant_value_is_alive_and_stuck_after_a_day() -> None:
    """A value that never changes proves life; after a day without the least change it is a fault for the page."""
    day = Player(house(1))
    day.report(MINUTE, [-18.0] * (26 * 60))
    day.report(MINUTE, [-18.1])

    assert day.turns("silent") == []
    assert day.turns("stuck") == ["shed-chest-air raised", "shed-chest-air over"]
    assert day.told() == []


def test_warmest_good_probe_is_judged() -> None:
    """With two probes in a freezer the warmer one counts, and the cold one does not clear it."""
    wired = house(2)
    both = replace(wired.freezers["shed-chest"], sensors=("shed-chest-air", "cellar-upright-air"))
    wired = replace(wired, freezers={"shed-chest": both})
    day = Player(wired)
    for _ in range(50):
        day.hear(-9.0)
        day.go(30 * SECOND)
        day.give(Heard(BROKER, "cellar-upright-air", b"-18.0", day.now))
        day.go(30 * SECOND)

    assert day.told() == ["Shed chest is too warm, −9.0 °C"]


def test_rows_are_thinned_but_spells_keep_their_marks() -> None:
    """One row a minute is kept, and beside it the reading that starts, tops and ends a spell."""
    day = Player(house(1))
    day.report(10 * SECOND, [-13.0] * 60)
    thinned = len(day.rows)
    day.report(10 * SECOND, [-11.5, -11.0, -10.2, -10.9, -11.4, -13.1])

    assert thinned == 10
    assert {-11.5, -10.2, -13.1} <= {row.value for row in day.rows[thinned:]}


def test_acknowledging_twice_says_by_whom() -> None:
    """A second acknowledge succeeds and says who was first."""
    day = Player(house(1))
    day.report(MINUTE, [-10.0] * 50)
    number = next(e.number for e in day.events if e.kind == "high")
    day.give(Order("acknowledge", number, "ann"))
    first = day.answer
    day.give(Order("acknowledge", number, "ben"))

    assert first is not None
    assert first.done
    assert day.answer is not None
    assert day.answer.done
    assert "already acknowledged by ann" in day.answer.text


def test_unknown_alarm_and_order_are_refused() -> None:
    """An order for an alarm that is not there, or that nobody knows, is refused and changes nothing."""
    day = Player(house(1))
    day.give(Order("acknowledge", 77, "ann"))
    first = day.answer
    day.give(Order("explode", 1, "ann"))

    assert first is not None
    assert not first.done
    assert day.answer is not None
    assert not day.answer.done
    assert {event.kind for event in day.events} == {"start"}


def test_removed_freezer_closes_its_alarms() -> None:
    """A freezer taken out of the settings ends its alarms with the reason and voids unsent messages."""
    day = Player(house(2))
    day.report(MINUTE, [-10.0] * 50, "cellar-upright")
    day.give(Rewired(house(1)))

    closed = [e for e in day.events if e.what.value == "closed"]
    assert [(e.subject, e.why) for e in closed] == [("cellar-upright", "removed")]
    assert day.dropped == [e.first for e in closed]


def test_reload_keeps_seen_time() -> None:
    """A change of the settings in the middle of a delay neither loses nor adds seen time."""
    day = Player(house(1))
    day.report(MINUTE, [-10.0] * 30)
    day.give(Rewired(house(2)))
    day.report(MINUTE, [-10.0] * 16, "shed-chest")

    assert day.told() == ["Shed chest is too warm, −10.0 °C"]


def test_oversleeping_is_a_dark_spell() -> None:
    """A watch that was held for hours without dying says that nobody was looking, and calls nothing silent."""
    day = Player(house(1))
    day.report(MINUTE, cycling(2))
    day.now = day.now.later(5 * HOUR)
    day.report(MINUTE, [-17.0] * 20)

    assert [t[:22] for t in day.told()] == ["nothing was watched fo"]
    assert day.turns("silent") == []


def play_lane(seed: int, jitter: random.Random | None = None) -> list[tuple[object, ...]]:
    """Return the events of the demo's story, with ticks on time or at random extra times."""
    start = evening(dt.date(2026, 11, 20), dt.UTC)
    lane = HeronLane(random.Random(seed), start, dt.UTC)
    wired = lane.house()

    def at(wall: int) -> Moment:
        return Moment(wall, wall - start + HOUR, "boot-a")

    watch = Watch(wired, at(start))
    events = list(watch.step(Start(), at(start)).events)
    for wall, happening in lane.play(lane.ends):
        wake = watch.next_wake()
        while jitter is None and wake is not None and wake <= at(wall).steady:
            events += watch.step(Tick(), at(wake + start - HOUR)).events
            wake = watch.next_wake()
        if jitter is not None and jitter.random() < 0.05:
            events += watch.step(Tick(), at(wall)).events
        match happening:
            case Sent(sensor, payload):
                heard = Heard(wired.sensors[sensor].source, sensor, payload, at(wall))
                events += watch.step(heard, at(wall)).events
            case Answered(person):
                events += watch.step(Order("acknowledge", who=person), at(wall)).events
            case SourceUp(source, up, reason):
                events += watch.step(SourceNews(source, up, reason), at(wall)).events
            case _:
                pass
    return [(e.number, e.at, e.subject, e.kind, e.what, dict(e.facts)) for e in events]


def test_waking_early_or_late_changes_nothing() -> None:
    """Four days give the same events, to the millisecond, whether ticks come on time, early or late."""
    assert play_lane(3) == play_lane(3, random.Random(5))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_story_tells_four_things_once(seed: int) -> None:
    """The demo's days tell of lid, plug, sensor and source, each once and once when over, and what goes with them."""
    events = [(s, k, w.value) for _, _, s, k, w, _ in play_lane(seed)]
    told = [e for e in events if e[1] in ("high", "unwatched", "source-down") and e[2] in ("raised", "over")]
    beside = {(s, k) for s, k, _ in events} - {(s, k) for s, k, _ in told}

    assert told == [
        ("porch-chest", "high", "raised"),
        ("porch-chest", "high", "over"),
        ("shed-chest", "high", "raised"),
        ("shed-chest", "high", "over"),
        ("cellar-upright", "unwatched", "raised"),
        ("cellar-upright", "unwatched", "over"),
        ("shed-broker", "source-down", "raised"),
        ("shed-broker", "source-down", "over"),
    ]
    assert beside <= {
        ("heron-lane", "start"), ("heron-lane", "week"), ("cellar-upright-air", "silent"), ("shed-chest-air", "silent"),
        ("porch-chest-air", "silent"), ("porch-chest", "lid-open"), ("porch-chest", "rising"),
        ("porch-chest", "warm-long"), ("shed-chest", "rising"), ("shed-chest", "warm-long"),
    }  # fmt: skip


def test_interval_learnt_later_still_finds_silence_in_time() -> None:
    """A sensor whose interval was not known at the start is called silent as soon as the learnt one says so."""
    day = Player(house(1))
    day.report(MINUTE, cycling(0.2))
    last = day.now.steady - MINUTE
    day.go(3 * HOUR)

    silent = next(event for event in day.events if event.kind == "silent")
    assert silent.at.steady == last + 20 * MINUTE
