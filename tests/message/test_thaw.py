"""The words for a defrost that runs."""

import pytest

from gatewayd.message.wording import word
from gatewayd.model.event import What
from tests.message.scene import HOUSE, ago, event, turn

HOUR_45 = 105 * 60_000


@pytest.mark.parametrize(
    ("stage", "title", "words"),
    [
        ("begun", "the defrost of Shed chest has begun", "No metal, no heater."),
        ("step", "the defrost of Shed chest goes on", "goes on: unplug."),
        ("food-soon", "the food of Shed chest must soon be in the cold", "has been out for 1 h 45 min"),
        ("food-now", "the food of Shed chest must be in the cold now", "When in doubt, throw it out."),
        ("over", "the planned end of Shed chest's defrost is here", "SWITCH IT BACK ON"),
        ("ended", "the defrost of Shed chest is done", "see that it is switched on"),
        ("cold", "Shed chest is cold again after its defrost, −14.1 °C", "use first what was out"),
        ("nothing", "Shed chest was not defrosted", "so none is written down"),
        ("other", "the defrost of Shed chest", "See that it is switched on."),
    ],
)
def test_each_step_says_what_to_do(stage: str, title: str, words: str) -> None:
    """Each line of a defrost has its words, and says what to do now."""
    facts = {"stage": stage, "until": ago(-1), "lasted": HOUR_45, "since": ago(1), "value": -14.1, "step": "unplug"}
    said, body = word(event("defrost", What.NOTED, **facts), HOUSE)

    assert said == f"Heron Lane: {title}"
    assert words in body


def test_not_cooling_after_a_defrost_promises_nothing_of_how_long_it_holds() -> None:
    """A freezer that was emptied does not hold for 48 hours, so that is not said; the food outside is."""
    body = word(turn("not-cooling", What.RAISED, after="defrost"), HOUSE)[1]

    assert "Is it switched on?" in body
    assert "within two hours" in body
    assert "48 hours" not in body
