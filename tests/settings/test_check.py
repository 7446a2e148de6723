"""The checker: each kind of mistake in a line, and all mistakes of a file at once."""

from pathlib import Path

import pytest

from gatewayd.settings.faults import Fault, SettingsError
from tests.settings.conftest import SMALL, Faults, Load, changed

ONE = "id: heron-lane\n"

# what is written, instead of what; the line, key, value and words of the one fault
LINES = [
    ("unknown key", ONE, "id: heron-lane\n  nmae: x\n", 3, "site.nmae", "", "did you mean name?"),
    ("unknown section", "site:", "sits: {}\nsite:", 1, "sits", "", "did you mean site?"),
    ("key of another group", ONE, "id: heron-lane\ntime_zone: UTC\n", 3, "time_zone", "", "there is site.time_zone"),
    ("duplicate key", ONE, "id: heron-lane\n  id: x\n", 3, "site.id", "", "already stands in line 2"),
    ("duplicate id", "people:", "  shed-chest: {}\npeople:", 6, "freezers.shed-chest", "", "line 4"),
    ("missing key", ONE, "name: Heron Lane\n", 1, "site.id", "", "is missing"),
    ("missing section", "site:\n  id: heron-lane\n", "", 0, "site.id", "", "is missing"),
    ("empty value", ONE, "id:\n", 2, "site.id", "", "has no value"),
    ("bad id", "id: heron-lane", "id: Heron Lane", 2, "site.id", "Heron Lane", "is not an id"),
    ("id of an entry", "  shed-chest:", "  Shed_Chest:", 4, "freezers.Shed_Chest", "", "is not an id"),
    ("list for a group", "host: localhost", "- localhost", 11, "brokers.house", "", "a list stands"),
    ("text for a group", "  id: heron-lane", "  heron-lane", 1, "site", "…", "a bare text stands"),
    ("nothing for an entry", "    host: localhost\n", "", 11, "brokers.house", "", "nothing stands"),
    ("text for a list", "[shed-air]", "shed-air", 5, "freezers.shed-chest.sensors", "", "is no list"),
    ("group for a list", "[shed-air]", "{a: b}", 5, "freezers.shed-chest.sensors", "", "a group stands"),
    ("list in a list", "[shed-air]", "[[shed-air]]", 5, "freezers.shed-chest.sensors", "", "a list stands"),
    ("list for a value", "topic: shed/air", "topic: [shed/air]", 9, "sensors.shed-air.topic", "", "a list stands"),
    ("control character", ONE, 'id: heron-lane\n  name: "a\\nb"\n', 3, "site.name", "a b", "control character U+000A"),
    ("half a pair", ONE, 'id: heron-lane\n  name: "\\uD800"\n', 3, "site.name", "\ufffd", "control character U+D800"),
    ("too long", ONE, f"id: heron-lane\n  name: {'x' * 81}\n", 3, "site.name", "x" * 59 + "…", "longer than 80"),
    ("secret out of place", ONE, "id: heron-lane\n  name: ${X}\n", 3, "site.name", "${X}", "takes no secret"),
    ("merge key", ONE, "id: heron-lane\n  <<: {}\n", 3, "site.…", "", "a merge key"),
]


def moved(row: tuple[str, str, str, int, str, str, str]) -> str:
    """Return the small house with the row's mistake in it."""
    what, before, after, *_ = row
    if what == "duplicate id":  # in its own section
        return changed("sensors:\n  shed-air", "  shed-chest: {}\nsensors:\n  shed-air")
    return changed(before, after)


@pytest.mark.parametrize("row", LINES, ids=[row[0] for row in LINES])
def test_mistake_is_found_in_its_place(row: tuple[str, str, str, int, str, str, str], faults_of: Faults) -> None:
    """Each kind of mistake is reported with its line, key path, value as written, and what is wrong."""
    *_, line, key, value, said = row
    found = faults_of(moved(row))
    hit = [fault for fault in found if fault.key == key]

    assert [(fault.line, fault.value) for fault in hit] == [(line, value)]
    assert said in hit[0].problem


def test_every_fault_is_reported_at_once(faults_of: Faults) -> None:
    """Ten mistakes in one file, from spelling to contradiction, are ten faults in the order of the lines."""
    found = faults_of("""\
site:
  id: Heron Lane
  units: kelvin
  units: C
freezers:
  shed-chest:
    knid: chest
    volume: 14
    sensors: [shed-ar]
    limits: {high: -5 °C, highhigh: -10 °C}
sensors:
  shed-air: {broker: house, topic: shed/#}
brokers:
  house: {host: broker.lan, user: gatewayd, password: hunter2}
store: {nightly_copy_at: 24:00}
""")

    assert [(fault.line, fault.key) for fault in found] == [
        (2, "site.id"),
        (3, "site.units"),
        (4, "site.units"),
        (7, "freezers.shed-chest.knid"),
        (8, "freezers.shed-chest.volume"),
        (9, "freezers.shed-chest.sensors"),
        (10, "freezers.shed-chest.limits"),
        (12, "sensors.shed-air.topic"),
        (14, "brokers.house.password"),
        (15, "store.nightly_copy_at"),
    ]


def test_fault_reads_as_one_line(faults_of: Faults, settings_file: object) -> None:
    """A fault says file, line, key, value, what is wrong and what is allowed, in one line."""
    (found,) = faults_of(changed("id: heron-lane", "id: heron-lane\n  units: Q"))

    assert str(found) == f"{settings_file}, line 3: site.units: 'Q' is not one of them. Allowed: °C or °F."


def test_error_text_holds_all_faults() -> None:
    """The error's own text is its faults, a line each, sorted by file and line."""
    faults = [
        Fault(Path("b"), 1, "x", "", "is odd"),
        Fault(Path("a"), 9, "y", "", "is odd"),
        Fault(Path("a"), 2, "z", "", "is odd"),
    ]
    error = SettingsError(faults)

    assert str(error) == "a, line 2: z: is odd.\na, line 9: y: is odd.\nb, line 1: x: is odd."


def test_heading_without_lines_is_no_fault(load_text: Load) -> None:
    """A section whose lines are all commented out counts as left out."""
    text = SMALL.replace("    sensors: [shed-air]\n", "    sensors: [shed-air]\n    limits:\n      # high: -15 °C\n")

    assert load_text(text + "store:\n").warnings == ()


def test_fault_of_section_is_not_repeated(faults_of: Faults) -> None:
    """Where a whole section is at fault, what refers to it is not reported as well."""
    found = faults_of(SMALL[: SMALL.index("sensors:\n  shed-air")] + "sensors: [shed-air]\n")

    assert [(fault.key, fault.problem) for fault in found] == [
        ("sensors", "a list stands where a group of keys belongs")
    ]


def test_plain_dollar_brace_can_be_written(load_text: Load) -> None:
    """`$${` is a plain `${`, also where no secret may stand."""
    assert load_text(changed(ONE, "id: heron-lane\n  name: $${X}\n")).house.name == "${X}"


@pytest.mark.parametrize(("written", "meant"), [("yes", True), ("no", False), ("on", True), ("off", False)])
def test_yes_and_no_where_expected(written: str, meant: bool, load_text: Load) -> None:
    """`yes`, `no`, `on` and `off` are yes and no where one is asked for ..."""
    assert load_text(changed("host: localhost", f"host: localhost\n    tls: {written}")).brokers["house"].tls is meant


@pytest.mark.parametrize("written", ["yes", "no", "on", "22:30", "0012", "1e3", "null", "1.50"])
def test_texts_are_left_alone(written: str, load_text: Load) -> None:
    """... and stay text elsewhere, as do times and numbers in a name, a topic, a user and a password."""
    text = changed("host: localhost", f"host: localhost\n    user: {written}\n    password: {written}")
    settings = load_text(text.replace("topic: shed/air", f"topic: {written}\n    name: {written}"))
    broker, sensor = settings.brokers["house"], settings.house.sensors["shed-air"]

    assert {broker.user, broker.password.reveal(), sensor.channel, sensor.name} == {written}


def test_all_digit_topic_and_id_stay_text(load_text: Load) -> None:
    """An address of digits alone keeps its leading zeros, as a topic and as an id."""
    settings = load_text(SMALL.replace("shed-air", "00123456789").replace("topic: shed/air", "topic: 00123456789"))

    assert settings.house.sensors["00123456789"].channel == "00123456789"
    assert settings.house.freezers["shed-chest"].sensors == ("00123456789",)


def test_half_past_ten_is_a_time(load_text: Load) -> None:
    """22:30 is half past ten in the evening, not 1350 of something else."""
    assert load_text(SMALL + "store: {nightly_copy_at: 22:30}\n").storing.nightly_copy_at == 22 * 60 + 30
