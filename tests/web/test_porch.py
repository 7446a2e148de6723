"""Who is let in at the door of the pages, how many at a time, and how long they may stay."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web

from gatewayd.clock import SystemClock
from gatewayd.settings.typed import Pages
from gatewayd.web import porch
from gatewayd.web import server as module
from gatewayd.web.once import Once
from gatewayd.web.server import Server, lasting
from tests.rigs import certs
from tests.web.home import ask, serving

pytestmark = pytest.mark.rig
PHONE, LAPTOP = "127.0.0.1", "127.0.0.2"  # two addresses of this computer


@contextlib.asynccontextmanager
async def silent(port: int, many: int, address: str = PHONE) -> AsyncIterator[list[asyncio.StreamWriter]]:
    """Open connections that say nothing."""
    opened = [(await asyncio.open_connection("127.0.0.1", port, local_addr=(address, 0)))[1] for _ in range(many)]
    await asyncio.sleep(0.1)
    try:
        yield opened
    finally:
        for writer in opened:
            writer.close()


async def answered(port: int, address: str, scheme: str = "http") -> bool:
    """Return whether somebody at an address gets an answer."""
    connector = aiohttp.TCPConnector(local_addr=(address, 0), ssl=False)
    try:
        async with (
            asyncio.timeout(5),
            aiohttp.ClientSession(connector=connector) as session,
            session.get(f"{scheme}://127.0.0.1:{port}/") as answer,
        ):
            return answer.status == 404
    except aiohttp.ClientError:
        return False


@pytest.mark.parametrize("encrypted", [False, True])
async def test_one_device_keeps_nobody_out(encrypted: bool, tmp_path: Path) -> None:
    """Who opens connections without end gets a few of them, and everybody else is answered as before."""
    certificate = str(certs.make(tmp_path).good) if encrypted else None
    server = Server(Pages("127.0.0.1", 0, certificate=certificate), lambda: "Heron Lane", [], SystemClock())
    await server.open()
    scheme = "https" if encrypted else "http"
    try:
        async with silent(server.port, porch.MOST):
            assert await answered(server.port, LAPTOP, scheme)
            assert not await answered(server.port, PHONE, scheme)
        for _ in range(200):
            if await answered(server.port, PHONE, scheme):
                break
        else:
            pytest.fail("there is room again, and nobody is let in")
    finally:
        await server.close()


async def test_many_come_by_the_proxy() -> None:
    """Behind a proxy all have its address, which therefore counts for nobody."""
    server = Server(Pages("127.0.0.1", 0, proxy=PHONE), lambda: "Heron Lane", [], SystemClock())
    await server.open()
    try:
        async with silent(server.port, porch.OF_ONE + 4):
            assert await answered(server.port, PHONE)
    finally:
        await server.close()


async def test_silence_instead_of_encryption(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who never says the first word of the encryption is hung up on when the time is over."""
    monkeypatch.setattr(module, "LOOK", 200)
    certificate = str(certs.make(tmp_path).good)
    server = Server(Pages("127.0.0.1", 0, certificate=certificate), lambda: "Heron Lane", [], SystemClock())
    await server.open()
    try:
        reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
        async with asyncio.timeout(2):
            with contextlib.suppress(ConnectionError):
                assert await reader.read() == b""
        writer.close()
    finally:
        await server.close()


class _Slow:
    """Take forms whose carrying out is slow, as a test message is or new settings are."""

    def __init__(self) -> None:
        self.begun: list[str] = []
        self.entered, self.go = asyncio.Event(), asyncio.Event()
        self.once = Once()

    def add(self, app: web.Application) -> None:
        app.router.add_post("/once", self.once.of(self.carry_out))
        app.router.add_post("/try", self.once.of(self.carry_out, apart=True))
        app.router.add_post("/other", self.once.of(self.quick))
        app.router.add_post("/lasting", lasting(self.carry_out))

    async def carry_out(self, request: web.Request) -> web.Response:
        self.begun.append(str((await request.post()).get("key")))
        self.entered.set()
        await self.go.wait()
        return web.Response(status=303, headers={"Location": "/done"})

    async def quick(self, request: web.Request) -> web.Response:
        return web.Response(status=303, headers={"Location": "/quick"})


@pytest.mark.parametrize("way", ["/once", "/try", "/lasting"])
async def test_slow_order_is_answered(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What takes longer than a silent connection lives is carried out and answered on the connection it came by."""
    monkeypatch.setattr(module, "LOOK", 100)
    slow = _Slow()
    async with serving([slow]) as (url, _):
        asyncio.get_running_loop().call_later(0.5, slow.go.set)
        status, headers, _ = await ask("POST", url + way, data={"key": "one"}, allow_redirects=False)

    assert (status, headers["Location"]) == (303, "/done")


async def test_half_a_form_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who sends only half of a form is hung up on, also where carrying it out may last."""
    monkeypatch.setattr(module, "LOOK", 100)
    async with serving([_Slow()]) as (url, _):
        reader, writer = await asyncio.open_connection("127.0.0.1", int(url.rpartition(":")[2]))
        head = b"POST %s HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        writer.write(head % b"/lasting" + b"Content-Length: 99\r\n\r\nkey=on")
        async with asyncio.timeout(2):
            with contextlib.suppress(ConnectionError):
                assert await reader.read() == b""
        writer.close()


async def test_test_message_holds_nobody_up() -> None:
    """While a test message is on its way all other forms are answered; its second tap waits and leads to the same."""
    slow = _Slow()
    async with serving([slow]) as (url, _):
        tries = [
            asyncio.create_task(ask("POST", f"{url}/try", data={"key": "one"}, allow_redirects=False)) for _ in range(2)
        ]
        async with asyncio.timeout(5):
            await slow.entered.wait()
            _, other, _ = await ask("POST", f"{url}/other", data={"key": "two"}, allow_redirects=False)
            slow.go.set()
            led = [headers["Location"] for _, headers, _ in await asyncio.gather(*tries)]

    assert other["Location"] == "/quick"
    assert (led, slow.begun) == (["/done", "/done"], ["one"])


async def test_settings_change_one_after_another() -> None:
    """Forms that change the settings wait for each other: each sees what the one before has left."""
    slow = _Slow()
    async with serving([slow]) as (url, _):
        first = asyncio.create_task(ask("POST", f"{url}/once", data={"key": "one"}, allow_redirects=False))
        async with asyncio.timeout(5):
            await slow.entered.wait()
            second = asyncio.create_task(ask("POST", f"{url}/other", data={"key": "two"}, allow_redirects=False))
            assert not (await asyncio.wait({second}, timeout=0.2))[0]
            slow.go.set()
            await first
            assert (await second)[1]["Location"] == "/quick"
