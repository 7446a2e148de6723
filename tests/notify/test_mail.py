"""The plain mail route against a real mail server over TLS."""

import asyncio
import json
import os
import signal
import sys
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.notify.letter import LONGEST_BODY, Letter, Outcome, clean_body, clean_title
from gatewayd.notify.sender import Sender
from tests.notify.conftest import LETTER, children, environ, mail_route, url_route
from tests.rigs.certs import Certs
from tests.rigs.mail import PASSWORD, USER, mail_server

PLENTY = 15_000  # ms
SHORT = 1_200  # ms; a mail child starts in 50 ms


@pytest.mark.rig
@pytest.mark.parametrize("security", ["starttls", "tls"])
async def test_mail_arrives_intact(sender: Sender, certs: Certs, security: str) -> None:
    """A mail arrives over verified TLS with every sign, from the house, dated, and with the id of its notice."""
    async with mail_server(certs.good, implicit=security == "tls") as rig:
        outcome = await sender.send(mail_route(rig.port, certs.ca, security), LETTER, PLENTY)

    mail = rig.mails[0]
    assert outcome == Outcome(ok=True)
    assert rig.envelopes == [("house@heron.test", ["ann@heron.test"])]
    assert rig.logins == 1
    assert mail["Subject"] == LETTER.title
    assert mail["From"] == "Heron Lane <house@heron.test>"
    assert mail["Message-ID"] == "<17-new-ann-1795600000000@heron.test>"
    assert mail["Date"] == "Wed, 25 Nov 2026 14:10:00 +0000"
    assert mail.get_content().splitlines() == LETTER.body.splitlines()


@pytest.mark.rig
async def test_title_cannot_forge_a_header(sender: Sender, certs: Certs) -> None:
    """Line ends and control characters in a title become spaces; no header comes of them."""
    letter = Letter("Warm\r\nBcc: spy@elsewhere.test\x00 now", "", "a b\r\nc", LETTER.made)

    async with mail_server(certs.good) as rig:
        outcome = await sender.send(mail_route(rig.port, certs.ca), letter, PLENTY)

    assert outcome.ok
    assert rig.mails[0]["Bcc"] is None
    assert rig.mails[0]["Subject"] == "Warm Bcc: spy@elsewhere.test now"
    assert rig.mails[0]["Message-ID"] == "<a-b--c@heron.test>"


@pytest.mark.rig
async def test_wrong_password_is_hopeless(sender: Sender, certs: Certs, caplog: pytest.LogCaptureFixture) -> None:
    """A refused password is told in plain words and is hopeless; nothing has arrived, the password shows nowhere."""
    async with mail_server(certs.good) as rig:
        outcome = await sender.send(mail_route(rig.port, certs.ca, password="Hunter-77"), LETTER, PLENTY)

    assert outcome == Outcome(ok=False, error="The mail server refused the user name or the password.", hopeless=True)
    assert "Hunter-77" not in caplog.text + repr(outcome) + repr(mail_route(1, None, password="Hunter-77"))


@pytest.mark.rig
@pytest.mark.parametrize(
    ("chain", "authority", "words"),
    [
        ("good", "stranger", "has a certificate that is not trusted"),
        ("good", None, "has a certificate that is not trusted"),
        ("expired", "ca", "has a certificate that has expired"),
        ("other_name", "ca", "has a certificate for another name"),
    ],
)
async def test_bad_certificate_is_refused(
    sender: Sender, certs: Certs, chain: str, authority: str | None, words: str
) -> None:
    """No password and no message goes to a server whose certificate is untrusted, expired or another's."""
    async with mail_server(getattr(certs, chain)) as rig:
        trusted = getattr(certs, authority) if authority else None
        outcome = await sender.send(mail_route(rig.port, trusted), LETTER, PLENTY)

    assert outcome == Outcome(ok=False, error=f"The mail server {words}.", hopeless=True)
    assert rig.logins == 0


@pytest.mark.rig
async def test_no_encryption_no_mail(sender: Sender, certs: Certs) -> None:
    """A server that offers no encryption gets neither the password nor the message, by either mail route."""
    url = f"mailtos://{USER}:pw@house.test:%d/?smtp=localhost&user={USER}&from=house@heron.test&to=ann@heron.test"
    async with mail_server(certs.good, plain=True) as rig:
        own = await sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY)
        messenger = await sender.send(url_route(url % rig.port, certs.ca), LETTER, PLENTY)

    expected = Outcome(ok=False, error="The mail server offers no encryption, so nothing was sent.", hopeless=True)
    assert [own, messenger] == [expected, expected]
    assert (rig.logins, rig.mails) == (0, [])


@pytest.mark.rig
async def test_other_encryption_is_named(sender: Sender, certs: Certs) -> None:
    """A server that begins in the clear, tried with encryption from the start, says which to try."""
    async with mail_server(certs.good) as rig:
        outcome = await sender.send(mail_route(rig.port, certs.ca, "tls"), LETTER, PLENTY)

    assert (outcome.ok, outcome.maybe_arrived) == (False, False)
    assert outcome.error == (
        "The mail server could not agree on encryption with us; try the other encryption (STARTTLS)."
    )


@pytest.mark.rig
async def test_missing_authority_file(sender: Sender, tmp_path: Path) -> None:
    """An authority file that is gone is named, and nothing is sent."""
    outcome = await sender.send(mail_route(1, tmp_path / "gone.pem"), LETTER, PLENTY)

    assert outcome.hopeless
    assert str(tmp_path / "gone.pem") in outcome.error


@pytest.mark.rig
@pytest.mark.parametrize(
    ("behave", "words", "hopeless"),
    [
        ("rcpt:550", "refused the address of the recipient", True),
        ("rcpt:450", "asked to try again later", False),
        ("rcpt:452", "no room for the message", False),
        ("data:451", "asked to try again later", False),
        ("data:554", "refused the message", True),
    ],
)
async def test_refusals(sender: Sender, certs: Certs, behave: str, words: str, hopeless: bool) -> None:
    """What the server refuses has not arrived; the words are plain and say whether another try can help soon."""
    async with mail_server(certs.good) as rig:
        rig.behave = behave
        outcome = await sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY)

    assert words in outcome.error
    assert (outcome.ok, outcome.maybe_arrived, outcome.hopeless) == (False, False, hopeless)


@pytest.mark.rig
async def test_try_later_then_taken(sender: Sender, certs: Certs) -> None:
    """After a "try later" the same letter goes through, under the same id."""
    async with mail_server(certs.good) as rig:
        route = mail_route(rig.port, certs.ca)
        rig.behave = "data:451"
        first = await sender.send(route, LETTER, PLENTY)
        rig.behave = "take"
        second = await sender.send(route, LETTER, PLENTY)

    assert (first.ok, second.ok) == (False, True)
    assert len(rig.mails) == 1


@pytest.mark.rig
async def test_lost_answer_may_have_arrived(sender: Sender, certs: Certs) -> None:
    """When the line is cut after the text the outcome says that it may have arrived, as it has."""
    async with mail_server(certs.good) as rig:
        rig.behave = "lose"
        outcome = await sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY)

    assert len(rig.mails) == 1
    assert outcome == Outcome(ok=False, maybe_arrived=True, error="The mail server hung up before it answered.")


@pytest.mark.rig
@pytest.mark.parametrize(("behave", "maybe"), [("hang", True), ("silent", False)])
async def test_hang_ends_in_time(sender: Sender, certs: Certs, behave: str, maybe: bool) -> None:
    """A server that never answers ends the try by the deadline; it may have arrived only if the text had begun."""
    async with mail_server(certs.good) as rig:
        rig.behave = behave
        async with asyncio.timeout(SHORT / 1000 + 1):
            outcome = await sender.send(mail_route(rig.port, certs.ca), LETTER, SHORT)

    assert outcome == Outcome(ok=False, maybe_arrived=maybe, error="The mail server did not answer in time.")
    assert children() == {}


@pytest.mark.rig
async def test_killed_at_the_deadline(sender: Sender, certs: Certs) -> None:
    """A child whose own limits do not help is killed at the deadline and reaped, and the message may have arrived."""
    async with mail_server(certs.good) as rig:
        rig.behave = "drip"
        async with asyncio.timeout(SHORT / 1000 + 1):
            outcome = await sender.send(mail_route(rig.port, certs.ca), LETTER, SHORT)

    assert outcome == Outcome(ok=False, maybe_arrived=True, error="The mail server did not answer in time.")
    assert children() == {}


@pytest.mark.rig
async def test_orphan_ends_by_itself(certs: Certs, tmp_path: Path) -> None:
    """A child whose daemon was killed does not outlive its deadline by more than two seconds, whatever it waits for."""
    async with mail_server(certs.good) as rig:
        rig.behave = "drip"
        request = Sender(SystemClock(), "Heron Lane", tmp_path).request(mail_route(rig.port, certs.ca), LETTER, 500)
        orphan = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "gatewayd.notify.child", stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
        )
        async with asyncio.timeout(5):
            said, _ = await orphan.communicate(json.dumps(request).encode())

    assert orphan.returncode == -signal.SIGALRM
    assert said == b'{"begun": true}\n'


@pytest.mark.rig
async def test_slow_is_not_hung(sender: Sender, certs: Certs) -> None:
    """A server that takes its time within the deadline has taken the message."""
    async with mail_server(certs.good) as rig:
        rig.behave, rig.delay = "slow", 0.5
        outcome = await sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY)

    assert outcome == Outcome(ok=True)


@pytest.mark.rig
async def test_nobody_there(sender: Sender) -> None:
    """A port without a server is told apart from a server that hangs."""
    refused = await sender.send(mail_route(1, None), LETTER, PLENTY)

    assert refused == Outcome(ok=False, error="The mail server is not taking connections.")


@pytest.mark.rig
async def test_secrets_stay_off_process_list(sender: Sender, certs: Certs, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a child runs its command line and its environment hold no password, not even one of the daemon's own."""
    monkeypatch.setenv("MAIL_PASSWORD", PASSWORD)
    async with mail_server(certs.good) as rig:
        rig.behave = "hang"
        task = asyncio.create_task(sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY))
        async with asyncio.timeout(10):
            await rig.seen.wait()
        (pid, line), *more = children().items()
        environment = environ(pid)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    assert more == []
    assert PASSWORD not in line + environment
    assert "MAIL_PASSWORD" not in environment
    assert "PATH=" in environment


@pytest.mark.rig
async def test_cancel_kills_and_reaps(sender: Sender, certs: Certs) -> None:
    """Cancelling a send ends its child at once and leaves not even a zombie."""
    async with mail_server(certs.good) as rig:
        rig.behave = "hang"
        task = asyncio.create_task(sender.send(mail_route(rig.port, certs.ca), LETTER, PLENTY))
        async with asyncio.timeout(10):
            await rig.seen.wait()
        pid = next(iter(children()))
        task.cancel()
        async with asyncio.timeout(2):
            with pytest.raises(asyncio.CancelledError):
                await task

    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_bodies_every_service_takes() -> None:
    """A body is never empty, never broken, never longer than a chat carries; other text stays as it is."""
    assert clean_body(" \n") == "(no text)"
    assert clean_body("a\ud800b\r\nc\x00") == "a?b\nc"
    assert clean_body("−9 °C „ü“ <b>\n.\n") == "−9 °C „ü“ <b>\n.\n"
    assert len(clean_body("°" * 40_000)) == LONGEST_BODY
    assert clean_title("a\r\n\tb\u2028c\x1b[31m") == "a b c [31m"
