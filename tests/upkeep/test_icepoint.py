"""A probe in crushed ice: settled or not, by how much it is off, and what cannot be true."""

import random

import pytest

from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.upkeep.icepoint import ABSURD, Look, Seen, Stage, look


def every(span: int, *values: float) -> list[Seen]:
    """Return readings, one every `span` ms."""
    return [Seen(number * span, value) for number, value in enumerate(values)]


def test_not_heard_yet() -> None:
    """Without a reading there is nothing to judge."""
    assert look([]) == Look(Stage.WAITING)


def test_settles_and_is_done() -> None:
    """It cools towards the ice, keeps within 0.2 K for ten minutes, and the mean of five readings is its error."""
    falling = [18.0, 9.0, 4.5, 2.2, 1.1, 0.8]
    seen = every(MINUTE, *falling, 0.4, 0.3, 0.3, 0.4, 0.3, 0.3, 0.4, 0.3, 0.3, 0.4, 0.3)

    stages = [look(seen[:n]).stage for n in range(1, len(seen) + 1)]
    found = look(seen)

    assert stages == [Stage.COMING] * 3 + [Stage.SETTLING] * 13 + [Stage.DONE]
    assert found.mean == pytest.approx((0.4 + 0.3 + 0.3 + 0.4 + 0.3) / 5)
    assert found.offset == pytest.approx(-0.34)
    assert found.spread == pytest.approx(0.1)


def test_ten_minutes_to_the_second() -> None:
    """Ten minutes within 0.2 K are enough, a second less is not."""
    values = [0.1] * 11
    assert look(every(MINUTE, *values)).stage is Stage.DONE
    assert look(every(MINUTE - SECOND, *values)).stage is Stage.SETTLING


def test_five_readings_at_least() -> None:
    """A sensor that reports every five minutes must be in the ice for five reports, however long that is."""
    assert look(every(5 * MINUTE, 0.2, 0.2, 0.2, 0.2)).stage is Stage.SETTLING
    assert look(every(5 * MINUTE, 0.2, 0.2, 0.2, 0.2, 0.2)).stage is Stage.DONE


def test_width_is_inclusive() -> None:
    """0.2 K is still settled, also where floating point makes a little more of it; 0.3 K is not."""
    assert look(every(MINUTE, *[-0.1, 0.1] * 6)).stage is Stage.DONE
    assert look(every(MINUTE, *[-0.1, 0.2] * 6)).stage is Stage.SETTLING


def test_absurd_offset_is_refused() -> None:
    """A probe that stands still three degrees and more away is no probe in ice, or broken; at three it is taken."""
    assert look(every(MINUTE, *[ABSURD] * 11)).stage is Stage.DONE
    assert look(every(MINUTE, *[ABSURD + 0.01] * 11)).stage is Stage.STRANGE
    assert look(every(MINUTE, *[-18.4] * 11)).stage is Stage.STRANGE


def test_stirring_too_late_begins_anew() -> None:
    """A jump after nine calm minutes begins the ten minutes anew."""
    found = look(every(MINUTE, *[0.1] * 10, 0.8, 0.8))

    assert (found.stage, found.steady_for, found.count) == (Stage.SETTLING, MINUTE, 2)


def test_offset_is_the_error_found() -> None:
    """Whatever the probe's error and step, what is found takes it away but for the noise of five readings."""
    rng = random.Random(7)
    for _ in range(200):
        error = rng.uniform(-2.5, 2.5)
        seen = every(30 * SECOND, *(error + rng.uniform(-0.05, 0.05) for _ in range(25)))
        found = look(seen)
        assert found.stage is Stage.DONE
        assert found.offset == pytest.approx(-error, abs=0.06)
