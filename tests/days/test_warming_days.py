"""Days in which a freezer really stops cooling: what the messages say of cause and time left, and when."""

import pytest

from gatewayd.model.event import What
from gatewayd.model.given import Order
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.outlook import Outlook
from gatewayd.watch.known import Pace
from tests.days.plants import Lane

pytestmark = pytest.mark.slow  # days of minutes are played, and a fit takes a quarter of a second


def early(outlook: Outlook | None, level: float = -9.4) -> float:
    """Return the steady time (h) before which the food is promised not to reach a level."""
    assert outlook is not None
    (hours,) = (s.early for s in outlook.forecast if s.where.value == "food" and s.level == level)
    assert hours is not None
    return outlook.at.steady / HOUR + hours


def test_plug_pulled_at_night() -> None:
    """The first message of a pulled plug says why it warms and how long its food has, as a guess."""
    lane = Lane()
    lane.live(2 * DAY)
    lane.plants["shed-chest"].plugged = False
    lane.live_until("rising")
    facts, body = lane.player.facts("rising"), lane.player.notices[-1].body

    assert (facts["cause"], facts["calibrated"], facts["beyond_rule"]) == ("power", False, False)
    assert 0 < float(str(facts["left_early"])) < float(str(facts["left_likely"])) < float(str(facts["left_late"]))
    assert "power or the compressor has failed" in body
    assert "If nothing cools it, the warmest food may reach −9.4 °C in" in body
    assert "a guess" in body


def test_repeats_say_how_it_is_now() -> None:
    """A reminder has its own forecast, not that of the first message."""
    lane = Lane()
    lane.live(2 * DAY)
    lane.plants["shed-chest"].plugged = False
    lane.live(6 * HOUR)
    first, again = lane.player.facts("rising"), lane.player.facts("rising", What.REPEATED)

    assert first["left_likely"] != again["left_likely"]
    assert again["cause"] == "power"


def test_quiet_days_raise_nothing_new() -> None:
    """Two days of ordinary cycles have no cause to tell and no note."""
    lane = Lane(pace=None)
    lane.live(2 * DAY)

    assert {event.kind for event in lane.player.events} == {"start"}
    assert not lane.player.watch.pictures["shed-chest"].beyond


def test_restart_in_an_outage_promises_no_more() -> None:
    """Over a restart in an outage, also into another boot, food is never promised more time than it had before."""
    for boot in (None, "boot-b"):
        lane = Lane()
        lane.live(2 * DAY)
        lane.plants["shed-chest"].plugged = False
        lane.live(3 * HOUR)
        player = lane.player
        before = early(player.watch.pictures["shed-chest"].outlook)
        for _ in range(90 * 2):  # nobody hears it for 90 min
            lane.plants["shed-chest"].step(10.0, 30.0)
        was = player.now
        player.restart(90 * MINUTE, boot)
        player.recall()
        lane.live(40 * MINUTE)
        picture = player.watch.pictures["shed-chest"]
        moved = (player.now.wall - was.wall - player.now.steady + was.steady) / HOUR

        assert picture.outlook is not None
        assert picture.outlook.at.boot == player.now.boot
        assert picture.warm is not None
        assert early(picture.outlook) + moved <= before + 0.05


def test_test_switch_off_teaches() -> None:
    """A test switch-off that is done well leaves a freezer that is calibrated, and nothing more is told."""
    lane = Lane(pace=Pace(HOUR, HOUR))
    lane.live(DAY)
    lane.player.give(Order("test switch-off", who="ann", subject="shed-chest"))
    lane.plants["shed-chest"].plugged = False
    lane.live(3 * HOUR)
    lane.plants["shed-chest"].plugged = True
    lane.live(4 * HOUR)
    picture = lane.player.watch.pictures["shed-chest"]

    assert lane.player.told() == ["switch Shed chest back on now"]
    assert [lesson.how for lesson in picture.kept.lessons] == ["test"]
    assert picture.kept.belief.lessons == 1


def test_two_freezers_together() -> None:
    """When two freezers stop together the house says that the power is off, and how long the first of them has."""
    lane = Lane(2)
    lane.live(2 * DAY)
    for plant in lane.plants.values():
        plant.plugged = False
    lane.live_until("mains-out")
    facts = lane.player.facts("mains-out")

    assert facts["left_of"] in lane.plants
    assert facts["left_level"] == -9.4
    assert "much_too_warm" not in facts
