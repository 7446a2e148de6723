"""The signed word in a link."""

import base64
import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.token import EXPIRED, FORGED, GARBLED, LONGEST, MAC, Claim, Wrong, make, read
from gatewayd.model.moment import DAY

KEY = bytes(range(32))
NOW = 1_795_600_000_000
slugs = st.from_regex(r"[a-z0-9][a-z0-9-]{0,39}", fullmatch=True)
numbers = st.integers(0, (1 << 64) - 1)


@given(numbers, slugs, st.integers(1, (1 << 64) - 1))
def test_what_is_made_is_read(first: int, person: str, expires: int) -> None:
    """A token says exactly what it was made for until its last millisecond, and fits into a URL as it is."""
    token = make(KEY, first, person, expires)

    assert read(KEY, token, expires - 1) == Claim(first, person)
    assert read(KEY, token, expires) == EXPIRED
    assert len(token) <= LONGEST
    assert set(token) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")


def test_signed_by_the_standard() -> None:
    """The signature is the left half of HMAC-SHA256 (RFC 2104) over a purpose and what the token says."""
    raw = base64.urlsafe_b64decode(make(KEY, 17, "ann", NOW) + "==")
    body = b"\x01" + (17).to_bytes(8, "big") + NOW.to_bytes(8, "big") + b"ann"

    assert raw[:-MAC] == body
    assert raw[-MAC:] == hmac.digest(KEY, b"gatewayd seen link\0" + body, hashlib.sha256)[:16]


@given(st.integers(0, 10_000), st.integers(1, 255))
def test_no_bit_may_change(place: int, flip: int) -> None:
    """A token in which one byte is changed never counts."""
    raw = bytearray(base64.urlsafe_b64decode(make(KEY, 17, "ann", NOW + DAY) + "=="))
    raw[place % len(raw)] ^= flip
    changed = base64.urlsafe_b64encode(bytes(raw)).rstrip(b"=").decode()

    assert read(KEY, changed, NOW) in (FORGED, GARBLED)


@given(st.text(max_size=200) | st.text("ABCxyz019-_=", max_size=130) | st.binary().map(lambda b: b.decode("latin-1")))
def test_anything_may_come(text: str) -> None:
    """Whatever stands in a link is answered with a sentence and never with an exception."""
    found = read(KEY, text, NOW)

    assert isinstance(found, Wrong)
    assert not found.expired


@given(st.binary(min_size=0, max_size=80))
def test_signed_nonsense_of_another_purpose(body: bytes) -> None:
    """What the same key signed for something else does not count as a link."""
    mac = hmac.digest(KEY, body, hashlib.sha256)[:16]
    text = base64.urlsafe_b64encode(body + mac).rstrip(b"=").decode()

    assert isinstance(read(KEY, text, NOW), Wrong)


def test_one_way_to_write_it() -> None:
    """The same bytes written in another way (padding, spare bits, other letters) do not count."""
    token = make(KEY, 17, "anna", NOW + DAY)
    spare = len(token) % 4  # 2 or 3: the last letter has bits to spare
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    other = token[:-1] + letters[letters.index(token[-1]) ^ 1]

    assert spare in (2, 3)
    assert {read(KEY, text, NOW) for text in (token + "=" * (4 - spare), other, token + "\n", f" {token}")} == {GARBLED}


def test_another_key() -> None:
    """A token made with another key is refused, expired or not."""
    assert read(bytes(32), make(KEY, 17, "ann", NOW - 1), NOW) == FORGED


def test_older_form() -> None:
    """A token of another version is refused although its signature is right."""
    body = b"\x02" + bytes(16) + b"ann"
    mac = hmac.digest(KEY, b"gatewayd seen link\0" + body, hashlib.sha256)[:16]

    assert read(KEY, base64.urlsafe_b64encode(body + mac).rstrip(b"=").decode(), NOW) == FORGED


@pytest.mark.parametrize(
    ("key", "first", "person", "expires"),
    [
        (b"short", 1, "ann", NOW),
        (KEY, -1, "ann", NOW),
        (KEY, 1, "Ann B", NOW),
        (KEY, 1, "a" * 41, NOW),
        (KEY, 1, "", NOW),
        (KEY, 1, "ann", -1),
    ],
)
def test_what_no_token_can_hold(key: bytes, first: int, person: str, expires: int) -> None:
    """A weak key, a number or an id that does not fit is refused where the token is made."""
    with pytest.raises(ValueError, match=r"key|number|id"):
        make(key, first, person, expires)
