"""What a freezer's row says of how fast its temperature moves."""

import pytest

from gatewayd.message.house import HEARD_WITHIN
from gatewayd.model.house import Freezer, House, Kind
from gatewayd.model.moment import Moment
from gatewayd.model.outlook import Outlook
from gatewayd.thermal.picture import AS_USUAL, COOLING_DOWN, WARMING
from gatewayd.watch.holding import Case
from gatewayd.web.now import row_of

FREEZER = Freezer("shed-chest", "Shed chest", Kind.CHEST)
HOUSE = House("heron-lane", "Heron Lane", freezers={FREEZER.id: FREEZER})
NOW = Moment(0, 0, "boot")
CALM = "cold enough"


@pytest.mark.parametrize(
    ("picture", "celsius", "state", "words"),
    [
        (AS_USUAL, -18.0, CALM, ""),
        (WARMING, -18.0, CALM, "rising by 4.0 °C an hour"),
        (COOLING_DOWN, -18.0, CALM, "rising by 4.0 °C an hour"),
        (AS_USUAL, -11.0, CALM, "rising by 4.0 °C an hour"),
        (AS_USUAL, -18.0, "has stopped cooling", "rising by 4.0 °C an hour"),
    ],
)
def test_speed(picture: str, celsius: float, state: str, words: str) -> None:
    """A compressor's ordinary ups and downs frighten nobody; the pace stands where something is not as usual."""
    row = {
        "id": FREEZER.id, "name": FREEZER.name, "place": "", "celsius": celsius, "heard_ago": 0, "speed": 4.0,
        "state": state, "retained_celsius": None, "test": None, "defrost": None, "quiet_until": None,
    }  # fmt: skip
    case = Case(FREEZER, Outlook(NOW, (), ()), NOW, picture, air=celsius)

    assert row_of(HOUSE, row, case).trend == words
    assert row_of(HOUSE, row | {"heard_ago": HEARD_WITHIN + 1}, case).trend == ""
