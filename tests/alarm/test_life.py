"""How a sensor's interval is learnt and when it counts as silent."""

from gatewayd.alarm.life import Life
from gatewayd.model.moment import MINUTE, SECOND


def living(*gaps: int, told: int | None = None) -> Life:
    """Return a sensor that reported at these distances (ms)."""
    life = Life(0, told)
    steady = 0
    life.sign(steady)
    for gap in gaps:
        steady += gap
        life.sign(steady)
    return life


def test_silence_is_eight_intervals() -> None:
    """A sensor that reports every 5 min is silent after 40."""
    life = living(*[5 * MINUTE] * 10)

    assert life.silent_at() - life.last == 40 * MINUTE


def test_silence_is_twenty_minutes_at_least() -> None:
    """A sensor that reports every 10 s is not called silent before 20 min."""
    life = living(*[10 * SECOND] * 40)

    assert life.silent_at() - life.last == 20 * MINUTE


def test_long_holes_do_not_move_the_interval() -> None:
    """Single holes of many minutes leave the median where it is."""
    life = living(*([30 * SECOND] * 5 + [9 * MINUTE]) * 5)

    assert life.learnt == 30 * SECOND


def test_told_interval_wins() -> None:
    """What the keeper says counts more than what was learnt."""
    life = living(*[MINUTE] * 10, told=10 * MINUTE)

    assert life.silent_at() - life.last == 80 * MINUTE


def test_never_heard_sensor_is_waited_for() -> None:
    """A sensor that was never heard is silent after eight usual intervals of 5 min."""
    assert Life(0).silent_at() == 40 * MINUTE


def test_gap_is_three_intervals_or_five_minutes() -> None:
    """Three intervals count as seen, and five minutes always do."""
    assert (living(*[30 * SECOND] * 9).longest_gap(), living(*[10 * MINUTE] * 9).longest_gap()) == (
        5 * MINUTE,
        30 * MINUTE,
    )
