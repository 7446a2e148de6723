"""Byte rules: every field of a rule does what it says."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode import bytesrule
from gatewayd.decode.bytesrule import decode
from gatewayd.model.format import ByteRule
from gatewayd.model.reading import Decoded, Quantity, Undecodable


def value(rule: ByteRule, payload: str) -> float:
    """Return the value of an element that must be readable."""
    found = decode(rule, bytes.fromhex(payload))
    assert isinstance(found, Decoded), found
    return found.values[0].value


@pytest.mark.parametrize(
    ("rule", "payload", "expected"),
    [
        (ByteRule(maker=1, least=2, factor=0.01), "c6f8", -18.5),
        (ByteRule(maker=1, least=2, factor=0.01, order="big"), "f8c6", -18.5),
        (ByteRule(maker=1, least=2, factor=0.01), "ca09", 25.06),  # 25.060000000000002 without rounding
        (ByteRule(maker=1, least=2, factor=1 / 256, order="big"), "ffff", -0.00390625),
        (ByteRule(maker=1, least=6, offset=4, factor=0.1), "0000000047ff", -18.5),
        (ByteRule(maker=1, width=1, signed=False, addend=-40.0), "16", -18.0),
        (ByteRule(maker=1, least=4, width=4, factor=0.001), "bcb7ffff", -18.5),
        (ByteRule(maker=1, width=1, signed=False, quantity=Quantity.BATTERY, highest=100.0), "5a", 90.0),
    ],
)
def test_rule_is_followed(rule: ByteRule, payload: str, expected: float) -> None:
    """Offset, width, sign, order, factor and addend lead to the value."""
    assert value(rule, payload) == expected


def test_value_has_the_quantity_of_its_rule() -> None:
    """A rule for a battery gives a battery."""
    found = decode(ByteRule(service="180f", width=1, signed=False, quantity=Quantity.BATTERY, highest=100.0), b"\x5a")

    assert isinstance(found, Decoded)
    assert found.values[0].quantity is Quantity.BATTERY


@pytest.mark.parametrize(
    ("rule", "payload", "reason"),
    [
        (ByteRule(maker=1, least=3), "c6f8", bytesrule.TOO_SHORT),
        (ByteRule(maker=1, least=2, unknown=(-32768,)), "0080", bytesrule.NOT_KNOWN),
        (ByteRule(maker=1, least=2, factor=0.01, highest=10.0), "ca09", bytesrule.OUTSIDE),
        (ByteRule(maker=1, least=2, factor=0.01, lowest=-10.0), "c6f8", bytesrule.OUTSIDE),
        (ByteRule(maker=1, least=2, factor=math.inf, highest=math.inf), "0100", bytesrule.OUTSIDE),
        (ByteRule(maker=1, least=2, factor=math.inf, highest=math.inf), "0000", bytesrule.OUTSIDE),
    ],
)
def test_no_value_has_its_reason(rule: ByteRule, payload: str, reason: Undecodable) -> None:
    """Too short, not known and out of range are told apart; a value without end is out of range."""
    assert decode(rule, bytes.fromhex(payload)) == reason


@st.composite
def rules(draw: st.DrawFn) -> ByteRule:
    """Draw any rule that can be built."""
    offset, width = draw(st.integers(0, 30)), draw(st.integers(1, 4))
    return ByteRule(
        maker=1,
        least=offset + width + draw(st.integers(0, 3)),
        offset=offset,
        width=width,
        signed=draw(st.booleans()),
        order=draw(st.sampled_from(["little", "big"])),
        factor=draw(st.floats()),
        addend=draw(st.floats()),
        highest=math.inf,
    )


@given(rules(), st.binary(max_size=40))
def test_any_rule_and_bytes_never_raise(rule: ByteRule, data: bytes) -> None:
    """Any rule on any bytes gives a finite value or a reason."""
    found = decode(rule, data)

    assert isinstance(found, Undecodable) or math.isfinite(found.values[0].value)
