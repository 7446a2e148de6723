"""Eddystone-TLM: what is read, what is only recognised."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode import tlm
from gatewayd.decode.tlm import Telemetry, decode, read
from gatewayd.model.reading import Decoded, Undecodable

GOOD = bytes.fromhex("20000ba9ed8000001234000d2f00")


def test_all_numbers_are_read() -> None:
    """Battery, temperature, frames and running time come out as sent."""
    assert read(GOOD) == Telemetry(2985, -18.5, 4660, 864_000)


@pytest.mark.parametrize(("last", "rebooted"), [(None, False), (4659, False), (4660, False), (4661, True)])
def test_fall_of_frames_is_restart(last: int | None, rebooted: bool) -> None:
    """Fewer frames than before mean that the beacon began anew, as after a change of battery."""
    found = decode(GOOD, last)

    assert isinstance(found, Decoded)
    assert (found.counter, found.rebooted, found.secured, found.note) == (4660, rebooted, False, "")


@pytest.mark.parametrize(
    ("frame", "reason"),
    [
        ("", tlm.EMPTY),
        ("2001" + "00" * 16, tlm.SEALED),
        ("2001" + "00" * 12, tlm.MALFORMED),
        ("20", tlm.MALFORMED),
        (GOOD.hex() + "00", tlm.MALFORMED),
        ("00" + "11" * 17, tlm.IDENTITY),
        ("10ee0367", tlm.ADDRESS),
        ("30ee" + "11" * 8, tlm.CHANGING),
        ("21" + GOOD.hex()[2:], tlm.UNKNOWN),
        ("40", tlm.UNKNOWN),
    ],
)
def test_other_frames_are_said(frame: str, reason: Undecodable) -> None:
    """Each frame that holds no readable measurement says what it is."""
    assert decode(bytes.fromhex(frame)) == reason


@given(st.binary(max_size=40), st.none() | st.integers(0, 0xFFFFFFFF))
def test_any_bytes_never_raise(data: bytes, last: int | None) -> None:
    """Any bytes, with or without a true beginning, give values or a reason."""
    assert isinstance(decode(data, last), Decoded | Undecodable)
    assert isinstance(decode(b"\x20\x00" + data, last), Decoded | Undecodable)
