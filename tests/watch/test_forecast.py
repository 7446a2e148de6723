"""What the door says of forecasts: one entry a freezer, the same keys for all."""

import json
from dataclasses import replace

from gatewayd.model.given import Order
from gatewayd.model.house import Freezer
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.upkeep.defrost import FOOD_BACK
from gatewayd.watch.forecast import forecast
from gatewayd.watch.holding import case_of, paragraph, short
from gatewayd.watch.report import note
from tests.days.plants import Lane
from tests.days.player import Player, house

KEYS = {
    "id", "name", "kind", "volume_l", "kg", "told", "room_c", "air_c", "state", "since", "reserve", "forecast", "at",
    "cause", "cycles", "food_c", "calibrated", "learnt", "test", "ageing",
    "emptied",
}  # fmt: skip


def test_every_freezer_has_every_key() -> None:
    """A freezer of which nothing is known has the same keys as any other, and all can be written as JSON."""
    freezers = {"a": Freezer("a", "A"), "b": Freezer("b", "B", sensors=("shed-chest-air",))}
    day = Player(replace(house(1), freezers=freezers))
    found = forecast(day.watch, day.now)["freezers"]

    assert [(set(one), one["state"]) for one in found] == [(KEYS, "no sensor"), (KEYS, "not heard")]
    assert json.loads(json.dumps(found)) == found


def test_note_of_the_week_has_the_reserve() -> None:
    """The note of the week says how long each freezer holds without power."""
    lane = Lane()
    lane.live(2 * DAY)
    _, text = note(lane.player.watch, lane.player.now)

    assert "Without power" in text or "without power" in text
    assert "Shed chest: " in text


def test_nothing_is_said_of_food_that_is_elsewhere() -> None:
    """While a freezer is being defrosted, nobody is told how long it holds food; once the food is back, it is."""
    lane = Lane()
    lane.live(2 * DAY)
    said = []
    for order in (
        Order("begin defrost", who="ann", subject="shed-chest"),
        Order("defrost step", who="ann", subject="shed-chest", why=FOOD_BACK),
    ):
        lane.player.give(order)
        lane.live(2 * MINUTE)
        watch, now = lane.player.watch, lane.player.now
        case = case_of(forecast(watch, now)["freezers"][0], now, watch.house.units, watch.house.zone)
        said.append((case.emptied, short(case), paragraph(case)))

    (away, words, story), (again, back, _) = said
    assert (away, words) == (True, "")
    assert story.startswith("Shed chest is being defrosted, so how long it would hold food is not told now. It is at")
    assert "Without power" not in story
    assert not again
    assert back


def test_known_freezer() -> None:
    """A freezer that was watched for two days says how it runs, what its food has, and that a test runs."""
    lane = Lane()
    lane.live(2 * DAY)
    lane.player.give(Order("test switch-off", who="ann", subject="shed-chest"))
    lane.live(2 * MINUTE)
    (found,) = forecast(lane.player.watch, lane.player.now)["freezers"]

    assert (found["state"], found["calibrated"], found["told"]) == ("as usual", False, False)
    assert [(row["where"], row["level_c"]) for row in found["reserve"]][:1] == [("probe", -12.0)]
    assert len(found["reserve"]) == len(found["forecast"]) == 10
    assert found["cycles"]["period_s"] > 600
    assert found["food_c"]["bulk"] < -15
    assert found["test"]["began"] < found["test"]["until"]
