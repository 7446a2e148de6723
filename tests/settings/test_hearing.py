"""How sensors are heard: each way has its own settings, and what would be heard twice or never is told."""

import pytest

from gatewayd.model.format import ByteRule, Format, Saying
from gatewayd.model.house import WIRED, PayloadRule
from gatewayd.model.moment import MINUTE
from gatewayd.settings.redact import redacted
from gatewayd.settings.typed import Radio
from tests.settings.conftest import SMALL, Faults, Load, changed

KEY = "0123456789abcdef0123456789ABCDEF"
ADDRESS = "A4:C1:38:0B:5E:21"
RADIO = f"radio: hall, address: {ADDRESS}"
BTHOME = f"{RADIO}, format: bthome"
SLAVE = "/sys/bus/w1/devices/28-0123456789ab/w1_slave"
CHIP = "/sys/bus/i2c/devices/1-0048/hwmon/hwmon*/temp1_input"
HALL = "  hall: {name: Hall radio}"


def house(*sensors: str, radios: str = HALL) -> str:
    """Return the small house with more sensors, air-1, air-2 and so on, in the shed chest, and with radios."""
    lines = "".join(f"  air-{n}: {{freezer: shed-chest, {text}}}\n" for n, text in enumerate(sensors, start=1))
    return (
        changed("brokers:", f"{lines}radios:\n{radios}\nbrokers:")
        if radios
        else changed("brokers:", lines + "brokers:")
    )


def test_sensor_by_radio(load_text: Load) -> None:
    """A sensor heard by radio has the radio as its source, the address in capitals as its channel, and a saying."""
    settings = load_text(house(f"radio: hall, address: {ADDRESS.lower()}, format: bthome, which: 2, key: {KEY}"))
    sensor = settings.house.sensors["air-1"]

    assert (sensor.source, sensor.channel) == ("hall", ADDRESS)
    assert sensor.payload == Saying(Format.BTHOME, which=2, encrypted=True)
    assert sensor.reports_every is None
    assert settings.radios == {"hall": Radio("hall", "Hall radio", "first", "active")}
    assert settings.house.sources == {"house": "House", "hall": "Hall radio"}
    assert settings.keys["air-1"].reveal() == KEY.lower()
    assert settings.warnings == ()


def test_sensor_by_broker_is_as_before(load_text: Load) -> None:
    """A house without radio and wire has neither in its sources, and no keys."""
    settings = load_text(SMALL)

    assert settings.house.sensors["shed-air"].payload == PayloadRule()
    assert (settings.radios, settings.keys, settings.house.sources) == ({}, {}, {"house": "House"})


@pytest.mark.parametrize(
    ("text", "form"),
    [
        (f"file: {SLAVE}", Format.ONE_WIRE),
        (f"file: {CHIP}", Format.HWMON),
        (f"file: {SLAVE}, format: hwmon", Format.HWMON),
        ("file: /sys/bus/w1/devices/28-0123456789ab/temperature", Format.HWMON),
    ],
)
def test_wired_probe(text: str, form: Format, load_text: Load) -> None:
    """A wired probe is heard from the wire, by the format that its file has unless another is named."""
    settings = load_text(house(text, radios=""))
    sensor = settings.house.sensors["air-1"]

    assert (sensor.source, sensor.channel, sensor.payload) == (WIRED, text[6:].partition(",")[0], Saying(form))
    assert settings.house.sources == {"house": "House", WIRED: "Wired probes"}
    assert settings.warnings == ()


def test_all_digit_address_stays_text(load_text: Load) -> None:
    """An address and a key of digits only are texts, not numbers."""
    settings = load_text(house(f"radio: hall, address: 00:11:22:33:44:55, format: bthome, key: {'12' * 16}"))

    assert settings.house.sensors["air-1"].channel == "00:11:22:33:44:55"
    assert settings.keys["air-1"].reveal() == "12" * 16


def test_byte_rule(load_text: Load) -> None:
    """The rule for bytes is carried over; an unknown value may be written as it is sent."""
    text = "maker: 0xFFFF, least: 8, offset: 4, order: big, factor: 0.1, addend: -40"
    text += ", unknown: [0x8000, -1], lowest: -40 °F"
    settings = load_text(house(f"{RADIO}, format: bytes, bytes: {{{text}}}"))
    saying = settings.house.sensors["air-1"].payload

    assert isinstance(saying, Saying)
    assert saying.rule == ByteRule(
        maker=0xFFFF, least=8, offset=4, order="big", factor=0.1, addend=-40.0, unknown=(-32768, -1), lowest=-40.0
    )


def test_byte_rule_defaults(load_text: Load) -> None:
    """Left out, the rule reads two signed bytes at the start, and as many bytes as that must be there."""
    settings = load_text(house(f"{RADIO}, format: bytes, bytes: {{service: 0xFEAA, offset: 3}}"))

    assert settings.house.sensors["air-1"].payload == Saying(
        Format.BYTES, rule=ByteRule(service="feaa", offset=3, least=5)
    )


def test_reading_sets_the_pace(load_text: Load) -> None:
    """A sensor that is connected to reports as often as it is read, unless told otherwise."""
    texts = [f"{RADIO}, format: characteristics, read_every: 30 min", f"file: {SLAVE}"]
    sensors = load_text(house(*texts)).house.sensors

    assert (sensors["air-1"].reports_every, sensors["air-2"].reports_every) == (30 * MINUTE, None)
    assert sensors["air-1"].payload == Saying(Format.READ, read_every=30 * MINUTE)


def test_key_from_environment(load_text: Load) -> None:
    """A key may come from a secret, and is nowhere in what is kept or shown."""
    settings = load_text(house(BTHOME + ", key: '${PLUMS}'"), env={"PLUMS": KEY}, mode=0o644)

    assert settings.keys["air-1"].reveal() == KEY.lower()
    assert settings.warnings == ()
    assert KEY.lower() not in redacted(settings).lower() + repr(settings).lower()
    assert '"keys":{"air-1":"…"}' in redacted(settings)


def test_written_key_warns_where_others_read(load_text: Load) -> None:
    """A key that is written out in a file that others may read is warned of, without showing it."""
    (warning,) = load_text(house(f"{BTHOME}, key: {KEY}"), mode=0o644).warnings

    assert "sensors.air-1.key is written out" in warning
    assert KEY not in warning


# name, what is written for the sensors, key and words of the one fault
CASES = [
    ("no way", ["name: x"], "sensors.air-1", "does not say how it is heard"),
    ("two ways", [f"broker: house, topic: x, file: {SLAVE}"], "sensors.air-1", "names broker and file"),
    ("three ways", [f"{BTHOME}, broker: house, file: {SLAVE}"], "sensors.air-1", "names broker and radio and file"),
    ("no topic", ["broker: house"], "sensors.air-1.topic", "is missing"),
    ("no address", ["radio: hall, format: bthome"], "sensors.air-1.address", "is missing"),
    ("no format", [RADIO], "sensors.air-1.format", "is missing"),
    ("unknown radio", [BTHOME.replace("hall", "hal")], "sensors.air-1.radio", "did you mean hall?"),
    ("topic by radio", [BTHOME + ", topic: x"], "sensors.air-1.topic", "does not go with radio"),
    ("unit by wire", [f"file: {SLAVE}, unit: °F"], "sensors.air-1.unit", "does not go with file"),
    ("address by wire", [f"file: {SLAVE}, address: '{ADDRESS}'"], "sensors.air-1.address", "does not go with file"),
    ("key by broker", [f"broker: house, topic: x, key: {KEY}"], "sensors.air-1.key", "does not go with broker"),
    ("bytes by broker", ["broker: house, topic: x, bytes: {maker: 1}"], "sensors.air-1.bytes", "does not go with"),
    ("wired format", [f"{RADIO}, format: hwmon"], "sensors.air-1.format", "is not heard by radio"),
    ("air format", [f"file: {SLAVE}, format: bthome"], "sensors.air-1.format", "is heard by radio"),
    ("key of other format", [f"{RADIO}, format: eddystone-tlm, key: {KEY}"], "sensors.air-1.key", "has no use with"),
    ("which of beacon", [f"{RADIO}, format: eddystone-tlm, which: 2"], "sensors.air-1.which", "has no use with"),
    ("read bthome", [f"{BTHOME}, read_every: 1 h"], "sensors.air-1.read_every", "has no use with"),
    ("bytes of bthome", [BTHOME + ", bytes: {maker: 1}"], "sensors.air-1.bytes", "has no use with"),
    ("bytes missing", [f"{RADIO}, format: bytes"], "sensors.air-1.bytes", "is missing"),
    ("bytes empty", [f"{RADIO}, format: bytes, bytes: {{width: 2}}"], "sensors.air-1.bytes", "either a service or"),
    (
        "bytes of two",
        [f"{RADIO}, format: bytes, bytes: {{maker: 1, service: feaa}}"],
        "sensors.air-1.bytes",
        "either a service or a maker",
    ),
    (
        "bytes too few",
        [f"{RADIO}, format: bytes, bytes: {{maker: 1, offset: 4, least: 5}}"],
        "sensors.air-1.bytes",
        "offset + width = 6",
    ),
    (
        "unknown too large",
        [f"{RADIO}, format: bytes, bytes: {{maker: 1, width: 1, unknown: [0x8000]}}"],
        "sensors.air-1.bytes",
        "unknown holds 32768, which 1 byte cannot hold",
    ),
    (
        "unknown below zero",
        [f"{RADIO}, format: bytes, bytes: {{maker: 1, signed: no, unknown: [-1]}}"],
        "sensors.air-1.bytes",
        "unknown holds -1",
    ),
    (
        "range crossed",
        [f"{RADIO}, format: bytes, bytes: {{maker: 1, lowest: 70 °C}}"],
        "sensors.air-1.bytes",
        "lowest must be below highest",
    ),
    ("no list", [f"{RADIO}, format: bytes, bytes: {{maker: 1, unknown: 5}}"], "sensors.air-1.bytes.unknown", "no list"),
    ("heard twice", [BTHOME, BTHOME], "sensors.air-2.address", "is heard already as sensor air-1"),
    ("same in small", [BTHOME, BTHOME.lower()], "sensors.air-2.address", "is heard already as sensor air-1"),
    ("two keys", [f"{BTHOME}, key: {KEY}", f"{BTHOME}, which: 2"], "sensors.air-2.key", "the same device"),
    ("file twice", [f"file: {SLAVE}", f"file: {SLAVE}"], "sensors.air-2.file", "is read already as sensor air-1"),
    ("unknown freezer", [f"freezer: shed, file: {SLAVE}"], "sensors.air-1.freezer", "there is no freezer 'shed'"),
]  # fmt: skip


@pytest.mark.parametrize(("sensors", "key", "said"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_wrong_hearing_is_a_fault(sensors: list[str], key: str, said: str, faults_of: Faults) -> None:
    """Each contradiction in how a sensor is heard is one fault, at the setting that must change."""
    text = house(*sensors)
    if any("freezer" in sensor for sensor in sensors):
        text = text.replace("freezer: shed-chest, freezer", "freezer")
    (found,) = faults_of(text)

    assert found.key == key
    assert said in found.problem
    assert KEY not in str(found)


@pytest.mark.parametrize("sensor", [f"{BTHOME}, key: {KEY}x", f"{BTHOME}, key: '${{GONE}}'"])
def test_wrong_key_is_not_shown(sensor: str, faults_of: Faults) -> None:
    """A key that is none is at fault, and no piece of it is shown."""
    (found,) = faults_of(house(sensor))

    assert found.key == "sensors.air-1.key"
    assert KEY[:8] not in str(found)


@pytest.mark.parametrize("sensor", ["radio: [hall]", "bytes: {maker: 70000}", "format: bthom", "address: x"])
def test_one_slip_is_one_fault(sensor: str, faults_of: Faults) -> None:
    """A slip in one setting does not make the others look wrong as well."""
    right = {"radio": "hall", "address": ADDRESS, "format": "bytes", "bytes": "{maker: 1}"}
    name, _, value = sensor.partition(": ")
    text = ", ".join(f"{key}: {value if key == name else other}" for key, other in right.items())

    assert len(faults_of(house(text))) == 1


def test_several_values_of_one_device(load_text: Load) -> None:
    """Two temperatures of one device, two places in its bytes, and two formats are sensors of their own."""
    texts = [
        f"{BTHOME}, key: {KEY}",
        f"{BTHOME}, key: {KEY}, which: 2",
        f"{RADIO}, format: bytes, bytes: {{maker: 1}}",
        f"{RADIO}, format: bytes, bytes: {{maker: 1, offset: 2}}",
        f"{RADIO}, format: eddystone-tlm",
    ]

    assert len(load_text(house(*texts)).house.sensors) == 6


RADIOS = [
    ("wired", "  wired: {}", "radios.wired", "wired to this computer"),
    ("broker's id", "  house: {}", "radios.house", "is also the id of a broker"),
    ("two first", "  hall: {}\n  shed: {adapter: 'DC:A6:32:00:00:01'}", "radios.hall.adapter", "which adapter"),
    (
        "same adapter",
        "  hall: {adapter: 'dc:a6:32:00:00:01'}\n  shed: {adapter: 'DC:A6:32:00:00:01'}",
        "radios.shed.adapter",
        "is the adapter of radio hall already",
    ),
    ("name of adapter", "  hall: {adapter: hci0}", "radios.hall.adapter", "is not a Bluetooth address"),
]


@pytest.mark.parametrize(("radios", "key", "said"), [r[1:] for r in RADIOS], ids=[r[0] for r in RADIOS])
def test_wrong_radio_is_a_fault(radios: str, key: str, said: str, faults_of: Faults) -> None:
    """Radios that could not be told apart, from each other or from other sources, are a fault."""
    (found,) = faults_of(house(radios=radios))

    assert found.key == key
    assert said in found.problem


@pytest.mark.parametrize(
    ("sensor", "warned"),
    [
        (BTHOME, True),
        (f"{BTHOME}, key: {KEY}", False),
        (f"{RADIO}, format: bytes, bytes: {{maker: 1}}", True),
        (f"{RADIO}, format: eddystone-tlm", False),
        (f"{RADIO}, format: characteristics", False),
    ],
)
def test_passive_radio_warns(sensor: str, warned: bool, load_text: Load) -> None:
    """A radio that only listens is warned of where a sensor may repeat its bytes: that would look like silence."""
    warnings = load_text(house(sensor, radios="  hall: {mode: passive}")).warnings

    assert [warning.startswith("sensor air-1 may repeat the same bytes") for warning in warnings] == [True] * warned


def test_numbered_file_warns(load_text: Load) -> None:
    """A file whose number may be another probe's after the next start is warned of."""
    (warning,) = load_text(house("file: /sys/class/hwmon/hwmon0/temp1_input")).warnings

    assert "the number in hwmon0 may be another" in warning


def test_sensor_names_its_freezer(load_text: Load) -> None:
    """A sensor may name its freezer itself; it comes after those that the freezer lists."""
    settings = load_text(house(BTHOME, f"file: {SLAVE}"))

    assert settings.house.freezers["shed-chest"].sensors == ("shed-air", "air-1", "air-2")


def test_freezer_of_named_sensors_is_watched(load_text: Load) -> None:
    """A freezer that lists no sensor but is named by one is watched."""
    settings = load_text(house(BTHOME).replace("    sensors: [shed-air]\n", "    name: Shed\n"))

    assert settings.warnings == ("sensor shed-air is in no freezer, so it raises no alarm",)


def test_freezer_named_twice_is_a_fault(faults_of: Faults) -> None:
    """A sensor that its freezer lists and that names a freezer too says one of the two too much."""
    (found,) = faults_of(changed("    topic: shed/air\n", "    topic: shed/air\n    freezer: shed-chest\n"))

    assert (found.key, found.value) == ("sensors.shed-air.freezer", "shed-air")
    assert "already in freezers.shed-chest.sensors" in found.problem


def test_slow_reading_is_a_fault(faults_of: Faults) -> None:
    """A freezer whose only sensor is read more seldom than its silence may last is at fault."""
    text = house(f"{RADIO}, format: characteristics, read_every: 2 h")
    (found,) = faults_of(text.replace("    sensors: [shed-air]\n", "    name: Shed\n"))

    assert found.key == "freezers.shed-chest.limits.unwatched"
    assert "report every 2 h" in found.problem
