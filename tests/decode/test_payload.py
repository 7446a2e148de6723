"""Payloads: plain numbers and JSON, good and hostile."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode.payload import LONGEST, decode, parts
from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.reading import Quantity, Undecodable

NUMBER = PayloadRule()
JSON = PayloadRule(PayloadForm.JSON, value="/air/celsius", battery="/battery", time="/at")


def only(rule: PayloadRule, payload: bytes) -> float:
    """Return the temperature of a payload that must be readable."""
    found = decode(rule, payload)
    assert isinstance(found, tuple), found
    return found[0].value


def why_not(rule: PayloadRule, payload: bytes) -> str:
    """Return why a payload cannot be read."""
    found = decode(rule, payload)
    assert isinstance(found, Undecodable), found
    return found.reason


@pytest.mark.parametrize(
    ("payload", "celsius"),
    [(b"-18.5", -18.5), (b" -18.50\r\n", -18.5), (b"+2", 2.0), (b".5", 0.5), (b"-1.85e1", -18.5), (b"-18.", -18.0)],
)
def test_plain_number_is_read(payload: bytes, celsius: float) -> None:
    """A bare number is a temperature, with or without white space around it."""
    assert only(NUMBER, payload) == celsius


@pytest.mark.parametrize(
    ("unit", "payload", "celsius"),
    # NIST SP 811 (2008), appendix B.9: t/°C = (t/°F - 32)/1.8 and t/°C = T/K - 273.15
    [("°F", b"0", -17.7777777778), ("°F", b"-40", -40.0), ("°F", b"20", -6.6666666667), ("K", b"255.15", -18.0)],
)
def test_units_become_celsius(unit: str, payload: bytes, celsius: float) -> None:
    """A payload in °F or K comes out in °C."""
    assert only(PayloadRule(unit=unit), payload) == pytest.approx(celsius, abs=1e-9)


def test_json_pointers_reach_values() -> None:
    """Temperature, battery and stamp are found where the pointers say."""
    payload = json.dumps({"air": {"celsius": -18.4}, "battery": 88, "at": "2026-11-25T02:10:00+01:00"}).encode()
    found = decode(JSON, payload)

    assert isinstance(found, tuple)
    assert [(v.quantity, v.value) for v in found] == [(Quantity.TEMPERATURE, -18.4), (Quantity.BATTERY, 88.0)]
    assert {v.measured for v in found} == {1_795_569_000_000}


RFC6901 = {
    "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7, "m~n": 8,
}  # fmt: skip


@pytest.mark.parametrize(
    ("pointer", "number"),
    [("/", 0), ("/a~1b", 1), ("/c%d", 2), ("/e^f", 3), ("/g|h", 4), ("/i\\j", 5), ('/k"l', 6), ("/ ", 7), ("/m~0n", 8)],
)
def test_pointers_follow_the_standard(pointer: str, number: float) -> None:
    """The examples of RFC 6901, section 5, evaluate as printed there."""
    rule = PayloadRule(PayloadForm.JSON, value=pointer)

    assert only(rule, json.dumps(RFC6901).encode()) == number


@pytest.mark.parametrize("pointer", ["temperature", "/a~2", "/a~"])
def test_malformed_pointer_is_refused(pointer: str) -> None:
    """What RFC 6901, section 3, does not allow raises."""
    with pytest.raises(ValueError, match=r"JSON Pointer|RFC 6901"):
        parts(pointer)


@pytest.mark.parametrize(
    ("stamp", "wall"),
    [
        (1_795_569_000, 1_795_569_000_000),
        (1_795_569_000_123, 1_795_569_000_123),
        ("2026-11-25T01:10:00Z", 1_795_569_000_000),
    ],
)
def test_stamps_are_read(stamp: object, wall: int) -> None:
    """Unix seconds, Unix milliseconds and ISO 8601 with a zone are all stamps."""
    found = decode(JSON, json.dumps({"air": {"celsius": -18}, "at": stamp}).encode())

    assert isinstance(found, tuple)
    assert found[0].measured == wall


@pytest.mark.parametrize("stamp", ["2026-11-25T01:10:00", "yesterday", None, [1], 1e300])
def test_unreadable_stamp_leaves_the_temperature(stamp: object) -> None:
    """A stamp without a zone, or none at all, does not cost the reading."""
    found = decode(JSON, json.dumps({"air": {"celsius": -18}, "at": stamp}).encode())

    assert isinstance(found, tuple)
    assert (found[0].value, found[0].measured) == (-18.0, None)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "the message is empty"),
        (b"  \n", "the message is empty"),
        (b"warm", "the message is not a number"),
        (b"-18,5", "the number has a comma; a decimal point is expected"),
        (b"nan", "the message is not a number"),
        (b"1_000", "the message is not a number"),
        (b"\xff\xfe", "the message is not text (UTF-8)"),
        (b"9" * 5000, "the number is beyond all measure"),
        (b"1e999", "the number is beyond all measure"),
        (b"x" * 1_000_000, "the message is longer than 64 KiB"),
    ],
)
def test_bad_number_says_why(payload: bytes, reason: str) -> None:
    """A payload that is no number is refused in the owner's words."""
    assert why_not(NUMBER, payload) == reason


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"not json", "the message is not JSON"),
        (b"[1, 2]", "there is no /air/celsius in the message"),
        (b'"-18.4"', "there is no /air/celsius in the message"),
        (b'{"air": {"celsius": null}}', "the sensor sent no value (null)"),
        (b'{"air": {"celsius": "cold"}}', "the message is not a number"),
        (b'{"air": {"celsius": true}}', "the value is true or false, not a number"),
        (b'{"air": {"celsius": [-18]}}', "the value is a list; point to one entry of it"),
        (b'{"air": {"celsius": {}}}', "the value is a group of values; point to one of them"),
        (b'{"air": {"celsius": NaN}}', "the message says NaN, which is no number"),
        (b'{"air": {"celsius": -Infinity}}', "the message says -Infinity, which is no number"),
        (b'{"air": {"celsius": ' + b"9" * 5000 + b"}}", "the number is beyond all measure"),
        (b'{"a":' * 10_000, "the JSON is nested too deeply"),
        (b"[" * 10_000, "the JSON is nested too deeply"),
    ],
)
def test_bad_json_says_why(payload: bytes, reason: str) -> None:
    """A payload whose JSON is broken, hostile or lacks the value is refused in the owner's words."""
    assert why_not(JSON, payload) == reason


def test_longest_payload_is_still_read() -> None:
    """A payload of exactly 64 KiB is read, one byte more is not."""
    padded = b"-18.5".ljust(LONGEST)

    assert only(NUMBER, padded) == -18.5
    assert why_not(NUMBER, padded + b" ") == "the message is longer than 64 KiB"


@given(st.binary(max_size=300), st.sampled_from([NUMBER, JSON, PayloadRule(PayloadForm.JSON, value="")]))
def test_any_bytes_never_raise(payload: bytes, rule: PayloadRule) -> None:
    """Whatever arrives comes out as values or as a reason."""
    assert isinstance(decode(rule, payload), tuple | Undecodable)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(), lambda c: st.lists(c) | st.dictionaries(st.text(), c)
    )
)
def test_any_json_never_raises(document: object) -> None:
    """Whatever JSON arrives comes out as values or as a reason."""
    payload = json.dumps({"air": {"celsius": document}, "battery": document, "at": document}).encode()

    assert isinstance(decode(JSON, payload), tuple | Undecodable)


@pytest.mark.parametrize(
    ("measures", "ones", "zeros"),
    [
        (
            Quantity.LID,
            ("open", "Opened", "1", "TRUE", "on", " yes\n"),
            ("closed", "close", "SHUT", "0", "false", "off", "no"),
        ),
        (Quantity.MAINS, ("on", "1", "True", "yes", "UP", "ok"), ("off", "0", "false", "no", "Down")),
    ],
)
def test_words_of_lids_and_mains(measures: Quantity, ones: tuple[str, ...], zeros: tuple[str, ...]) -> None:
    """A lid and the mains speak in words in any case, bare or in JSON, and never as a temperature."""
    bare, pointed = PayloadRule(measures=measures), PayloadRule(PayloadForm.JSON, value="/state", measures=measures)

    for word, expected in [*((word, 1.0) for word in ones), *((word, 0.0) for word in zeros)]:
        for rule, payload in ((bare, word), (pointed, json.dumps({"state": word}))):
            found = decode(rule, payload.encode())
            assert isinstance(found, tuple), found
            assert [(value.quantity, value.value) for value in found] == [(measures, expected)]


@pytest.mark.parametrize("measures", [Quantity.LID, Quantity.MAINS])
def test_truth_counts_for_lids_and_mains(measures: Quantity) -> None:
    """True and 1 in JSON say the same of a lid or the mains, so do false and 0."""
    rule = PayloadRule(PayloadForm.JSON, value="/state", measures=measures)

    assert [only(rule, b'{"state": %s}' % said) for said in (b"true", b"1", b"false", b"0")] == [1.0, 1.0, 0.0, 0.0]


@pytest.mark.parametrize("payload", [b"ajar", b"2", b"-18.5"])
def test_other_words_say_nothing_of_a_lid(payload: bytes) -> None:
    """A word that nobody has agreed on is reported and not guessed at."""
    rule = PayloadRule(PayloadForm.JSON, value="/state", measures=Quantity.LID)

    assert why_not(PayloadRule(measures=Quantity.LID), payload) == "the message does not say whether the lid is open"
    assert "null" in why_not(rule, b'{"state": null}')
    assert "does not say" in why_not(rule, b'{"state": 0.5}')


def test_power_is_in_watts() -> None:
    """A power is the number in watts, whatever the unit of a temperature would be; a truth is no power."""
    rule = PayloadRule(PayloadForm.JSON, value="/power", unit="°F", measures=Quantity.POWER)
    found = decode(rule, b'{"power": 84.5}')

    assert isinstance(found, tuple)
    assert [(value.quantity, value.value) for value in found] == [(Quantity.POWER, 84.5)]
    assert only(PayloadRule(measures=Quantity.POWER), b"84.5") == 84.5
    assert "true or false" in why_not(rule, b'{"power": true}')
