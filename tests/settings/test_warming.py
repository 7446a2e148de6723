"""What a freezer holds and the room it stands in, as a keeper writes them."""

import pytest

from gatewayd.model.contents import Group
from gatewayd.settings import schema
from gatewayd.settings.warming import PACKED, UNSAID
from gatewayd.thermal.prior import FULL
from tests.settings.conftest import Faults, Load, changed

FREEZER = "    sensors: [shed-air]\n"
ROOM = "  shed-room: {broker: house, topic: shed/room}\nbrokers:"


def house(more: str, sensors: str = "brokers:") -> str:
    """Return the small house with more lines at its freezer, and more sensors."""
    return changed(FREEZER, FREEZER + more).replace("brokers:", sensors, 1)


def test_contents_are_weights_by_group(load_text: Load) -> None:
    """Each group of food is a weight with its unit, kept as kg; what is not written is not there."""
    freezer = load_text(house("    contents: {meat: 40 kg, bread: 500 g, meals: 20 lb}\n")).house.freezers["shed-chest"]

    assert set(freezer.contents) == {Group.MEAT, Group.BREAD, Group.MEALS}
    assert freezer.contents[Group.MEAT] == 40.0
    assert freezer.contents[Group.BREAD] == 0.5
    assert freezer.contents[Group.MEALS] == pytest.approx(9.0718, abs=1e-4)  # 1 lb: NIST SP 811, B.8


def test_nothing_said_is_nothing_known(load_text: Load) -> None:
    """Without these settings a freezer has no contents, no room's thermometer and no room's temperature."""
    freezer = load_text(house("")).house.freezers["shed-chest"]

    assert (dict(freezer.contents), freezer.room, freezer.room_about) == ({}, "", None)


def test_every_group_can_be_written() -> None:
    """There is a setting for each group of food that the freezer model knows, by its own name."""
    assert {group: key.name for group, key in schema.CONTENTS_KEYS.items()} == {group: group.value for group in Group}


def test_room_is_a_temperature(load_text: Load) -> None:
    """How warm a room is as a rule is a temperature, not a difference: 68 °F are 20 °C."""
    # 68 °F = 20 °C: (68 - 32) / 1.8, NIST SP 811, B.8
    freezer = load_text(house("    room_about: 68 °F\n")).house.freezers["shed-chest"]

    assert freezer.room_about == pytest.approx(20.0)


def test_thermometer_of_a_room_is_at_home(load_text: Load) -> None:
    """A thermometer that a freezer names as its room's is no sensor of that freezer, and nothing is wrong with it."""
    settings = load_text(house("    room: shed-room\n", ROOM))
    freezer = settings.house.freezers["shed-chest"]

    assert (freezer.room, freezer.sensors, freezer.others) == ("shed-room", ("shed-air",), ())
    assert settings.warnings == ()


def test_two_freezers_may_share_a_room(load_text: Load) -> None:
    """One thermometer may stand in the room of two freezers."""
    more = "    room: shed-room\n  shed-upright: {sensors: [upright-air], room: shed-room}\n"
    sensors = "  upright-air: {broker: house, topic: upright/air}\n" + ROOM
    settings = load_text(house(more, sensors))

    assert {freezer.room for freezer in settings.house.freezers.values()} == {"shed-room"}
    assert settings.warnings == ()


# what is written at the freezer; line, key, value, words of the one fault, and what is allowed
FAULTS = [
    ("    contents: {fish: 4 kg}\n", 6, "contents.fish", "", "is not a setting", "meat, vegetables-fruit, bread, me"),
    ("    contents: {meat: 40}\n", 6, "contents.meat", "40", "has no unit", "like 40 kg or 20 lb"),
    ("    contents: {meat: 40 L}\n", 6, "contents.meat", "40 L", "unknown unit", "like 40 kg or 20 lb"),
    ("    contents: {meat: -4 kg}\n", 6, "contents.meat", "-4 kg", "below zero", "up to 1000 kg"),
    ("    contents: {meat: 4000 kg}\n", 6, "contents.meat", "4000 kg", "out of range", "up to 1000 kg"),
    ('    contents: {meat: "1,5 kg"}\n', 6, "contents.meat", "1,5 kg", "comma", "like 40 kg or 20 lb"),
    ("    contents: 40 kg\n", 6, "contents", "…", "a bare text stands", "meat, vegetables-fruit"),
    ("    volume: 14 L\n", 6, "volume", "14 L", "out of range", "from 20 to 2000 L"),
    ("    room_about: 18\n", 6, "room_about", "18", "has no unit", "like 18 °C or 65 °F"),
    ("    room_about: 180 °C\n", 6, "room_about", "180 °C", "out of range", "from -30 to 60 °C"),
    ("    room: shed-rom\n", 6, "room", "shed-rom", "did you mean shed-room?", "shed-room"),
    ("    room: shed-air\n", 6, "room", "shed-air", "is in a freezer", "shed-room"),
]  # fmt: skip


@pytest.mark.parametrize("row", FAULTS, ids=[row[0].strip() for row in FAULTS])
def test_mistake_is_a_fault(row: tuple[str, int, str, str, str, str], faults_of: Faults) -> None:
    """Each mistake is one fault with its line, its key, the value as written, what is wrong and what is allowed."""
    more, line, key, value, said, allowed = row
    (found,) = faults_of(house(more, ROOM))

    assert (found.line, found.key, found.value) == (line, f"freezers.shed-chest.{key}", value)
    assert said in found.problem
    assert allowed in found.allowed


def test_room_needs_a_thermometer(faults_of: Faults) -> None:
    """What measures no temperature cannot say how warm a room is."""
    (found,) = faults_of(
        house("    room: shed-mains\n", "  shed-mains: {broker: house, topic: m, measures: mains}\nbrokers:")
    )

    assert found.key == "freezers.shed-chest.room"
    assert "is no thermometer: it measures mains" in found.problem


@pytest.mark.parametrize(("share", "warned"), [(1.0, False), (PACKED - 0.01, False), (PACKED + 0.01, True)])
def test_more_food_than_fits_is_a_warning(share: float, warned: bool, load_text: Load) -> None:
    """A well packed freezer passes; more food than it could hold is allowed, with a warning that names the figures."""
    weight = share * FULL * 200
    warnings = load_text(house(f"    volume: 200 L\n    contents: {{meat: {weight:.2f} kg}}\n")).warnings

    assert bool(warnings) is warned
    assert all("more than 200 L can hold (a full one has about 72 kg)" in warning for warning in warnings)


@pytest.mark.parametrize(("weight", "warned"), [(UNSAID, False), (UNSAID + 1, True)])
def test_contents_without_volume_are_held_against_the_guess(weight: float, warned: bool, load_text: Load) -> None:
    """Where no volume is written, more than a large chest holds is a warning that names what is taken for it."""
    warnings = load_text(house(f"    contents: {{meat: {weight:.0f} kg}}\n")).warnings

    assert bool(warnings) is warned
    assert all("300 L are taken then" in warning and "about 108 kg" in warning for warning in warnings)


def test_unknown_room_lists_what_may_stand_there(faults_of: Faults) -> None:
    """A room's sensor that there is not: only thermometers in no freezer are offered, or how to add one."""
    (unknown,) = faults_of(house("    room: barn\n", ROOM))
    (lonely,) = faults_of(house("    room: barn\n"))

    assert (unknown.problem, unknown.allowed) == ("there is no sensor 'barn'", "shed-room")
    assert "there is none yet. Add one under sensors and name no freezer at it" in lonely.allowed
