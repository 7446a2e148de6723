"""Encrypted connections to a real broker: verified, always."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gatewayd.sources.dial import tls_context
from tests.rigs.broker import Authority, Mosquitto
from tests.sources.conftest import running
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig


@pytest.fixture
def tls_broker() -> Iterator[Mosquitto]:
    """Run a broker with a TLS port."""
    with Mosquitto(tls=True) as rig:
        yield rig


async def bad_news(broker: Mosquitto, **changes: object) -> str:
    """Return why a source with these settings cannot connect."""
    intake = RememberingIntake()
    async with running(broker.settings(**changes), intake):
        await eventually(lambda: intake.ups, "the bad news")
    up, reason = intake.ups[0]
    assert not up
    return reason


async def test_trusted(tls_broker: Mosquitto) -> None:
    """With its authority's file a broker is trusted, and many readings come through without one left behind."""
    from tests.rigs.publisher import Publisher  # noqa: PLC0415

    intake = RememberingIntake()
    settings = tls_broker.settings(port=tls_broker.tls_port, tls=True, ca=str(tls_broker.papers.ca), host="localhost")
    async with running(settings, intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(tls_broker) as publisher:
            publisher.send_all(("house/porch", f"{n}" + " " * (n % 7) * 900) for n in range(1000))
            await eventually(lambda: len(intake.heard) == 1000, "all")

    assert [int(payload) for payload in intake.payloads] == list(range(1000))


async def test_untrusted_authority(tls_broker: Mosquitto) -> None:
    """Without the file an own authority is not trusted, and the keeper is told of `ca`."""
    reason = await bad_news(tls_broker, port=tls_broker.tls_port, tls=True, host="localhost")

    assert "not signed by an authority that gatewayd trusts; name its authority's file as `ca`" in reason


async def test_wrong_authority(tls_broker: Mosquitto, tmp_path: Path) -> None:
    """Another authority's file does not vouch for the broker."""
    other = Authority(tmp_path)

    reason = await bad_news(tls_broker, port=tls_broker.tls_port, tls=True, host="localhost", ca=str(other.ca))

    assert f"{other.ca} does not vouch for it" in reason


async def test_other_name(tls_broker: Mosquitto) -> None:
    """A certificate made out to another name is refused."""
    settings = {"port": tls_broker.tls_port, "tls": True, "ca": str(tls_broker.papers.ca), "host": "127.0.0.2"}

    with_rig_on_all = await bad_news(tls_broker, **settings)

    assert "127.0.0.2" in with_rig_on_all


async def test_missing_authority_file(tls_broker: Mosquitto, tmp_path: Path) -> None:
    """A `ca` that is not there, or holds no certificate, is said to be so."""
    empty = tmp_path / "empty.pem"
    empty.write_text("bread and milk\n")
    tls = {"port": tls_broker.tls_port, "tls": True, "host": "localhost"}

    missing = await bad_news(tls_broker, **tls, ca=str(tmp_path / "none.pem"))
    not_one = await bad_news(tls_broker, **tls, ca=str(empty))

    assert "none.pem cannot be read" in missing
    assert "empty.pem holds no certificate" in not_one


async def test_plain_port(tls_broker: Mosquitto) -> None:
    """TLS to the plain port, and plain to the TLS port, end in a hint and not in a wait."""
    tls_to_plain = await bad_news(tls_broker, tls=True, ca=str(tls_broker.papers.ca), host="localhost")
    plain_to_tls = await bad_news(tls_broker, port=tls_broker.tls_port)

    assert "TLS" in tls_to_plain
    assert "TLS" in plain_to_tls


def test_at_least_1_2() -> None:
    """Nothing older than TLS 1.2 is spoken, and verification is on."""
    context = tls_context(None)

    assert context.minimum_version.name == "TLSv1_2"
    assert context.check_hostname
    assert context.verify_mode.name == "CERT_REQUIRED"
