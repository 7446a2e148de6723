"""A real mail server over TLS on loopback, that can refuse, hang, and lose its answer."""

import asyncio
import email
import email.policy
import ssl
import warnings
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

USER, PASSWORD = "keeper", "p@ss #1%"  # signs that an address must quote


class MailServer:
    """Keep what arrived and what to do next. `port` is where it listens.

    `behave` is one of: take, lose (store, then cut the line), hang (store nothing, never answer the text), slow (answer
    after `delay` s), rcpt:CODE, data:CODE, drip (answers the text
    without end), silent (accepts the connection and says nothing).
    """

    def __init__(self) -> None:
        """Begin by taking everything."""
        self.behave = "take"
        self.delay = 0.0
        self.port = 0
        self.logins = 0
        self.raw: list[bytes] = []
        self.envelopes: list[tuple[str | None, list[str]]] = []
        self.seen = asyncio.Event()  # a client has come so far that the behaviour shows

    @property
    def mails(self) -> list[EmailMessage]:
        """Return what arrived, read back."""
        return [email.message_from_bytes(raw, policy=email.policy.default) for raw in self.raw]  # type: ignore[misc]

    def authenticate(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        """Let only the keeper in."""
        self.logins += 1
        good = isinstance(data, LoginPassword) and data == LoginPassword(USER.encode(), PASSWORD.encode())
        return AuthResult(success=good, handled=False)

    async def handle_RCPT(  # noqa: N802 - aiosmtpd's name
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Take or refuse a recipient."""
        if self.behave.startswith("rcpt:"):
            return f"{self.behave[5:]} not this one"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """Take, refuse or mistreat a message."""
        if self.behave.startswith("data:"):
            return f"{self.behave[5:]} not now"
        if self.behave == "hang":
            self.seen.set()
            await asyncio.sleep(3600)
        if self.behave == "drip":
            self.seen.set()
            assert server.transport is not None
            while True:  # an answer without end: no read of it ever times out
                server.transport.write(b"250-one moment\r\n")
                await asyncio.sleep(0.1)
        if self.behave == "slow":
            await asyncio.sleep(self.delay)
        assert isinstance(envelope.content, bytes)
        self.raw.append(envelope.content)
        self.envelopes.append((envelope.mail_from, list(envelope.rcpt_tos)))
        self.seen.set()
        if self.behave == "lose":
            assert server.transport is not None
            server.transport.abort()
        return "250 OK"


@asynccontextmanager
async def mail_server(
    chain: Path, *, implicit: bool = False, plain: bool = False, login: bool = True
) -> AsyncIterator[MailServer]:
    """Serve with the certificate of `chain`: STARTTLS by default, or TLS from the first byte, or none at all."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(chain)
    rig = MailServer()

    def session() -> asyncio.Protocol:
        if rig.behave == "silent":
            return asyncio.Protocol()
        with warnings.catch_warnings():
            # it takes "no STARTTLS" for "no TLS"; here TLS is there from the first byte
            warnings.simplefilter("ignore", UserWarning)
            return talker()

    def talker() -> SMTP:
        return SMTP(
            rig,
            hostname="localhost",
            tls_context=None if implicit or plain else context,
            require_starttls=not (implicit or plain),
            auth_required=login,
            auth_require_tls=not (implicit or plain),
            authenticator=rig.authenticate if login else None,
            loop=asyncio.get_running_loop(),
        )

    server = await asyncio.get_running_loop().create_server(session, "127.0.0.1", 0, ssl=context if implicit else None)
    rig.port = server.sockets[0].getsockname()[1]
    before = asyncio.all_tasks()
    try:
        yield rig
    finally:
        server.close()
        left = [task for task in asyncio.all_tasks() - before if "SMTP" in repr(task.get_coro())]
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)
