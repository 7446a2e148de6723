"""What weeks show: a gasket that may leak, air warmer than it was."""

from dataclasses import replace

import pytest

from gatewayd.message.ageing import leak
from gatewayd.message.wording import word
from gatewayd.model.event import Fact, What
from gatewayd.model.moment import HOUR
from gatewayd.model.units import TemperatureUnit
from tests.message.scene import HOUSE, ago, event


def test_a_leak_is_a_maybe_with_its_figure() -> None:
    """A gasket that may leak is told with how much more the freezer works, since when, and how to look."""
    title, body = word(event("ageing", What.NOTED, change=0.18, weeks=6), HOUSE)

    assert title == "Heron Lane: the gasket or the lid of Shed chest may leak"
    assert body.startswith(
        "The gasket or the lid of Shed chest may leak: it works 18 % more than 6 weeks ago in the same room."
    )
    assert "shut a strip of paper in the lid here and there" in body
    assert "door of Cellar upright" in word(event("ageing", What.NOTED, "cellar-upright", change=0.18), HOUSE)[0]


@pytest.mark.parametrize(
    ("change", "weeks", "words"),
    [
        (0.18, 6.0, "may leak: it works 18 % more than 6 weeks ago in the same room"),
        (0.18, None, "may leak: it works 18 % more than before in the same room"),
        (None, 6, "may leak"),
        (float("nan"), float("nan"), "may leak"),
        (True, 6, "may leak"),
    ],
)
def test_a_leak_without_figures_says_none(change: Fact, weeks: Fact, words: str) -> None:
    """What is not known of it is left out."""
    assert leak("Shed chest", "lid", change, weeks) == f"the gasket or the lid of Shed chest {words}"


def test_drift_is_told_in_the_units_of_the_house() -> None:
    """Air that is warmer than usual is told by how much, since when, and that it may be a dial or a slow failure."""
    happened = event("drift", What.NOTED, change=2.5, since=ago(30 * HOUR))
    title, body = word(happened, replace(HOUSE, units=TemperatureUnit.F))

    assert title == "Heron Lane: Shed chest is 4.5 °F warmer than usual"
    assert "has been 4.5 °F warmer than usual since Sun 22 Nov 21:12." in body
    assert "It may be set warmer, or be failing slowly" in body
    assert "What to do: look at its dial." in body


def test_colder_than_usual_is_no_failure() -> None:
    """Air that is colder than usual speaks of the dial and of no failure."""
    title, body = word(event("drift", What.NOTED, change=-2.5), HOUSE)

    assert title == "Heron Lane: Shed chest is 2.5 °C colder than usual"
    assert "fail" not in body
    assert word(event("drift", What.NOTED), HOUSE)[0] == "Heron Lane: Shed chest is warmer than usual"
