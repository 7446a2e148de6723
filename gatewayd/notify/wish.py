"""Read a messenger address strictly, by the letter of its text, to compare with what the messenger makes of it."""

import re
from dataclasses import dataclass, field
from urllib.parse import unquote

from gatewayd.model.route import Secret

QUOTE_HINT = "Inside a password write @ as %40, # as %23, % as %25, / as %2F, ? as %3F and : as %3A."
_SCHEME = re.compile(r"^([A-Za-z][A-Za-z0-9+.-]*)://(.*)$", re.DOTALL)
_BAD_PERCENT = re.compile(r"%(?![0-9A-Fa-f]{2})")
_LOOPBACK = re.compile(r"^(localhost|127\.\d+\.\d+\.\d+|\[?::1\]?)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Wish:
    """Hold an address as its text has it. `path` are its parts, `query` its settings by lower-case name."""

    scheme: str
    user: str
    password: Secret
    host: str
    port: int | None
    path: tuple[str, ...]
    query: dict[str, str] = field(default_factory=dict, repr=False)  # may hold a key


def loopback(host: str) -> bool:
    """Say whether a host is this computer itself, where nothing travels."""
    return bool(_LOOPBACK.match(host))


def read(text: str) -> tuple[Wish | None, list[str]]:
    """Split an address; return it, or None, and what is wrong with its text. No sentence repeats a part of it."""
    found = _SCHEME.match(text.strip())
    if not found:
        return None, ["It is not an address: it must begin with a service and ://, as in mailtos:// or matrixs://."]
    scheme, rest = found[1].lower(), found[2]
    problems = []
    authority, slash, tail = _cut(rest)
    path, asked, query = tail.partition("?")
    if asked and not query:
        problems.append("It ends in a bare ?, which some services refuse; take the ? away.")
    if "#" in authority:
        problems.append(f"There is an unquoted # before the host. {QUOTE_HINT}")
    if authority.count("@") > 1:
        problems.append(f"There is more than one @ before the host. {QUOTE_HINT}")
    if _BAD_PERCENT.search(authority):
        problems.append(f"There is a % that quotes nothing before the host. {QUOTE_HINT}")
    login, _, place = authority.rpartition("@")
    user, colon, password = login.partition(":")
    if colon and ":" in password:
        problems.append(f"There is more than one : before the @. {QUOTE_HINT}")
    host, port, odd_port = _place(place)
    if odd_port:
        problems.append(
            f"The port is not a number from 1 to 65535, or a password holds an unquoted / or ?. {QUOTE_HINT}"
        )
    parts = tuple(unquote(part) for part in path.split("/") if part) if slash == "/" else ()
    wish = Wish(scheme, unquote(user), Secret(unquote(password)), unquote(host), port, parts, _settings(query))
    return wish, problems


def _cut(rest: str) -> tuple[str, str, str]:
    """Cut before the first / or ?: (what stands before the path, the cutting sign, the rest with its ?)."""
    ends = [at for at in (rest.find("/"), rest.find("?")) if at >= 0]
    if not ends:
        return rest, "", ""
    at = min(ends)
    return rest[:at], rest[at], rest[at + 1 :] if rest[at] == "/" else rest[at:]


def _place(place: str) -> tuple[str, int | None, bool]:
    """Split host and port; the last says that the port is none."""
    if place.startswith("["):
        host, _, port = place.partition("]")
        host, port = host + "]", port.removeprefix(":")
    else:
        host, _, port = place.partition(":")
    if not port:
        return host, None, False
    if not (port.isascii() and port.isdigit() and 0 < int(port[:6]) < 65536):
        return host, None, True
    return host, int(port), False


def _settings(query: str) -> dict[str, str]:
    """Read `name=value&…`; the last of two equal names stands, as the messenger has it."""
    settings = {}
    for part in query.split("&"):
        name, _, value = part.partition("=")
        if name:
            settings[unquote(name).lower()] = unquote(value)
    return settings
