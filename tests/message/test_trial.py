"""A planned switch-off, and a freezer that does not cool after it."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import What
from gatewayd.model.moment import HOUR
from tests.message.scene import FORECAST, HOUSE, STAGES, ago, event, turn


def test_a_freezer_that_was_not_switched_on_again() -> None:
    """It says since when it does not cool, that its test is over, and asks whether it is switched on."""
    title, body = word(turn("not-cooling", What.RAISED, **FORECAST), HOUSE)

    assert title == "Heron Lane: Shed chest is not cooling again, −14.1 °C"
    assert "Shed chest (shed) has not cooled since 02:24 (48 min), though its test switch-off is over." in body
    assert "the warmest food may reach −9.4 °C in 4 h" in body
    assert "What to do now: Is it switched on? Look at its switch, plug and breaker. Then keep it shut." in body
    assert "the government's 48 hours" in body
    assert "though its defrosting is over" in word(turn("not-cooling", What.RAISED, after="defrost"), HOUSE)[1]


def test_its_end_says_that_it_cools() -> None:
    """When it cools again that is said with how long it had not."""
    title, body = word(turn("not-cooling", What.OVER), HOUSE)

    assert title == "Heron Lane: Shed chest cools again, −14.1 °C"
    assert "It had not cooled for 48 min, from 02:24." in body


@pytest.mark.parametrize(
    ("stage", "title", "words"),
    [
        ("begun", "the test of Shed chest has begun", "see that it is switched off, and leave it shut until 06:12."),
        ("switch-on", "switch Shed chest back on now", "switch it back on, and hear that it runs."),
        (
            "too-warm",
            "switch Shed chest back on now, it got too warm",
            "ended early: it got too warm. It is at −9.9 °C",
        ),
        ("ended", "the test of Shed chest has ended", "see that it is switched on."),
        ("something new", "the test of Shed chest", "See that it is switched on."),
    ],
)
def test_each_step_of_a_test_says_what_to_do(stage: str, title: str, words: str) -> None:
    """Each step says what it is and what the keeper does with the switch."""
    told = word(event("test-off", What.NOTED, stage=stage, until=ago(-3 * HOUR), value=-9.9), HOUSE)

    assert told[0] == f"Heron Lane: {title}"
    assert words in told[1]


def test_an_end_on_the_next_day_is_called_tomorrow() -> None:
    """A test that runs past midnight names its end as tomorrow."""
    assert (
        "until tomorrow 00:12." in word(event("test-off", What.NOTED, stage="begun", until=ago(-21 * HOUR)), HOUSE)[1]
    )


@pytest.mark.parametrize("stage", STAGES)
def test_a_step_fits_a_lock_screen(stage: str) -> None:
    """The title says it all, and the rest is short."""
    title, body = word(event("test-off", What.NOTED, stage=stage, until=ago(-3 * HOUR), value=-9.9), HOUSE)

    assert len(title) <= 65
    assert len(body) <= 300
