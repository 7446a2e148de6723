"""How a freezer's rests are learnt from the power it draws."""

from gatewayd.alarm.meter import Meter
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from tests.alarm.scene import START, at


def run(meter: Meter, begin: int, end: int, *, rest: int = 40, every: int = 5) -> None:
    """Let a compressor run for 20 min and rest for `rest`, heard every few minutes, from begin to end (ms)."""
    for ms in range(begin, end, every * MINUTE):
        meter.take(90.0 if ms // MINUTE % (20 + rest) < 20 else 0.3, at(ms), learn=True)


def test_no_word_before_a_day_of_habit() -> None:
    """For the first day nothing is due, however long it rests; then it is at once."""
    meter = Meter("shed-chest")
    run(meter, 0, 6 * HOUR)
    for ms in range(6 * HOUR, DAY, 10 * MINUTE):
        meter.take(0.0, at(ms), learn=True)
        assert meter.due() is None
    meter.take(0.0, at(DAY), learn=True)

    assert meter.due() == at(DAY).steady


def test_two_hours_at_least() -> None:
    """A freezer that rests for 40 min is not missed before 2 h."""
    meter = Meter("shed-chest")
    run(meter, 0, DAY + 20 * MINUTE)
    for ms in range(DAY + 20 * MINUTE, DAY + 80 * MINUTE, 10 * MINUTE):
        meter.take(0.0, at(ms), learn=True)

    assert meter.due() == START.steady + DAY + 20 * MINUTE + 2 * HOUR


def test_twice_its_longest_rest() -> None:
    """A freezer that rests for 100 min is not missed before 200."""
    meter = Meter("shed-chest")
    run(meter, 0, 2 * DAY + 20 * MINUTE, rest=100)
    for ms in range(2 * DAY + 20 * MINUTE, 2 * DAY + 200 * MINUTE, 10 * MINUTE):
        meter.take(0.0, at(ms), learn=True)
    idle = meter.idle

    assert idle is not None
    assert meter.due() == idle.steady + 200 * MINUTE


def test_an_outage_is_no_habit() -> None:
    """A rest that was told as an outage does not make the next one wait for twice as long."""
    learnt, told = Meter("shed-chest"), Meter("shed-chest")
    for meter in (learnt, told):
        meter.take(90.0, at(0), learn=True)
        for hour in range(1, 8):
            meter.take(0.0, at(hour * HOUR), learn=True)
        meter.take(90.0, at(8 * HOUR), learn=meter is learnt)

    assert [r.longest for r in learnt.rests] == [7 * HOUR]
    assert told.rests == []


def test_habit_is_that_of_the_last_week() -> None:
    """Rests of more than a week ago are forgotten."""
    meter = Meter("shed-chest")
    for day in range(9):
        for hour in range(24):
            resting = 1 <= hour <= (5 if day == 0 else 2)
            meter.take(0.0 if resting else 90.0, at(day * DAY + hour * HOUR), learn=True)

    assert len(meter.rests) == 7
    assert max(r.longest for r in meter.rests) == 2 * HOUR


def test_silent_meter_says_nothing() -> None:
    """A meter that is not heard is due for nothing, and its rest begins anew when it is."""
    meter = Meter("shed-chest")
    run(meter, 0, DAY + 20 * MINUTE)
    meter.take(0.0, at(DAY + 20 * MINUTE), learn=True)
    assert meter.due() is None  # not before it is heard again
    meter.take(0.0, at(DAY + 10 * HOUR), learn=True)

    assert meter.idle == at(DAY + 10 * HOUR)


def test_freezer_that_never_drew_is_not_missed() -> None:
    """A plug with nothing in it is no outage."""
    meter = Meter("shed-chest")
    for hour in range(72):
        meter.take(0.0, at(hour * HOUR), learn=True)

    assert meter.due() is None


def test_habit_outlives_a_restart() -> None:
    """After a restart the habit is known, and the rest that ran is not."""
    meter = Meter("shed-chest")
    run(meter, 0, 2 * DAY)
    meter = unpack(Meter, pack(meter))
    meter.forget_steady()
    for ms in range(0, 3 * HOUR, HOUR):
        meter.take(0.0, at(ms, "later"), learn=True)

    assert meter.due() == at(2 * HOUR, "later").steady
