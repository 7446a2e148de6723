"""How the mains is judged."""

from gatewayd.alarm.mains import Sign
from gatewayd.model.event import What
from gatewayd.model.moment import DAY, HOUR, MINUTE
from tests.alarm.outage import ALL, CELLAR, HOUSE, MAINS, PORCH, SHED, House, cycles, shed_out
from tests.alarm.scene import START, at

# -- a sensor ------------------------------------------------------------------------------------------------


def test_sensor_off_for_two_minutes_is_told() -> None:
    """A sensor of the mains is told of with since when, where, whom it covers and how it is known."""
    house = House()
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", False, at(0))
    house.go(2 * MINUTE - 1)
    assert house.events == []
    house.go(2 * MINUTE)

    assert house.turns(MAINS, of="shed-mains") == ["raised"]
    assert house.told(MAINS) == {
        "since": START.wall, "lasted": 2 * MINUTE, "covers": "shed-chest,porch-chest", "place": "shed", "how": "sensor",
    }  # fmt: skip


def test_blip_is_not_told() -> None:
    """A minute without mains, again and again, is not told."""
    house = House()
    for minute in range(0, 20, 2):
        house.mains.sensor("shed-mains", (SHED,), "shed", False, at(minute * MINUTE))
        house.go((minute + 1) * MINUTE)
        house.mains.sensor("shed-mains", (SHED,), "shed", True, at((minute + 1) * MINUTE))
        house.go((minute + 2) * MINUTE)

    assert house.events == []


def test_repeated_word_begins_nothing_anew() -> None:
    """A sensor that repeats itself each minute is judged from its first word."""
    house = House()
    for minute in range(3):
        house.mains.sensor("shed-mains", (SHED,), "shed", False, at(minute * MINUTE))
        house.go(minute * MINUTE)

    assert house.turns(MAINS) == ["raised"]


def test_power_is_back_after_a_minute() -> None:
    """Power that stays for a minute ends it, power that fails again within it does not; it lasted until it came."""
    house = House()
    shed_out(house)
    house.mains.sensor("shed-mains", (SHED,), "shed", True, at(30 * MINUTE))
    house.go(31 * MINUTE - 1)
    house.mains.sensor("shed-mains", (SHED,), "shed", False, at(31 * MINUTE - 1))
    house.go(HOUR)
    assert house.turns(MAINS) == ["raised"]
    house.mains.sensor("shed-mains", (SHED,), "shed", True, at(HOUR))
    house.go(HOUR + MINUTE)

    over = house.told(MAINS, What.OVER)
    assert (over["since"], over["lasted"]) == (START.wall, HOUR)
    assert over["covers"] == "shed-chest,porch-chest"


def test_turning_early_or_late_changes_nothing() -> None:
    """A turn before anything is due does nothing, and one long after tells the same once."""
    house = House()
    house.mains.sensor("shed-mains", (SHED,), "shed", False, at(0))
    house.mains.turn(at(MINUTE), house.alarms)
    assert house.events == []
    house.go(5 * HOUR)
    house.mains.turn(at(5 * HOUR), house.alarms)

    assert house.turns(MAINS) == ["raised"]


# -- the gateway's own supply --------------------------------------------------------------------------------


def test_host_covers_every_freezer() -> None:
    """The gateway's own supply speaks for all freezers, by the house's id."""
    house = House()
    house.mains.host(False, at(0))
    house.go(HOUR)

    assert house.turns(MAINS, of=HOUSE) == ["raised"]
    told = house.told(MAINS)
    assert (told["covers"], told["place"], told["how"]) == ("shed-chest,cellar-upright,porch-chest", "", "host")
    assert all(house.hidden(freezer) for freezer in ALL)


def test_host_gets_freezers_that_come_later() -> None:
    """A freezer that the settings bring during an outage is told of and hidden with the next look."""
    house = House((SHED,))
    house.mains.host(False, at(0))
    house.go(HOUR)
    house.mains.fit(ALL, ())
    house.mains.look(at(HOUR), house.alarms)

    assert house.turns(MAINS) == ["raised", "repeated"]
    assert house.hidden(PORCH)


# -- a meter in a plug ---------------------------------------------------------------------------------------


def test_plug_that_draws_nothing_is_told() -> None:
    """After a day of habit a freezer that draws nothing for 2 h is told, by its meter."""
    house = House()
    cycles(house, 0, DAY, until=DAY + 3 * HOUR)

    assert house.turns(MAINS, of="shed-plug") == ["raised"]
    told = house.told(MAINS)
    assert (told["covers"], told["how"], told["draws"]) == (SHED, "power", True)
    assert told["lasted"] == 2 * HOUR
    assert house.hidden(SHED)


def test_plug_that_draws_again_is_over() -> None:
    """Power drawn for a minute ends it; the outage is no habit of its freezer."""
    house = House()
    cycles(house, 0, DAY, until=DAY + 5 * HOUR)
    cycles(house, DAY + 5 * HOUR, DAY + 8 * HOUR)

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.hidden(SHED) == set()
    assert max(r.longest for r in house.mains.meters["shed-plug"].rests) == 40 * MINUTE


def test_resting_freezer_is_not_told() -> None:
    """Three days of ordinary cycles tell nothing."""
    house = House()
    cycles(house, 0, 3 * DAY)

    assert house.events == []


# -- all at once ---------------------------------------------------------------------------------------------


def test_all_freezers_of_a_place_at_once_are_an_outage() -> None:
    """Two freezers of one place that surely warm since about the same time have lost the power; that is a guess."""
    house = House()
    house.turn_at(90 * MINUTE, shed_chest=0, porch_chest=None)
    assert house.events == []
    house.turn_at(91 * MINUTE, shed_chest=0, porch_chest=40)

    assert house.turns(MAINS, of=HOUSE) == ["raised"]
    assert house.told(MAINS) == {
        "since": at(40 * MINUTE).wall, "lasted": 51 * MINUTE, "covers": "shed-chest,porch-chest", "place": "shed",
        "how": "inferred",
    }  # fmt: skip
    assert house.mains.inferring
    assert house.hidden(PORCH)


def test_far_apart_is_each_its_own() -> None:
    """Freezers that turned more than 45 min apart are told of one by one."""
    house = House()
    house.turn_at(2 * HOUR, shed_chest=0, porch_chest=46)

    assert house.events == []


def test_one_freezer_alone_says_nothing_of_the_mains() -> None:
    """A single freezer could as well have a broken compressor."""
    house = House()
    house.turn_at(2 * HOUR, shed_chest=0)

    assert house.events == []


def test_house_is_the_widest_place() -> None:
    """Freezers of different places, all of the house at once, are an outage of the house."""
    house = House()
    signs = {who: Sign(f"place {n}", at(n * MINUTE), sure=True, cools=None) for n, who in enumerate(ALL)}
    house.mains.turning(signs, at(HOUR), house.alarms)

    assert house.told(MAINS)["covers"] == "shed-chest,cellar-upright,porch-chest"
    assert house.told(MAINS)["place"] == ""


def test_guess_is_over_when_one_cools() -> None:
    """One of them that truly cools ends the guess, since when it cools; none that is just not sure any more does."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    for hour in range(2, 40):
        house.turn_at(hour * HOUR, sure=False, shed_chest=0, porch_chest=10)
    assert house.turns(MAINS) == ["raised"]
    house.turn_at(40 * HOUR, shed_chest=None, porch_chest=10)

    assert house.turns(MAINS) == ["raised", "over"]
    assert house.told(MAINS, What.OVER)["lasted"] == 40 * HOUR - 10 * MINUTE
    assert not house.mains.inferring
    assert house.hidden(SHED) == set()


def test_what_is_known_is_not_guessed() -> None:
    """Where a sensor has told of the outage, nothing is guessed beside it."""
    house = House()
    shed_out(house)
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)

    assert house.turns(MAINS) == ["raised"]


def test_guess_gives_way_to_the_sensor() -> None:
    """A sensor that says the power is back ends the guess of its freezers as well."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    shed_out(house, HOUR)
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", True, at(2 * HOUR))
    house.go(3 * HOUR)

    assert house.turns(MAINS, of=HOUSE) == ["raised", "over"]
    assert house.turns(MAINS, of="shed-mains") == ["raised", "over"]


def test_growing_outage_is_told_again() -> None:
    """An outage of the house that comes to cover more freezers is told anew, as nobody else speaks for them."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    house.mains.host(False, at(HOUR))
    house.go(2 * HOUR)

    assert house.turns(MAINS) == ["raised", "repeated"]
    again = house.told(MAINS, What.REPEATED)
    assert (again["how"], again["covers"]) == ("host", "shed-chest,porch-chest,cellar-upright")
    assert house.hidden(CELLAR)


def test_freezers_that_are_gone_end_a_guess() -> None:
    """A guess about a place whose freezers left the settings is over."""
    house = House()
    house.turn_at(HOUR, shed_chest=0, porch_chest=10)
    house.mains.turning({CELLAR: Sign("cellar", None, sure=False, cools=None)}, at(2 * HOUR), house.alarms)

    assert house.turns(MAINS) == ["raised", "over"]
