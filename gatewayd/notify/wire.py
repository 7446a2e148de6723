"""Watch, inside the child, what the mail and web libraries put on the wire.

The messenger library says only "failed" and buries the reason in text. What decides whether a message may have
arrived is what was sent and how the exchange ended, and that can be seen where the library hands over: one call in
`smtplib`, one in `requests`. The child lives for one message, so replacing these two calls in it touches nobody else.
"""

import smtplib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from gatewayd.notify.letter import Outcome
from gatewayd.notify.words import SERVICE, trouble, web_status


@dataclass
class Wire:
    """Hold what was seen. `begun` is called once, just before the message may leave."""

    begun: Callable[[], None]
    left: bool = False  # the message itself may have left
    used: bool = False  # a library that is watched was used at all
    trouble: Outcome | None = None  # how the last exchange failed
    statuses: list[int] = field(default_factory=list)  # of each web request, 0 where no answer came

    def leaving(self) -> None:
        """Note that the message may leave now."""
        if not self.left:
            self.left = True
            self.begun()


def watch_mail(wire: Wire) -> None:
    """See when the text of a mail begins to leave: with the DATA command, not before."""
    original = smtplib.SMTP.data

    def data(self: smtplib.SMTP, msg: Any) -> tuple[int, bytes]:
        wire.used = True
        wire.leaving()
        return original(self, msg)

    smtplib.SMTP.data = data  # type: ignore[method-assign]


def watch_web(wire: Wire, *, chat: bool) -> None:
    """See how each web request ends. `chat` is for home servers of the open chat, which need two guards.

    Measured there: after a wrong password the library tries to register the account, and after "wait" (429) it sleeps
    inside the call for as long as the server likes. Both are ended here.
    """
    import requests  # noqa: PLC0415 - only where a route needs it: 60 ms and 10 MiB

    original = requests.sessions.Session.send
    refusal = requests.exceptions.RequestException

    def send(self: Any, request: Any, **kwargs: Any) -> Any:
        wire.used = True
        path = urlsplit(request.url).path
        if chat and path.endswith("/register"):
            raise refusal("no account is made by us")
        message = not chat or (request.method != "GET" and not path.endswith("/login") and "/join/" not in path)
        if message:
            wire.leaving()
        try:
            answer = original(self, request, **kwargs)
        except refusal as error:
            wire.statuses.append(0)
            wire.trouble = trouble(SERVICE, f"{type(error).__name__} {error}", left=message)
            raise
        wire.statuses.append(answer.status_code)
        wire.trouble = None
        if not 200 <= answer.status_code < 300:
            wire.trouble = web_status(answer.status_code, _asked_wait(answer))
        if answer.status_code == 429:
            raise refusal("the server asked to wait")
        return answer

    requests.sessions.Session.send = send  # type: ignore[method-assign]


def _asked_wait(answer: Any) -> int:
    """Read how many ms a server wants us to wait: seconds in a header (RFC 9110 10.2.3), or ms in a chat answer."""
    header = answer.headers.get("Retry-After", "")
    if header.isascii() and header.isdigit():
        return int(header[:6]) * 1000
    try:
        asked = answer.json().get("retry_after_ms")
    except (ValueError, AttributeError):
        return 0  # no JSON object: the server gave no time
    return min(int(asked), 86_400_000) if isinstance(asked, (int, float)) and asked > 0 else 0
