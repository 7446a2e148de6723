"""The server under the pages: it lets nobody hold it up."""

import asyncio
import logging
import socket

import pytest

from gatewayd.settings.typed import Pages
from gatewayd.web import server as module
from gatewayd.web.server import Server
from tests.fakes.clock import FakeClock
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
    monkeypatch.setattr(module, "MOST", 5)
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
        server = Server(Pages("127.0.0.1", port), "Heron Lane", [], clock)
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
