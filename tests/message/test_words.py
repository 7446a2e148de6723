"""Times, spans and names as a household says them."""

import pytest

from gatewayd.message.words import capital, degrees, lid, listed, name, pace, person, place, roughly, sentence, span
from gatewayd.model.event import Fact
from gatewayd.model.moment import DAY, HOUR, MINUTE
from tests.message.scene import HOUSE


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (2 * MINUTE, "5 min"),
        (43 * MINUTE, "45 min"),
        (95 * MINUTE, "1 h 30 min"),
        (176 * MINUTE, "3 h"),
        (5 * HOUR + 20 * MINUTE, "5 h"),
        (True, ""),
        (-1, ""),
        (None, ""),
    ],
)
def test_an_estimate_is_rounded(ms: Fact, text: str) -> None:
    """An estimate is said in steps that it can be trusted to."""
    assert roughly(ms) == text


@pytest.mark.parametrize("value", [None, "warm", True, float("nan"), float("inf")])
def test_what_is_no_temperature_is_not_said(value: Fact) -> None:
    """A fact that is no temperature gives no words."""
    assert degrees(value, HOUSE) == ""
    assert pace(value, HOUSE) == ""


@pytest.mark.parametrize("value", [None, "long", False, 1.5, -1, 2000 * DAY])
def test_what_is_no_span_is_not_said(value: Fact) -> None:
    """A fact that is no span, or one that only a wrong clock gives, has no words."""
    assert span(value) == ""


def test_names_are_those_that_people_gave() -> None:
    """Freezers, sensors, sources, neighbours and the house go by their names; what is gone goes by its id."""
    given = ("shed-chest", "shed-air", "home", "mill-house", "heron-lane", "gone")

    assert [name(subject, HOUSE) for subject in given] == [
        *("Shed chest", "Shed chest probe", "Home broker", "Mill House", "Heron Lane", "gone")
    ]
    assert [person("ann", HOUSE), person("root", HOUSE)] == ["Ann", "root"]
    assert [place("shed-chest", HOUSE), place("gone", HOUSE)] == [" (shed)", ""]
    assert [lid(f, HOUSE) for f in ("shed-chest", "cellar-upright", "gone")] == ["lid", "door", "lid or door"]


def test_sentences_are_made_of_what_others_wrote() -> None:
    """A reason gets a capital and a full stop, keeps what it has, and nothing stays nothing."""
    written = ("it was refused", "Done!", "gatewayd started", "", None, 3)

    assert [sentence(text) for text in written] == [*("It was refused.", "Done!", "gatewayd started.", "", "", "")]
    assert [listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == ["a", "a and b", "a, b and c"]
    assert capital("") == ""
