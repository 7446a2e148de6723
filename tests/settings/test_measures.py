"""What a sensor is there for: a temperature, a lid, a plug's power, or the mains."""

import pytest

from gatewayd.model.house import PayloadRule
from gatewayd.model.reading import Quantity
from tests.settings.conftest import SMALL, Faults, Load, changed

SENSOR = "    topic: shed/air\n"
RADIO = "radios:\n  hall: {}\n"
DEVICE = "  shed-lid:\n    radio: hall\n    address: 'A4:C1:38:0B:5E:21'\n    measures: lid\n"
MAKER = "    bytes: {maker: 0xFFFF, width: 1}\n"
MAINS = "  porch-mains: {broker: house, topic: porch/mains, measures: mains, place: the porch}\n"


def test_others_stand_beside_thermometers(load_text: Load) -> None:
    """Listed or naming their freezer themselves, lids and plugs go to the others, thermometers to the sensors."""
    more = (
        "  shed-lid: {broker: house, topic: shed/lid, measures: lid}\n"
        "  shed-plug: {broker: house, topic: shed/plug, measures: POWER, freezer: shed-chest}\n"
        "  shed-trout: {broker: house, topic: shed/trout, freezer: shed-chest}\n"
    )
    text = changed(SENSOR, SENSOR + more).replace("[shed-air]", "[shed-lid, shed-air]")
    settings = load_text(text)
    freezer = settings.house.freezers["shed-chest"]

    assert (freezer.sensors, freezer.others) == (("shed-air", "shed-trout"), ("shed-lid", "shed-plug"))
    assert settings.house.sensors["shed-plug"].measures is Quantity.POWER
    assert settings.house.sensors["shed-lid"].payload == PayloadRule(measures=Quantity.LID)
    assert settings.warnings == ()


def test_mains_needs_no_freezer(load_text: Load) -> None:
    """A sensor of the mains may be in no freezer, and has a place of its own."""
    settings = load_text(changed(SENSOR, SENSOR + MAINS))

    assert settings.house.sensors["porch-mains"].place == "the porch"
    assert settings.warnings == ()


def test_lid_alone_watches_nothing(load_text: Load) -> None:
    """A freezer with a lid and no thermometer is not watched, and the keeper hears of it."""
    settings = load_text(changed(SENSOR, SENSOR + "    measures: lid\n"))

    assert settings.house.freezers["shed-chest"].sensors == ()
    assert settings.warnings == ("freezer shed-chest has no thermometer, so it is not watched",)


@pytest.mark.parametrize("form", ["bthome", "bytes"])
def test_radio_sensors_measure_too(form: str, load_text: Load) -> None:
    """A sensor heard by radio says what it is there for, and a rule for bytes has that quantity and its range."""
    device = DEVICE + f"    format: {form}\n    freezer: shed-chest\n" + (MAKER if form == "bytes" else "")
    saying = load_text(RADIO + changed(SENSOR, SENSOR + device)).house.sensors["shed-lid"].payload

    assert saying.measures is Quantity.LID
    rule = getattr(saying, "rule", None)
    assert rule is None if form == "bthome" else (rule.quantity, rule.highest) == (Quantity.LID, 1.0)


def test_one_device_may_be_two_sensors(load_text: Load) -> None:
    """The lid and the temperature of one device are two sensors, not one twice."""
    air = DEVICE.replace("shed-lid", "shed-trout").replace("    measures: lid\n", "")
    home = "    format: bthome\n    freezer: shed-chest\n"

    assert len(load_text(RADIO + changed(SENSOR, SENSOR + DEVICE + home + air + home)).house.sensors) == 3


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        ("    measures: weight\n", "sensors.shed-air.measures", "is not one of them"),
        ("    measures: lid\n    unit: °F\n", "sensors.shed-air.unit", "measures: lid"),
        ("    place: the porch\n", "sensors.shed-air.place", "measures: mains only"),
        ("    measures: mains\n    place: the porch\n", "sensors.shed-air.place", "is in a freezer"),
        (DEVICE + "    format: eddystone-tlm\n", "sensors.shed-lid.measures", "temperatures alone"),
        (
            DEVICE + "    format: bytes\n" + MAKER.replace("1}", "1, highest: 3 °C}"),
            "sensors.shed-lid.bytes.highest",
            "speaks of a temperature",
        ),
    ],
)
def test_what_does_not_go_together(more: str, key: str, words: str, faults_of: Faults) -> None:
    """What speaks of degrees goes with temperatures, a place with the mains, and each fault says so once."""
    (found,) = faults_of(RADIO + SMALL.replace(SENSOR, SENSOR + more))

    assert found.key == key
    assert words in str(found)
