"""Readers of what reaches out of the house and into it: the pages, signs of life, neighbours."""

import ipaddress
import re
from urllib.parse import urlsplit

from gatewayd.settings import readers
from gatewayd.settings.readers import Reader, choice, span, whole
from gatewayd.settings.secrets import NOWHERE
from gatewayd.settings.typed import Method

TOKEN_LEAST = 16  # characters; RFC 4086 section 8.2 asks for some 49 bits against guessing, 16 letters hold 75
_CODE = whole(200, 599)  # RFC 9110 section 15; below 200 no answer is final


def _listen(text: str) -> tuple[str, int]:
    """Return host and port; no host means all addresses of this computer."""
    found = re.fullmatch(r"(?:(\[[^\]]*\]|[^:]*):)?(\d{1,5})", text.strip(), re.ASCII)
    if not found or found[1] == "":
        raise ValueError("is neither host:port nor a port")
    return ("" if found[1] is None else readers.host.parse(found[1])), readers.port.parse(found[2])


def _split(text: str) -> str:
    """Return a http(s) URL unchanged, or raise ValueError."""
    parts = urlsplit(text)  # raises ValueError itself for a broken address in brackets
    if parts.scheme not in ("http", "https") or not parts.hostname or re.search(r"\s", text):
        raise ValueError("is not a URL that begins with http:// or https:// and a host")
    if parts.port == 0:  # a port that is no number or above 65535 raises ValueError here
        raise ValueError("has no port that can be reached")
    return text


def _address(text: str) -> str:
    parts = urlsplit(_split(text))
    # urlsplit tells nothing of a ? or # with nothing behind it, and a link added to it would lead nowhere
    if "?" in text or "#" in text or "@" in parts.netloc:
        raise ValueError("holds more than where the pages are")
    return text.rstrip("/")  # links are made by adding /…


def _proxy(text: str) -> str:
    try:
        return str(ipaddress.ip_address(text.strip()))
    except ValueError:
        raise ValueError("is not the number of an address") from None


def _sign_url(text: str) -> str:
    return text if text == NOWHERE else _split(text)


def _code(text: str) -> str:
    return str(_CODE.parse(text))


def _token(text: str) -> str:
    if not re.fullmatch(r"[!-~]+", text) or len(text) < TOKEN_LEAST:
        raise ValueError("is too short to be hard to guess, or holds spaces or letters that are not plain")
    return text


_METHODS: dict[str, Method] = {"get": "GET", "post": "POST"}

listen: Reader[tuple[str, int]] = Reader(
    _listen, "a host and a port, like 127.0.0.1:8470, or a port alone for all addresses of this computer", 300
)
proxy: Reader[str] = Reader(_proxy, "an IP address like 127.0.0.1", 60)
address: Reader[str] = Reader(_address, "a URL like http://garage.vpn.example:8470, without ? and #", 1000)
sign_url: Reader[str] = Reader(_sign_url, "a URL like https://life.example.org/${NAME}", 4000)
method: Reader[Method] = Reader(choice(_METHODS), "GET or POST")
sign_every: Reader[int] = span(
    "1 min", "1 h", like="5 min"
)  # faster is a burden to who listens, slower no sign of life
code: Reader[str] = Reader(_code, _CODE.allowed)
token: Reader[str] = Reader(_token, f"{TOKEN_LEAST} characters at least, best as ${{NAME}}", 200)
silent_after: Reader[int] = span("10 min", "7 days")
