"""Readers: what one setting takes, and what it refuses."""

import pytest

from gatewayd.model.house import Kind
from gatewayd.model.limits import Limits
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.settings import readers, schema
from gatewayd.settings.keys import Group, Key, walk
from gatewayd.settings.readers import Reader, is_loopback

KEYS = [(path, key) for path, key in walk(schema.ROOT) if isinstance(key, Key)]

REFUSED = [
    (readers.sensor_topic, "", "is empty"),  # MQTT-4.7.3-1
    (readers.sensor_topic, "a\0b", "NUL"),  # MQTT-4.7.3-2
    (readers.sensor_topic, "ä" * 32_768, "longer than 65535 bytes"),  # MQTT-4.7.3-3: bytes, not characters
    (readers.sensor_topic, "a/+/b", "wildcard"),  # MQTT-4.7.1-1
    (readers.sensor_topic, "a/#", "wildcard"),
    (readers.sensor_topic, "$share/group/a", "shared subscription"),
    (readers.own_topic, "$SYS/gatewayd", "broker's own"),  # MQTT-4.7.2-1
    (readers.own_topic, "gatewayd/#", "wildcard"),
    (readers.pointer, "temperature", "not a JSON Pointer"),
    (readers.pointer, "/a~2", "RFC 6901"),
    (readers.host, "mqtt://broker.lan", "scheme"),
    (readers.host, "broker.lan:1883", "port"),
    (readers.host, "broker lan", "not a host name"),
    (readers.host, "-broker", "not a host name"),
    (readers.host, "", "not a host name"),
    (readers.host, "a" * 64, "not a host name"),
    (readers.port, "0", "not such a number"),
    (readers.port, "65536", "not such a number"),
    (readers.port, "9" * 5000, "not such a number"),
    (readers.port, "1e3", "not such a number"),
    (readers.clock_time, "24:00", "not a time of day"),
    (readers.clock_time, "3:5", "not a time of day"),
    (readers.clock_time, "330", "not a time of day"),
    (readers.zone, "Europe/Berln", "did you mean Europe/Berlin"),
    (readers.zone, "europe/berlin", "did you mean Europe/Berlin"),
    (readers.zone, "America", "not a time zone"),
    (readers.zone, "../../etc/passwd", "not a time zone"),
    (readers.zone, "/etc/localtime", "not a time zone"),
    (readers.kind, "chset", "did you mean 'chest'"),
    (readers.mail_address, "anna", "not one mail address"),
    (readers.mail_address, "anna@x.org, jo@x.org", "not one mail address"),
    (readers.url, "mail.example.org", "not a URL"),
    (readers.url, "json://a b", "not a URL"),
    (readers.keep_every, "2 h", "out of range"),
    (readers.on_delay, "2 days", "out of range"),
    (readers.keepalive, "0", "out of range"),
    (readers.dark_span, "0", "out of range"),
    (readers.name, "  ", "is empty"),
]


@pytest.mark.parametrize(
    ("reader", "text", "said"), REFUSED, ids=[f"{said}: {text[:20]!r}" for _, text, said in REFUSED]
)
def test_reader_refuses(reader: Reader[object], text: str, said: str) -> None:
    """Each reader refuses what its setting cannot be, and says why."""
    with pytest.raises(ValueError, match=said):
        reader.parse(text)


TAKEN = [
    (readers.sensor_topic, "ä" * 32_767, "ä" * 32_767),  # 65 534 bytes
    (readers.sensor_topic, "/", "/"),  # a topic of two empty levels is valid (MQTT 4.7.1.1)
    (readers.sensor_topic, "$SYS/broker/uptime", "$SYS/broker/uptime"),
    (readers.pointer, "", ""),  # the whole document (RFC 6901, section 5)
    (readers.pointer, "/a~1b/m~0n/0", "/a~1b/m~0n/0"),
    (readers.host, "[::1]", "::1"),
    (readers.host, "192.168.1.10", "192.168.1.10"),
    (readers.host, "bröker.lan", "bröker.lan"),
    (readers.clock_time, "3:30", 210),
    (readers.clock_time, "22:30", 1350),
    (readers.kind, "Upright  with automatic defrost", Kind.UPRIGHT_AUTO_DEFROST),
    (readers.keep_every, "0", 0),
    (readers.keep_raw, "0", 0),
    (readers.keep_raw, "400 days", 400 * DAY),
    (readers.on_delay, "1 h 30 min", 90 * MINUTE),
    (readers.payload_unit, "f", "°F"),
    (readers.yes_no, "On", True),
]


@pytest.mark.parametrize(("reader", "text", "value"), TAKEN)
def test_reader_takes(reader: Reader[object], text: str, value: object) -> None:
    """Each reader takes what a keeper would write."""
    assert reader.parse(text) == value


@pytest.mark.parametrize(
    ("host", "inside"), [("127.8.9.1", True), ("LOCALHOST", True), ("localhost.example.org", False)]
)
def test_loopback_is_known(host: str, inside: bool) -> None:
    """Only names and addresses that never leave the computer count as inside it."""
    assert is_loopback(host) is inside


@pytest.mark.parametrize(("path", "key"), KEYS, ids=[path for path, _ in KEYS])
def test_declaration_is_whole(path: str, key: Key[object]) -> None:
    """Each setting explains itself, and says what happens without it; its default is one that it takes."""
    assert key.about.endswith(".")
    assert key.required or key.default or key.otherwise
    assert key.default is None or key.reader.parse(key.default) is not None


def test_no_name_is_declared_twice() -> None:
    """No group declares two settings of one name."""
    groups = [schema.ROOT, *(group for _, group in walk(schema.ROOT) if isinstance(group, Group))]

    assert [group.name for group in groups if len(set(group.names)) < len(group.names)] == []


@pytest.mark.parametrize("key", [key for key in schema.LIMITS.keys if key is not schema.HIGHHIGH_ON_DELAY])
def test_defaults_of_limits_agree(key: Key[object]) -> None:
    """The defaults that the schema names are those of the model."""
    assert key.default is not None
    assert key.reader.parse(key.default) == getattr(Limits(), key.name)
