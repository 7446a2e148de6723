"""The server under the pages: it lets nobody hold it up."""

import asyncio
import json
import logging
import socket
import ssl
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from gatewayd.clock import SystemClock
from gatewayd.settings.typed import Pages
from gatewayd.web import porch
from gatewayd.web import server as module
from gatewayd.web.server import Server
from tests.fakes.clock import FakeClock
from tests.rigs import certs
from tests.sources.intake import eventually
from tests.web.home import ask, raw, serving

pytestmark = pytest.mark.rig


@pytest.mark.parametrize(
    "said", [b"", b"GET / HTTP/1.1\r\nHost: x\r\n", b"POST / HTTP/1.1\r\nContent-Length: 9\r\n\r\n12"]
)
async def test_slow_clients(said: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who says nothing, half a header or half a body is hung up on when the time is over."""
    monkeypatch.setattr(module, "LOOK", 200)
    async with serving([]) as (url, _):
        began = asyncio.get_running_loop().time()
        await raw(url, said)
        lasted = asyncio.get_running_loop().time() - began

    assert lasted < 2


async def test_too_many_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Silent connections beyond the most are hung up on at once, and make room again when they end."""
    monkeypatch.setattr(porch, "MOST", 5)
    async with serving([]) as (url, _):
        port = int(url.rpartition(":")[2])
        idle = [await asyncio.open_connection("127.0.0.1", port) for _ in range(5)]
        await asyncio.sleep(0.05)
        assert await raw(url, b"") == b""
        for _, writer in idle:
            writer.close()
        for _ in range(200):
            if b"404" in await raw(url, b"GET / HTTP/1.0\r\n\r\n"):
                break
        status, _, _ = await ask("GET", url)
    assert status == 404


async def test_address_that_is_taken(caplog: pytest.LogCaptureFixture) -> None:
    """An address that another program has is tried again every minute, said once, and ends nothing else."""
    caplog.set_level(logging.INFO)
    clock = FakeClock()
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        server = Server(Pages("127.0.0.1", port), lambda: "Heron Lane", [], clock)
        task = asyncio.create_task(server.run())
        await eventually(lambda: "cannot be shown" in caplog.text, "the first try")
        await clock.advance(60_000)
        await clock.advance(60_000)
    assert server.port == 0
    assert caplog.text.count("cannot be shown") == 1

    async def listens() -> None:
        while not server.port:
            await clock.advance(60_000)
            await asyncio.sleep(0.01)

    async with asyncio.timeout(5):
        await listens()
    assert (await ask("GET", f"http://127.0.0.1:{port}"))[0] == 404
    task.cancel()
    await asyncio.wait({task})
    assert server.port == 0
    with pytest.raises(OSError, match="Connect call failed"):
        await asyncio.open_connection("127.0.0.1", port)


class _Mirror:
    """Answer with who is said to ask, and how."""

    def add(self, app: web.Application) -> None:
        app.router.add_get("/seen/mirror", self.show)

    async def show(self, request: web.Request) -> web.Response:
        return web.json_response([request.remote, request.secure])


async def test_encrypted(tmp_path: Path) -> None:
    """With a certificate the pages are encrypted, and nothing is said in plain."""
    files = certs.make(tmp_path)
    pages = Pages("127.0.0.1", 0, certificate=str(files.good))
    server = Server(pages, lambda: "Heron Lane", [_Mirror()], SystemClock())
    await server.open()
    try:
        trust = ssl.create_default_context(cafile=str(files.ca))
        url = f"https://localhost:{server.port}/seen/mirror"
        status, _, text = await ask("GET", url, ssl=trust)
        with pytest.raises(aiohttp.ClientError):
            await ask("GET", url.replace("https", "http"))
    finally:
        await server.close()

    assert status == 200
    assert json.loads(text)[1] is True


async def test_certificate_that_does_not_fit(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A certificate that is missing or broken keeps the pages away, with a sentence, and ends nothing else."""
    (tmp_path / "broken.pem").write_text("no certificate")
    key = ec.generate_private_key(ec.SECP256R1())
    locked = serialization.BestAvailableEncryption(b"plums")
    text = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked)
    (tmp_path / "locked.pem").write_bytes(certs.make(tmp_path).ca.read_bytes() + text)
    for name in ("missing.pem", "broken.pem", "locked.pem"):
        caplog.clear()
        pages = Pages("127.0.0.1", 0, certificate=str(tmp_path / name))
        server = Server(pages, lambda: "Heron Lane", [], FakeClock())
        task = asyncio.create_task(server.run())
        await eventually(lambda: "cannot be shown" in caplog.text, "said")
        assert not task.done()
        task.cancel()
        await asyncio.wait({task})


@pytest.mark.parametrize(
    ("proxy", "headers", "seen"),
    [
        ("", {"X-Forwarded-For": "8.8.8.8", "X-Forwarded-Proto": "https"}, ["127.0.0.1", False]),
        ("127.0.0.1", {"X-Forwarded-For": "192.168.1.9, 8.8.8.8", "X-Forwarded-Proto": "https"}, ["8.8.8.8", True]),
        ("127.0.0.1", {"X-Forwarded-Proto": "gopher"}, ["127.0.0.1", False]),
        ("10.0.0.1", {"X-Forwarded-For": "8.8.8.8"}, ["127.0.0.1", False]),
    ],
)
async def test_proxy(proxy: str, headers: dict[str, str], seen: list[object]) -> None:
    """Only the proxy of the settings is believed, and of the addresses it names the one that it saw itself."""
    server = Server(Pages("127.0.0.1", 0, proxy=proxy), lambda: "Heron Lane", [_Mirror()], SystemClock())
    await server.open()
    try:
        _, _, text = await ask("GET", f"http://127.0.0.1:{server.port}/seen/mirror", headers=headers)
    finally:
        await server.close()

    assert json.loads(text) == seen
