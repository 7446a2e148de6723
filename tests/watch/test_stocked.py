"""What the stock's list says a freezer holds, in its picture and its forecast."""

from dataclasses import replace

from gatewayd.model.contents import Group
from gatewayd.model.given import Rewired, Stocked
from gatewayd.watch.facts import facts
from gatewayd.watch.forecast import forecast
from tests.days.player import Player, house

SHED = "shed-chest"
TROUT = {SHED: {Group.MEAT: 14.2, Group.BREAD: 0.3}}


def test_listed() -> None:
    """What is listed takes the place of the guess, in whole kg, and what is too little to matter is left out."""
    day = Player(house(1))
    assert not day.watch.pictures[SHED].facts.told

    day.give(Stocked(TROUT))

    assert day.watch.pictures[SHED].facts.told
    assert day.watch.pictures[SHED].facts.kg == {Group.MEAT: 14.0}
    assert forecast(day.watch, day.now)["freezers"][0]["kg"]["meat"] == 14.0


def test_no_more_listed() -> None:
    """With no list to go by the freezer is taken as half full again, as before."""
    day = Player(house(1))
    before = day.watch.pictures[SHED].facts
    day.give(Stocked(TROUT))
    day.give(Stocked({}))

    assert day.watch.pictures[SHED].facts == before


def test_settings_first() -> None:
    """What the keeper wrote into the settings goes before the list, also when that is written later."""
    plain = house(1)
    said = replace(plain, freezers={SHED: replace(plain.freezers[SHED], contents={Group.MEALS: 30.0})})
    day = Player(plain)
    day.give(Stocked(TROUT))
    day.give(Rewired(said))
    assert day.watch.pictures[SHED].facts.kg == {Group.MEALS: 30.0}

    day.give(Rewired(plain))
    assert day.watch.pictures[SHED].facts.kg == {Group.MEAT: 14.0}


def test_absurd() -> None:
    """A list that holds more than any freezer does not stop the watch."""
    plain = house(1)

    assert facts(plain.freezers[SHED], plain, listed={Group.MEAT: 1e7}).kg == {Group.MEAT: 2000.0}
