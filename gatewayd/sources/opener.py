"""Open the encrypted frames of one sensor. `cryptography` is loaded only when a sensor has a key."""

import re

from gatewayd.decode.bthome import CHECK, Opener
from gatewayd.model.route import Secret

_KEY = re.compile(r"[0-9a-fA-F]{32}")
_ADDRESS = re.compile(r"[0-9a-fA-F]{2}([:-]?)[0-9a-fA-F]{2}(?:\1[0-9a-fA-F]{2}){4}")
_UUID = bytes.fromhex("d2fc")  # 0xFCD2, low byte first
_LONGEST = 255  # bytes; an advertisement's element has no more, and AES-CCM raises on what is far longer


def make_opener(key: Secret, address: str) -> Opener:
    """Return what opens the frames that the device at `address` encrypts with `key` (32 hex digits).

    AES-128-CCM with a 4-byte check and no associated data; the nonce is the address in reading order, d2 fc, the
    device information byte and the counter as sent (BTHome v2, bthome.io/encryption). Raise ValueError for a key or
    an address that cannot be one; the message does not repeat the key.
    """
    if not _KEY.fullmatch(key.reveal()):
        raise ValueError("the key must be 32 hexadecimal digits (16 bytes), like the maker's app shows it")
    if not _ADDRESS.fullmatch(address):
        raise ValueError(f"{address!r} is no Bluetooth address; write it like 54:48:E6:8F:80:A5")
    from cryptography.exceptions import InvalidTag  # noqa: PLC0415  a house without keys never loads it
    from cryptography.hazmat.primitives.ciphers.aead import AESCCM  # noqa: PLC0415  see above

    cipher = AESCCM(bytes.fromhex(key.reveal()), tag_length=CHECK)
    head = bytes.fromhex(re.sub(r"[:-]", "", address)) + _UUID

    def open_(info: bytes, counter: bytes, sealed: bytes) -> bytes | None:
        nonce = head + info + counter
        if len(nonce) != 13 or not CHECK <= len(sealed) <= _LONGEST:
            return None
        try:
            return cipher.decrypt(nonce, sealed, None)
        except InvalidTag:
            return None

    return open_
