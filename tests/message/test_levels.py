"""When a level of a forecast is reached, and that nobody waits longer than the published rule allows."""

import pytest

from gatewayd.message.levels import BEYOND, USED_UP, reached
from gatewayd.message.rule import remaining
from gatewayd.model.event import Fact, What
from gatewayd.model.outlook import Span, Where
from tests.message.scene import event


def span(
    early: float | None, likely: float | None = None, late: float | None = None, where: Where = Where.FOOD
) -> Span:
    """Return when a level is reached."""
    return Span(where, 0.0, early, likely, late)


@pytest.mark.parametrize(
    ("found", "rule", "words"),
    [
        (span(4.2, 7.5, 10.6), 24.0, "perhaps in 4 h, likely in 7 h, perhaps only in 11 h"),
        (span(20.0, 30.0, 90.0), 24.0, "perhaps in 20 h, likely in 30 h, perhaps only in 4 days"),
        (span(64.0, 90.0, None), 42.0, BEYOND),
        (span(64.0, 90.0, None), None, "perhaps in 64 h, likely in 3 days, perhaps much later"),
        (span(64.0, 90.0, None, Where.PROBE), 42.0, "perhaps in 64 h, likely in 3 days, perhaps much later"),
        (span(None), 42.0, BEYOND),
        (span(None), None, "not within 9 days"),
        (span(3.0, 5.0, 9.0), 0.0, USED_UP),
        (span(0.0, 0.0, 0.0), 0.0, "there already"),
    ],
)
def test_reached(found: Span, rule: float | None, words: str) -> None:
    """A range is told, but never one that begins behind the end of the government's hours."""
    assert reached(found, rule) == words


@pytest.mark.parametrize(
    ("facts", "left"),
    [
        ({}, 24.0),
        ({"hours_off": 6.0}, 18.0),
        ({"hours_off": 6.0, "full": 0.9}, 42.0),
        ({"hours_off": 30.0}, 0.0),
        ({"hours_off": 6.0, "full": 0.2}, None),
    ],
)
def test_remaining(facts: dict[str, Fact], left: float | None) -> None:
    """What is left of the rule counts from when cooling stopped; of a freezer far below half full it does not speak."""
    assert remaining(event("high", What.NOTED, **facts)) == left
