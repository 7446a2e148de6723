"""Make and read the word in a link by which a person says "I have seen it" from a message.

A token says which alarm, which person and until when, and is signed with a key that never leaves this computer
(HMAC-SHA256, RFC 2104). Who holds the link may acknowledge that one alarm in that person's name, and nothing else.
"""

import base64
import hashlib
import hmac
import re
import struct
from dataclasses import dataclass

from gatewayd.model.house import SLUG
from gatewayd.model.moment import DAY

KEY = 32  # bytes: as many as the hash gives (RFC 2104, section 3: shorter ones weaken it, longer ones add nothing)
LASTS = 7 * DAY  # our choice: a week away with no look at the mail; an alarm that old is told of again anyway
MAC = 16  # bytes; RFC 2104, section 5: not less than half of the hash, and 128 bit cannot be tried out
VERSION = 1  # of the form below; another form gets another number, so that old links are told from forged ones
_HEAD = struct.Struct(">BQQ")  # version, number of the alarm, wall ms at which it ends
_PURPOSE = b"gatewayd seen link\0"  # so that the key may serve for other things without one passing for another
_LETTERS = re.compile(r"[A-Za-z0-9_-]+")  # RFC 4648, section 5: the letters that a URL carries unchanged
LONGEST = 4 * -(-(_HEAD.size + 40 + MAC) // 3)  # letters, of a token with the longest id


@dataclass(frozen=True, slots=True)
class Claim:
    """Say who has seen which alarm."""

    first: int
    person: str


@dataclass(frozen=True, slots=True)
class Wrong:
    """Say why a token does not count; `expired` is one that once did."""

    reason: str
    expired: bool = False


GARBLED = Wrong("The link is not whole. Perhaps it was cut in two; copy all of it from the message.")
FORGED = Wrong("The link was not made by this gateway, or before it was set up anew.")
EXPIRED = Wrong("The link is more than a week old.", expired=True)


def make(key: bytes, first: int, person: str, expires: int) -> str:
    """Return the token for alarm `first` and `person` (an id) that ends at `expires` (wall ms).

    Raise ValueError for a key, a number or an id that no token can hold.
    """
    if len(key) != KEY:
        raise ValueError(f"the key of the links has {len(key)} bytes; it must have {KEY}")
    if not SLUG.fullmatch(person):
        raise ValueError(f"{person!r} is not the id of a person")
    if not (0 <= first < 1 << 64 and 0 <= expires < 1 << 64):
        raise ValueError(f"alarm {first} and end {expires} must be whole numbers from 0 on, below 2 to the power of 64")
    body = _HEAD.pack(VERSION, first, expires) + person.encode()
    return base64.urlsafe_b64encode(body + _sign(key, body)).rstrip(b"=").decode()


def read(key: bytes, token: str, now_wall: int) -> Claim | Wrong:
    """Return what a token says, or why it does not count. Any text may come in; nothing is raised for it."""
    if len(token) > LONGEST or not _LETTERS.fullmatch(token):
        return GARBLED
    try:
        raw = base64.urlsafe_b64decode(token + "=" * (-len(token) % 4))
    except ValueError:
        return GARBLED
    if len(raw) <= _HEAD.size + MAC or base64.urlsafe_b64encode(raw).rstrip(b"=") != token.encode():
        return GARBLED  # too short, or a second way to write the same bytes
    body, mac = raw[:-MAC], raw[-MAC:]
    if not hmac.compare_digest(_sign(key, body), mac):
        return FORGED
    version, first, expires = _HEAD.unpack(body[: _HEAD.size])
    if version != VERSION:
        return FORGED
    if now_wall >= expires:
        return EXPIRED
    return Claim(first, body[_HEAD.size :].decode("ascii"))


def _sign(key: bytes, body: bytes) -> bytes:
    return hmac.new(key, _PURPOSE + body, hashlib.sha256).digest()[:MAC]
