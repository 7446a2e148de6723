"""Find the routes that would not do what their text says, before the first message depends on them."""

import hashlib
import importlib.metadata
from collections.abc import Mapping, Sequence
from email.utils import parseaddr
from pathlib import Path
from typing import Any

from gatewayd.clock import Clock, SystemClock
from gatewayd.model.route import MailRoute, Route, UrlRoute
from gatewayd.notify.sender import ask_child
from gatewayd.notify.wish import QUOTE_HINT, Wish, loopback, read

DEADLINE = 60_000  # ms: one child reads all addresses; on a small board it needs some seconds to start
NO = ("no", "false", "0", "off", "n", "never", "disable", "disabled")
MAILS = ("mailto", "mailtos")
CHAT = ("matrix", "matrixs")
TELLING = ("authorization", "token", "key", "secret", "password", "pass", "auth", "cookie")
ROUNDS = 50_000  # of PBKDF2: a stored fingerprint must not let a weak password be guessed quickly; 30 ms on a PC


async def inspect_routes(routes: Sequence[Route], clock: Clock | None = None) -> list[tuple[str, str]]:
    """Return (route id, problem) for each thing that is wrong; a problem says what to do and repeats no secret.

    Starts one child for all addresses of messengers, none when there are only mail routes.
    """
    problems: list[tuple[str, str]] = []
    wishes: dict[str, Wish] = {}
    for route in routes:
        problems += [(route.id, text) for text in _authority_problems(route.way.ca)]
        if isinstance(route.way, MailRoute):
            problems += [(route.id, text) for text in _mail_problems(route.way)]
            continue
        wish, texts = read(route.way.url.reveal())
        problems += [(route.id, text) for text in texts]
        if wish is not None:
            wishes[route.id] = wish
    seen = await _look([route for route in routes if route.id in wishes], clock or SystemClock())
    if isinstance(seen, str):
        return problems + [(name, seen) for name in wishes]
    told = {name for name, _ in problems}
    for view in seen:
        name = view["id"]
        # once its text is known to be wrong, what the messenger makes of it only repeats that
        if name not in told:
            problems += [(name, text) for text in compare(wishes[name], view)]
    return problems


async def _look(routes: Sequence[Route], clock: Clock) -> list[dict[str, Any]] | str:
    """Ask one child how the messenger reads the addresses; a text says why it could not be asked."""
    urls = [{"id": route.id, "url": route.way.url.reveal()} for route in routes if isinstance(route.way, UrlRoute)]
    if not urls:
        return []
    request = {"mode": "inspect", "urls": urls, "deadline": DEADLINE / 1000}
    try:
        lines, _ = await ask_child(request, DEADLINE, clock)
    except OSError as error:
        return (
            f"It could not be checked, for no process could be started ({error.strerror}); free memory and try again."
        )
    for line in lines:
        if "seen" in line:
            seen: list[dict[str, Any]] = line["seen"]
            return seen
    broken = [line["broken"] for line in lines if "broken" in line]
    return f"It could not be checked ({broken[0] if broken else 'no answer in a minute'}); install gatewayd anew."


def compare(wish: Wish, seen: Mapping[str, Any]) -> list[str]:
    """Return what the messenger would do other than the text asks, or should not be asked."""
    if not seen["added"] or seen["services"] != 1:
        return [f"The messenger does not understand it; look at the name of the service and the path. {QUOTE_HINT}"]
    problems = [*_place_problems(wish, seen), *_recipient_problems(wish, seen), *_setting_problems(wish, seen)]
    if not _private(wish, seen):
        problems.append(
            "A password or key would travel unencrypted; "
            + ("use mailtos:// without mode=insecure." if wish.scheme in MAILS else f"use {wish.scheme}s://.")
        )
    if "other" in seen["warned"] and not problems:
        problems.append("The messenger leaves a part of it out; look at each setting after the ?.")
    return problems


def _place_problems(wish: Wish, seen: Mapping[str, Any]) -> list[str]:
    """Find a host, port or login that is not the one written."""
    problems = []
    if seen["host"] and wish.host and seen["host"].strip("[]").lower() != wish.host.strip("[]").lower():
        problems.append(f"It would be sent to another host than the one written. {QUOTE_HINT}")
    if wish.port is not None and seen["port"] not in {None, wish.port}:
        problems.append(f"It would be sent to port {seen['port']} instead of {wish.port}; take port= away.")
    if wish.scheme in MAILS:
        asked = wish.query.get("smtp", "")
        if asked and seen["smtp_host"].lower() != asked.lower():
            problems.append("The mail server after smtp= is not understood; write a plain host name.")
        if not seen["password"].isascii():
            problems.append(
                "The password has letters beyond ASCII, which mail servers cannot be given; choose another."
            )
    written = {wish.user, wish.password.reveal(), *wish.query.values()}
    if wish.host == seen["host"] and not {seen["user"], seen["password"]} <= written | {""}:
        problems.append(f"The user or password would not be the one written. {QUOTE_HINT}")
    return problems


def _recipient_problems(wish: Wish, seen: Mapping[str, Any]) -> list[str]:
    """Hold that a route has one recipient: of several, a repeat would reach all again."""
    problems = []
    targets = seen["targets"]
    if "recipient" in seen["warned"] or not _as_written(wish, targets):
        problems.append("A recipient is not a valid address and would be left out; mend it.")
    elif wish.scheme in (*MAILS, *CHAT) and not targets:
        problems.append("It names no recipient; add one (mail: to=…, chat: the room after the host).")
    if (targets and len(targets) > 1) or seen["size"] > seen["retry"] + 1 or seen["copies"]:
        problems.append("It names more than one recipient; one route, one recipient: make a route for each.")
    if wish.scheme in CHAT and targets:
        room = targets[0]
        if room.startswith("!") and ":" not in room and wish.query.get("hsreq", "yes").lower() not in NO:
            problems.append("The id of the room has no server part and would get a wrong one; add hsreq=no.")
    return problems


def _as_written(wish: Wish, targets: Sequence[str] | None) -> bool:
    """Say whether the one mail recipient is the one written: a part of a list may be left out without a word."""
    written = [*wish.path, *([wish.query["to"]] if wish.query.get("to") else [])]
    if wish.scheme not in MAILS or not written or not targets or len(targets) > 1:
        return True
    return len(written) == 1 and parseaddr(written[0])[1].lower() == targets[0].lower()


def _setting_problems(wish: Wish, seen: Mapping[str, Any]) -> list[str]:
    """Find settings that weaken the delivery, and those that would be ignored."""
    problems = []
    if not seen["verify"]:
        problems.append("verify=no trusts any server; take it away, and name your own authority with ca.")
    if seen["optional"] or "optional" in wish.query:
        problems.append("optional=yes calls a failed message sent; take it away.")
    if seen["retry"] or "retry" in wish.query:
        problems.append("retry= sends again behind our back, marked as new; take it away, we try again ourselves.")
    if seen["redirects"]:
        problems.append(
            "redirect=yes turns a message into a question on the way; take it away and give the last address."
        )
    ignored = [n for n in ("cto", "rto") if n in wish.query and not _same_number(wish.query[n], seen[n])]
    problems += [
        f"{n}= is no number of seconds above 0 and would be ignored; mend it or take it away." for n in ignored
    ]
    if wish.query.get("format", "text").lower() != "text":
        problems.append("format= is other than text, which breaks lines and signs; write format=text or take it away.")
    if wish.scheme in MAILS and any(name.lower().lstrip("+") == "message-id" for name in wish.query):
        problems.append("A Message-ID of your own makes two of them; take it away.")
    return problems


def _same_number(text: str, number: float) -> bool:
    try:
        return float(text) == number
    except ValueError:
        return False


def _private(wish: Wish, seen: Mapping[str, Any]) -> bool:
    """Say whether nothing secret travels in the clear; this computer itself counts as private."""
    if wish.scheme in MAILS:
        insecure = seen["mode"] == "insecure"
        asked = wish.query.get("mode", "").lower() == "insecure"
        return not (insecure and (seen["password"] or asked)) or loopback(seen["smtp_host"])
    if seen["secure"] or loopback(seen["host"]):
        return True
    named = any(word in name.lower() for name in wish.query for word in TELLING)
    return not (seen["secret"] or seen["password"] or named)


def _authority_problems(ca: str | None) -> list[str]:
    """Find an authority that is not there."""
    if ca and not Path(ca).is_file():
        return [f"The file {ca} is missing; `ca` names the authority to trust."]
    return []


def _mail_problems(way: MailRoute) -> list[str]:
    """Find what the mail protocol cannot carry."""
    problems = []
    if not way.password.reveal().isascii() or not way.user.isascii():
        problems.append(
            "The user or password has letters beyond ASCII, which mail servers cannot be given; choose another."
        )
    if bool(way.user) != bool(way.password.reveal()):
        problems.append("A user and a password belong together; give both or neither.")
    return problems


def fingerprint(routes: Sequence[Route], salt: bytes = b"gatewayd routes") -> str:
    """Return a text that changes with any route, its order aside, and with the messenger's version.

    Safe to store: it is a slow, salted hash, so a password cannot be read from it, and only slowly guessed. Hand in a
    random `salt` of this house and keep it beside the fingerprint.
    """
    try:
        version = importlib.metadata.version("apprise")
    except importlib.metadata.PackageNotFoundError:
        version = "none"
    text = "\n".join(sorted(f"{route.id} {_all_of(route)}" for route in routes))
    return hashlib.pbkdf2_hmac("sha256", f"{version}\n{text}".encode(), salt, ROUNDS).hex()


def _all_of(route: Route) -> str:
    way = route.way
    if isinstance(way, UrlRoute):
        return repr((way.url.reveal(), way.ca))
    return repr((way.host, way.port, way.security, way.sender, way.to, way.user, way.password.reveal(), way.ca))
