"""Send one mail with the standard library, inside the child."""

import contextlib
import smtplib
import ssl
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import Any

from gatewayd.notify.letter import Letter, Outcome, clean_body, clean_title
from gatewayd.notify.wire import Wire, watch_mail
from gatewayd.notify.words import mail_trouble


def write(way: dict[str, Any], letter: Letter) -> EmailMessage:
    """Write the mail: plain text in UTF-8, dated when the notice was made, with an id that stays over all tries."""
    name, sender = parseaddr(way["sender"])
    message = EmailMessage(policy=SMTP)
    message["From"] = Address(clean_title(name or way["site"]), addr_spec=sender)
    message["To"] = Address(clean_title(parseaddr(way["to"])[0]), addr_spec=parseaddr(way["to"])[1])
    message["Subject"] = clean_title(letter.title) or "A message from your freezers"
    message["Date"] = format_datetime(letter.made)
    message["Message-ID"] = f"<{_atom(letter.message_id)}@{sender.rpartition('@')[2]}>"
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday answers, please
    message.set_content(clean_body(letter.body), charset="utf-8")
    return message


def _atom(text: str) -> str:
    """Keep the characters that may stand in an id (RFC 5322 3.2.3)."""
    return "".join(char if char.isascii() and (char.isalnum() or char in "-_.") else "-" for char in text)


def send(way: dict[str, Any], letter: Letter, timeout: float, wire: Wire) -> Outcome:
    """Send by SMTP over verified TLS; `timeout` (s) holds for each step. The server's answer to the text decides."""
    watch_mail(wire)
    try:
        message = write(way, letter)
        server = _connect(way, timeout)
    except (OSError, smtplib.SMTPException, UnicodeError, ValueError) as error:
        return mail_trouble(error, left=False)
    try:
        if way["security"] == "starttls":
            server.starttls(context=_context(way))
        if way["user"]:
            server.login(way["user"], way["password"])
        server.send_message(message)
    except (OSError, smtplib.SMTPException, UnicodeError, ValueError) as error:
        server.close()  # no farewell: with a server that hangs it would take as long again
        return mail_trouble(error, left=wire.left)
    # The answer is in: whether the server parts politely changes nothing, and it gets little time for it.
    with contextlib.suppress(OSError, smtplib.SMTPException):
        if server.sock is not None:
            server.sock.settimeout(1.0)
        server.quit()
    return Outcome(ok=True)


def _connect(way: dict[str, Any], timeout: float) -> smtplib.SMTP:
    """Connect; we name ourselves by an address literal, for a look-up of our own name hangs when DNS is dead."""
    ourselves = "[127.0.0.1]"
    if way["security"] == "tls":
        return smtplib.SMTP_SSL(
            way["host"], way["port"], local_hostname=ourselves, timeout=timeout, context=_context(way)
        )
    return smtplib.SMTP(way["host"], way["port"], local_hostname=ourselves, timeout=timeout)


def _context(way: dict[str, Any]) -> ssl.SSLContext:
    """Verify certificate and name, against the given authority alone if there is one."""
    return ssl.create_default_context(cafile=way["ca"])
