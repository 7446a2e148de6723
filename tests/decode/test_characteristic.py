"""Characteristics: several records in one answer, exact numbers, and answers that are cut."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode import characteristic as c
from gatewayd.model.format import Format, Saying
from gatewayd.model.reading import Decoded, Quantity, Undecodable

READ = Saying(Format.READ)


def values(payload: bytes, which: int = 1) -> dict[Quantity, float]:
    """Return the values of an answer that must be readable."""
    found = c.decode(Saying(Format.READ, which=which), payload)
    assert isinstance(found, Decoded), found
    return {v.quantity: v.value for v in found.values}


def test_record_is_as_written_down() -> None:
    """A record is the number of the characteristic, high byte first, the length, the value."""
    assert c.record(c.TEMPERATURE, b"\xc6\xf8") == bytes.fromhex("2a6e02c6f8")
    assert c.record(c.TEMPERATURE, bytes(400))[2] == 255


def test_records_of_one_answer() -> None:
    """Temperature, humidity, battery and voltage come out of one answer, with unknown records stepped over."""
    payload = (
        c.record(0x2A00, b"Porch")
        + c.record(c.TEMPERATURE, b"\xc6\xf8")
        + c.record(c.HUMIDITY, b"\x6c\x1a")
        + c.record(c.BATTERY_LEVEL, b"\x5a")
        + c.record(c.VOLTAGE, b"\xc0\x00")
        + c.record(c.INTERVAL, b"\x3c\x00")
    )

    assert values(payload) == {
        Quantity.TEMPERATURE: -18.5,
        Quantity.HUMIDITY: 67.64,
        Quantity.BATTERY: 90.0,
        Quantity.VOLTAGE: 3.0,  # 192 / 64 V
    }


def test_which_chooses_probe() -> None:
    """Of several temperatures the settings choose one; without such a one the answer says so."""
    payload = c.record(c.TEMPERATURE, b"\xc6\xf8") + c.record(c.TEMPERATURE_8, b"\xdc")

    assert values(payload, 2) == {Quantity.TEMPERATURE: -18.0}
    missing = c.decode(Saying(Format.READ, which=3), payload)
    assert isinstance(missing, Undecodable)
    assert "none with number 3" in missing.reason


def test_interval_is_read() -> None:
    """A minute between measurements is told in milliseconds, a wrong length as unknown (row "sig interval 60 s")."""
    assert c.interval(bytes.fromhex("3c00")) == 60_000
    assert c.interval(bytes.fromhex("0000")) == 0
    assert c.interval(b"\x3c") is None


@given(st.integers(-0x7FFFFD, 0x7FFFFD), st.integers(-128, 127), st.booleans())
def test_float_is_exact(top: int, exponent: int, fahrenheit: bool) -> None:
    """Every number that the format can write comes out as the float nearest to it, in °C."""
    value = bytes((fahrenheit,)) + top.to_bytes(3, "little", signed=True) + exponent.to_bytes(1, "little", signed=True)
    true = top * Fraction(10) ** exponent
    celsius = float((true - 32) * Fraction(5, 9) if fahrenheit else true)

    assert values(c.record(c.THERMOMETER, value)) == {Quantity.TEMPERATURE: celsius}


def test_special_codes_only_without_exponent() -> None:
    """The codes that are no numbers are such only with the exponent 0."""
    assert c.decode(READ, c.record(c.THERMOMETER, bytes.fromhex("00ffff7f00"))) == Undecodable(c.NO_NUMBER)
    assert values(c.record(c.THERMOMETER, bytes.fromhex("00ffff7ffb"))) == {Quantity.TEMPERATURE: 83.88607}


def test_stamp_and_type_are_stepped_over() -> None:
    """A time stamp and a type behind the number change nothing; a length that fits neither is refused."""
    body = bytes.fromhex("47ffffff")  # -18.5
    assert values(c.record(c.INTERMEDIATE, b"\x06" + body + bytes(8))) == {Quantity.TEMPERATURE: -18.5}
    assert c.decode(READ, c.record(c.THERMOMETER, b"\x02" + body)) == Undecodable(c.WRONG_LENGTH)


def test_bad_record_keeps_the_others() -> None:
    """A record that cannot be read, or is cut, is noted and the others are kept."""
    good = c.record(c.TEMPERATURE, b"\xc6\xf8")
    for bad, note in ((c.record(c.BATTERY_LEVEL, b""), c.WRONG_LENGTH), (b"\x2a\x19", c.CUT_SHORT)):
        found = c.decode(READ, good + bad)
        assert isinstance(found, Decoded)
        assert ([v.value for v in found.values], found.note) == ([-18.5], note)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", c.EMPTY),
        (b"\x2a\x6e\x02\xc6", Undecodable(c.CUT_SHORT)),
        (c.record(0x2A00, b"Porch"), c.NOTHING),
        (bytes(5000), c.TOO_LONG),
    ],
)
def test_answer_without_measurement(payload: bytes, reason: Undecodable) -> None:
    """An answer that holds no measurement says why."""
    assert c.decode(READ, payload) == reason


@given(
    st.lists(st.tuples(st.sampled_from([*c._READERS, 0x2A00]), st.binary(max_size=14)), max_size=6),
    st.binary(max_size=5),
)
def test_any_records_never_raise(records: list[tuple[int, bytes]], rest: bytes) -> None:
    """Any values in any records, and any bytes behind them, give values or a reason."""
    payload = b"".join(c.record(uuid, value) for uuid, value in records) + rest

    assert isinstance(c.decode(READ, payload), Decoded | Undecodable)
