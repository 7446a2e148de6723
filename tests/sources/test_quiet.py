"""How long nothing may be heard."""

import pytest

from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.sources.quiet import LIVELY, Quiet

LEAST, LONGEST = 90 * SECOND, 30 * MINUTE


@pytest.mark.parametrize(
    ("intervals", "span"),
    [
        ([], LEAST),
        ([None], LEAST),
        ([10 * SECOND], LEAST),
        ([10 * MINUTE, 5 * MINUTE], 15 * MINUTE),
        ([10 * MINUTE, None], LEAST),
        ([60 * MINUTE], LONGEST),
    ],
)
def test_only_rare_sensors_make_it_longer(intervals: list[int | None], span: int) -> None:
    """The span is 90 s unless all sensors are known to be rarer; then three times the shortest interval."""
    assert Quiet(intervals, LEAST, LONGEST).span == span


def test_three_deaf_scanners_then_patience() -> None:
    """The first three scanners that hear nobody get 90 s each, the later ones twice as long each time, up to 30 min."""
    quiet = Quiet([None], LEAST, LONGEST)
    spans = []
    for _ in range(9):
        spans.append(quiet.span // SECOND)
        quiet.miss()
    assert spans == [90, 90, 90, 180, 360, 720, 1440, 1800, 1800]


def test_a_house_with_one_rare_sensor_is_learnt() -> None:
    """A sensor heard every ten minutes, whose interval nobody told, soon causes no new scanners any more."""
    quiet = Quiet([None], LEAST, LONGEST)
    misses = []
    for _ in range(5):
        left, count = 10 * MINUTE, 0
        while left > quiet.span:
            left -= quiet.span
            quiet.miss()
            count += 1
        quiet.hear()
        misses.append(count)
    assert misses[0] >= 3
    assert misses[-1] == 0


def test_lively_air_brings_the_span_back() -> None:
    """After a stall the span is doubled only until the air is lively again."""
    quiet = Quiet([None], LEAST, LONGEST)
    quiet.miss()
    quiet.hear()
    assert quiet.span == 2 * LEAST
    quiet.look(LIVELY - 1)
    assert quiet.span == 2 * LEAST
    quiet.look(LIVELY)
    assert quiet.span == LEAST
