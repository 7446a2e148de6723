"""Openers: the published frame opens, and nothing else does."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.route import Secret
from gatewayd.sources.opener import make_opener

# BTHome v2, bthome.io/encryption (worked example)
KEY, ADDRESS = "231d39c1d7cc1ab1aee224cd096db932", "54:48:E6:8F:80:A5"
INFO, COUNTER, SEALED = b"\x41", bytes.fromhex("00112233"), bytes.fromhex("a47266c95f7378237214")
PLAIN = bytes.fromhex("02ca0903bf13")


@pytest.mark.parametrize("address", [ADDRESS, ADDRESS.lower(), ADDRESS.replace(":", ""), ADDRESS.replace(":", "-")])
def test_published_frame_opens(address: str) -> None:
    """The published example opens, however the address is written."""
    assert make_opener(Secret(KEY), address)(INFO, COUNTER, SEALED) == PLAIN


@pytest.mark.parametrize(
    ("key", "address", "info", "counter"),
    [
        (KEY[::-1], ADDRESS, INFO, COUNTER),
        (KEY, "54:48:E6:8F:80:A6", INFO, COUNTER),
        (KEY, ADDRESS, b"\x45", COUNTER),
        (KEY, ADDRESS, INFO, bytes.fromhex("00112234")),
    ],
)
def test_anything_else_stays_shut(key: str, address: str, info: bytes, counter: bytes) -> None:
    """Another key, address, information byte or counter does not open it."""
    assert make_opener(Secret(key), address)(info, counter, SEALED) is None


@given(st.binary(max_size=3), st.binary(max_size=6), st.binary(max_size=300))
def test_any_bytes_never_raise(info: bytes, counter: bytes, sealed: bytes) -> None:
    """Bytes of any length stay shut without raising."""
    assert make_opener(Secret(KEY), ADDRESS)(info, counter, sealed) is None


@pytest.mark.parametrize("key", ["", KEY[:-1], KEY + "0", "g" * 32, KEY + "\n"])
def test_wrong_key_is_refused(key: str) -> None:
    """A key that cannot be one is refused in words that do not repeat it."""
    with pytest.raises(ValueError, match="32 hexadecimal digits") as caught:
        make_opener(Secret(key), ADDRESS)
    assert KEY[:8] not in str(caught.value)


@pytest.mark.parametrize("address", ["", "54:48:E6:8F:80", "54:48-E6:8F:80:A5", "shed"])
def test_wrong_address_is_refused(address: str) -> None:
    """An address that cannot be one is refused, with an example."""
    with pytest.raises(ValueError, match="54:48:E6:8F:80:A5"):
        make_opener(Secret(KEY), address)


def test_cipher_is_loaded_only_for_a_key() -> None:
    """Importing the module does not load the cipher library."""
    code = "import sys, gatewayd.sources.opener; sys.exit('cryptography' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
