"""What ails the gateway itself, and the monthly test."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import What
from gatewayd.model.moment import HOUR
from tests.message.scene import HOUSE, ago, event, turn


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("store", "The disk is full. The freezers are watched all the same"),
        ("disk-filling", "Of the disk 210 MB are left, enough for about 12 days."),
        ("route", "Route mail: the password was refused."),
        ("clock-unset", "Nothing has set the computer's clock for 1 h."),
    ],
)
def test_each_says_what_is_wrong(kind: str, words: str) -> None:
    """What the gateway found wrong with itself is told in the sentence that came with it."""
    assert words in word(turn(kind, What.RAISED), HOUSE)[1]


def test_the_monthly_test_says_that_nothing_is_wrong() -> None:
    """The test says what it is, that nothing is wrong, and asks for a tap or the command."""
    title, body = word(turn("test", What.RAISED), HOUSE)

    assert title == "Heron Lane: monthly test, please answer"
    assert body.startswith("This is the monthly test. Nothing is wrong")
    assert "tap the link in this message if it has one" in body
    assert body.endswith("gatewayd ack 12")


def test_the_end_of_a_test_tells_who_answered() -> None:
    """An answered test names who did it, an unanswered one is told once and says what to do."""
    answered = word(turn("test", What.OVER), HOUSE)
    unanswered = word(turn("test", What.OVER, answered=False), HOUSE)
    noted = word(event("test", What.NOTED, "heron-lane", since=ago(24 * HOUR)), HOUSE)

    assert "was answered by Ann" in answered[1]
    assert unanswered[0] == noted[0] == "Heron Lane: nobody answered the monthly test"
    assert "(yesterday 03:12)" in noted[1]
    assert "not told of this again" in noted[1]
    assert "Send a test message from the house's page People." in noted[1]
    assert "sudo gatewayd check --routes" in noted[1]


@pytest.mark.parametrize(("moved", "words"), [(HOUR, "forward by 1 h"), (-HOUR, "back by 1 h"), (None, "was set.")])
def test_a_clock_that_was_set_says_which_way(moved: int | None, words: str) -> None:
    """A step of the clock is told with its way and its length."""
    assert words in word(event("clock", What.NOTED, "heron-lane", moved=moved), HOUSE)[1]


def test_the_note_of_the_week_is_taken_as_it_is() -> None:
    """The note's own title and text are told unchanged, lines and all."""
    title, body = word(event("week", What.NOTED, "heron-lane", title="all is well", text="a\n  b\n\nc"), HOUSE)

    assert title == "Heron Lane: all is well"
    assert body == "a\n  b\n\nc\n\nMessage 12."
