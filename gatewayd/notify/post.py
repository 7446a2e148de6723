"""Send one letter to one messenger address with apprise, inside the child; or tell how apprise reads an address."""

import hashlib
import logging
import os
import shutil
from pathlib import Path
from typing import Any

from gatewayd.notify.letter import Letter, Outcome, clean_body, clean_title
from gatewayd.notify.wire import Wire, watch_mail, watch_web
from gatewayd.notify.words import MAIL, SERVICE, trouble

CHAT = ("matrix", "matrixs")
MAILS = ("mailto", "mailtos")
_REASON = ("Socket Exception:", "I/O Exception:", "SMTP recipient")  # apprise's lines that hold the reason, no body


def send(way: dict[str, Any], letter: Letter, timeout: float, wire: Wire) -> Outcome:
    """Send with a fresh object of one service, to the one recipient of `way["url"]`; `timeout` (s) ends the call."""
    scheme = way["url"].partition(":")[0].lower()
    if way["ca"]:
        # mail reads the first, everything that goes through `requests` the second (measured)
        os.environ["SSL_CERT_FILE"] = os.environ["REQUESTS_CA_BUNDLE"] = way["ca"]
    chat = scheme in CHAT
    watch_mail(wire)
    watch_web(wire, chat=chat)
    store = Path(way["store"]) if chat and _has_password(way["url"]) else None
    messenger = _messenger(timeout, store)
    if not messenger.add(way["url"]) or len(messenger.services) != 1:
        return Outcome(
            ok=False, error="The address of this route is not understood; run `gatewayd check`.", hopeless=True
        )
    service = messenger.services[0]
    # always both limits: without them a silent server holds a thread for ever
    service.socket_connect_timeout = min(float(service.socket_connect_timeout), timeout / 2)
    service.socket_read_timeout = min(float(service.socket_read_timeout), timeout / 2)
    if chat:
        _number(service, letter)
    if scheme not in CHAT and scheme not in MAILS:
        wire.begun()  # other services may use libraries that are not watched: from here on it may have left
    result = messenger.notify(
        body=clean_body(letter.body), title=clean_title(letter.title), body_format="text", timeout=timeout, log_level=10
    )
    results = list(result.results)
    if len(results) == 1 and results[0].status.name == "SUCCESS" and not results[0].optional:
        return Outcome(ok=True)
    status = results[0].status.name if results else "NOMATCH"
    lines = [entry.message for entry in results[0].logs()] if results else []
    watched = wire.used or chat or scheme in MAILS
    outcome = _judge(MAIL if scheme in MAILS else SERVICE, status, lines, wire, left=wire.left or not watched)
    if store and wire.statuses and 400 <= wire.statuses[-1] < 500 and wire.statuses[-1] != 429:
        # a revoked key lives on in the store for 20 days; the next try logs in anew. A dead line leaves it alone:
        # five logins within minutes would lock the account out.
        shutil.rmtree(store, ignore_errors=True)
    return outcome


def _number(service: Any, letter: Letter) -> None:
    """Give a post to the open chat the same transaction number at every try of the same letter, and no other.

    The home server drops a number it has seen from this login, and answers as if it had posted. The library counts
    from a stored number that it writes only after the answer: a child killed in between would make the *next* letter
    vanish. With a number of the letter's own the server drops only what it has already posted.
    """
    name = f"{letter.message_id} {letter.made.isoformat()}"
    service.transaction_id = int(hashlib.sha256(name.encode()).hexdigest()[:12], 16)
    if service.password and not service.user:
        service.access_token = service.password  # a login by key: what the library does itself, with a random number


def _judge(who: str, status: str, lines: list[str], wire: Wire, *, left: bool) -> Outcome:
    """Say why it failed: by what was seen on the wire, else by the exception line of the log, else only that."""
    if status == "TIMEOUT":
        return Outcome(ok=False, maybe_arrived=left, error=f"{who} did not answer in time.")
    if wire.trouble is not None:
        return wire.trouble
    reasons = [line for line in lines if line.startswith(_REASON)]
    return trouble(who, reasons[-1].partition(":")[2] if reasons else "", left=left)


def _messenger(timeout: float, store: Path | None) -> Any:
    """Make the messenger: no redirects (a POST becomes a GET), no emoji, no escapes, reasons kept, nothing printed."""
    import apprise  # noqa: PLC0415 - 20 MiB, and 25 more at the first address: only here, only in the child

    log = logging.getLogger("apprise")
    log.setLevel(logging.DEBUG)
    log.addHandler(logging.NullHandler())
    log.propagate = False
    kept: dict[str, Any] = {"storage_mode": "memory"}
    if store is not None:
        store.mkdir(mode=0o700, parents=True, exist_ok=True)
        store.chmod(0o700)
        # "flush": the child ends without a farewell, so a key must be on the disk when it is got
        kept = {"storage_mode": "flush", "storage_path": str(store)}
    asset = apprise.AppriseAsset(
        app_id="gatewayd",
        app_desc="freezer watch",
        app_url="",
        interpret_emojis=False,
        interpret_escapes=False,
        http_redirects=False,
        service_timeout=timeout,
        async_mode=True,
        **kept,
    )
    return apprise.Apprise(asset=asset)


def _has_password(url: str) -> bool:
    """Tell a login by user and password from one by key: `user:password@` before the path."""
    return ":" in url.partition("://")[2].partition("/")[0].rpartition("@")[0]


class _Ear(logging.Handler):
    """Collect what is complained of while an address is read."""

    def __init__(self, complaints: list[str]) -> None:
        """Take the list to fill."""
        super().__init__(level=logging.WARNING)
        self._complaints = complaints

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the text of one complaint."""
        self._complaints.append(record.getMessage())


def look(urls: list[dict[str, str]]) -> list[dict[str, Any]]:
    """Tell how apprise reads each address, without sending: what it made of it and what it complained of."""
    complaints: list[str] = []
    seen = []
    messenger = _messenger(10.0, None)
    logging.getLogger("apprise").addHandler(_Ear(complaints))
    for entry in urls:
        complaints.clear()
        messenger.clear()
        added = bool(messenger.add(entry["url"]))
        found = list(messenger.services)
        view = _view(found[0]) if len(found) == 1 else {}
        seen.append(
            {
                "id": entry["id"],
                "added": added,
                "services": len(found),
                "warned": sorted(map(_kind, complaints)),
                **view,
            }
        )
    return seen


def _view(service: Any) -> dict[str, Any]:
    """Read what decides where and how a service sends. Attribute names as of apprise 2.3."""
    schemes = service.secure_protocol or ()
    secure = service.schema in ((schemes,) if isinstance(schemes, str) else tuple(schemes))
    targets = getattr(service, "targets", None)
    if service.schema in CHAT:
        targets = [*service.rooms, *service.users]
    return {
        "host": str(service.host or ""),
        "port": service.port,
        "user": str(service.user or ""),
        "password": str(service.password or ""),
        "secure": secure,
        "secret": service.url(privacy=True) != service.url(privacy=False),
        "verify": bool(service.verify_certificate),
        "optional": bool(service.optional),
        "retry": int(service.retry),
        "redirects": bool(service.redirects),
        "cto": float(service.socket_connect_timeout),
        "rto": float(service.socket_read_timeout),
        "size": len(service),
        "targets": [str(target[-1] if isinstance(target, (tuple, list)) else target) for target in targets]
        if isinstance(targets, (list, tuple, set))
        else None,
        "copies": len(getattr(service, "cc", ())) + len(getattr(service, "bcc", ())) if service.schema in MAILS else 0,
        "smtp_host": str(getattr(service, "smtp_host", "") or ""),
        "mode": str(getattr(service, "secure_mode", "") or ""),
    }


def _kind(message: str) -> str:
    """Name a complaint without repeating it: it may hold a part of a password."""
    if message.startswith("Dropped invalid"):
        return "recipient"
    if "timeout (rto)" in message or "timeout (cto)" in message:
        return "timeout"
    return "other"
