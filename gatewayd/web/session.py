"""Write and read the cookie of a sign-in: who it is, since when, signed with the key of the lock."""

import base64
import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass

from gatewayd.model.moment import DAY

COOKIE = "gatewayd"
LASTS = 90 * DAY  # our choice: a phone that was not there for a season signs in anew
FRESH = DAY  # a cookie older than this is written anew, so that who comes daily is never asked again
LONGEST = 1024  # characters of a cookie that is looked at; ours have some 200


@dataclass(frozen=True, slots=True)
class Session:
    """Hold one sign-in: `who` a person's id, since when (wall ms), a name of its own, and the link it came by."""

    who: str
    since: int
    id: str
    link: str = ""


def begin(who: str, now: int, link: str = "") -> Session:
    """Return a new sign-in."""
    return Session(who, now, secrets.token_hex(12), link)


def write(session: Session, key: bytes) -> str:
    """Return the cookie of a sign-in."""
    plain = json.dumps([session.who, session.since, session.id, session.link]).encode()
    body = base64.urlsafe_b64encode(plain).decode().rstrip("=")
    return f"{body}.{_sign(key, 'session', body)}"


def read(cookie: str, key: bytes, now: int) -> Session | None:
    """Return the sign-in of a cookie, None for one that is forged, broken or too old."""
    body, _, sign = cookie.partition(".")
    if len(cookie) > LONGEST or not hmac.compare_digest(
        sign.encode("utf-8", "replace"), _sign(key, "session", body).encode()
    ):
        return None
    who, since, id_, link = json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)))
    session = Session(who, since, id_, link)
    return session if now - since < LASTS else None  # a clock that was set back ends no sign-in


def form_word(session: Session, key: bytes) -> str:
    """Return the word that every form of this sign-in must carry."""
    return _sign(key, "form", session.id)


def _sign(key: bytes, what: str, text: str) -> str:
    return hmac.new(key, f"{what}:{text}".encode("utf-8", "replace"), hashlib.sha256).hexdigest()
