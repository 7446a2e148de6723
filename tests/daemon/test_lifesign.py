"""The sign of life to somebody outside: the decision alone, and the request against a real server."""

import asyncio
import logging
import ssl
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from aiohttp import web

from gatewayd.clock import Clock, SystemClock
from gatewayd.daemon import lifesign
from gatewayd.daemon.lifesign import LifeSign, Motion, standstill
from gatewayd.daemon.outward import Outward, RequestFailed
from gatewayd.model.given import Beat
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.route import Secret
from gatewayd.settings.typed import SignOfLife
from gatewayd.web.beats import Beats
from tests.fakes.clock import FakeClock
from tests.rigs.broker import Authority, free_port
from tests.sources.intake import eventually
from tests.web.home import FakeHome, serving

MOVING = Motion(heard_ago=MINUTE, interval=MINUTE, committed_ago=MINUTE, commit_limit=11 * MINUTE, overdue=0)
STILL = {
    "never heard": replace(MOVING, heard_ago=None),
    "not heard": replace(MOVING, heard_ago=16 * MINUTE),
    "never committed": replace(MOVING, committed_ago=None),
    "not committed": replace(MOVING, committed_ago=12 * MINUTE),
    "overdue": replace(MOVING, overdue=11 * MINUTE),
}


# -- the decision ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("motion", STILL.values(), ids=STILL)
def test_each_part_alone(motion: Motion) -> None:
    """Any one part that stands still is enough, and it is named."""
    assert standstill(MOVING) == ""
    assert any(word in standstill(motion) for word in ("sensor", "disk", "message"))


@pytest.mark.parametrize(
    ("motion", "moves"),
    [
        (replace(MOVING, heard_ago=15 * MINUTE, interval=0), True),
        (replace(MOVING, heard_ago=15 * MINUTE + 1, interval=5 * MINUTE), False),
        (replace(MOVING, heard_ago=3 * HOUR, interval=HOUR), True),
        (replace(MOVING, heard_ago=3 * HOUR + 1, interval=HOUR), False),
        (replace(MOVING, committed_ago=11 * MINUTE), True),
        (replace(MOVING, overdue=10 * MINUTE), True),
        (replace(MOVING, overdue=10 * MINUTE + 1), False),
    ],
)
def test_limits(motion: Motion, moves: bool) -> None:
    """The limits are 15 min or three intervals, the store's own limit, and 10 min for a message."""
    assert (standstill(motion) == "") is moves


# -- the request -----------------------------------------------------------------------------------------------


@dataclass
class Outside:
    """Somebody outside who waits for signs of life. The path says how they are answered."""

    url: str = ""
    heard: list[tuple[str, str, str]] = field(default_factory=list)  # method, path and query, authorization
    gate: asyncio.Event = field(default_factory=asyncio.Event)

    async def answer(self, request: web.Request) -> web.StreamResponse:
        """Answer with a status, a text, a redirect, nothing, or endlessly."""
        self.heard.append((request.method, request.raw_path, request.headers.get("Authorization", "")))
        first, *rest = request.path.strip("/").split("/")
        match first:
            case "hang":
                await self.gate.wait()
            case "drip":
                slow = web.StreamResponse()
                await slow.prepare(request)
                while not self.gate.is_set():
                    await slow.write(b".")
                    await asyncio.sleep(0.05)
                return slow
            case "large":
                return web.Response(text="x" * 65_536 + "alive")
            case "moved":
                return web.Response(status=int(rest[0]), headers={"Location": "/200"})
            case "round":
                return web.Response(status=302, headers={"Location": f"/round/{len(self.heard)}"})
            case "elsewhere":
                return web.Response(status=302, headers={"Location": "http://127.0.0.1:1/"})
        return web.Response(status=int(first), text="thank you, the shed is alive" if first == "200" else None)


@asynccontextmanager
async def outside(tls: ssl.SSLContext | None = None) -> AsyncIterator[Outside]:
    """Serve on loopback."""
    rig = Outside()
    app = web.Application()
    app.router.add_route("*", "/{tail:.*}", rig.answer)
    runner = web.AppRunner(app, shutdown_timeout=0.2)
    await runner.setup()
    site = web.TCPSite(runner, "localhost", port := free_port(), ssl_context=tls)
    await site.start()
    rig.url = f"{'https' if tls else 'http'}://localhost:{port}"
    try:
        yield rig
    finally:
        rig.gate.set()
        await runner.cleanup()


@dataclass
class Parts:
    """Move as the test says."""

    now: Motion = MOVING

    async def motion(self) -> Motion:
        """Return that."""
        return self.now


def make(url: str, clock: Clock | None = None, **more: object) -> tuple[LifeSign, Parts]:
    """Build a sign of life to an address."""
    parts = Parts()
    return LifeSign(SignOfLife(Secret(url), **more), parts, clock or SystemClock()), parts  # type: ignore[arg-type]


@pytest.mark.rig
@pytest.mark.parametrize("still", STILL.values(), ids=STILL)
async def test_silent_while_something_stands_still(still: Motion, caplog: pytest.LogCaptureFixture) -> None:
    """While a part stands still nothing is sent, and why is said once; when it moves again signs are given again."""
    caplog.set_level(logging.INFO)
    async with outside() as rig:
        sign, parts = make(f"{rig.url}/200")
        parts.now = still
        assert [await sign.turn() for _ in range(3)] == [False] * 3
        assert rig.heard == []
        parts.now = MOVING
        assert await sign.turn()
        assert len(rig.heard) == 1
    assert caplog.text.count("no sign of life is given") == 1
    assert caplog.text.count("all moves again") == 1


@pytest.mark.rig
@pytest.mark.parametrize(
    ("path", "more", "good"),
    [
        ("/200", {}, True),
        ("/204", {}, True),
        ("/204", {"codes": (200,)}, False),
        ("/404", {}, False),
        ("/404", {"codes": (404,)}, True),
        ("/500", {}, False),
        ("/200", {"text": "shed is alive"}, True),
        ("/200", {"text": "cellar"}, False),
        ("/204", {"text": "alive"}, False),
        ("/large", {"text": "alive"}, False),
        ("/moved/301", {}, True),
        ("/round", {}, False),
        ("/elsewhere", {}, False),
    ],
)
async def test_what_counts_as_success(
    path: str, more: dict[str, object], good: bool, caplog: pytest.LogCaptureFixture
) -> None:
    """One of the wished codes and the wished text within the first 64 kB are success, and nothing else is."""
    async with outside() as rig:
        sign, _ = make(f"{rig.url}{path}?key=s3cret", **more)
        assert await sign.turn()
        assert await sign.turn()
    assert (sign.given is not None) is good
    assert caplog.text.count("did not arrive") == (0 if good else 1)
    assert "s3cret" not in caplog.text
    assert len(rig.heard) <= 8


@pytest.mark.rig
async def test_request_as_it_leaves() -> None:
    """The method, the path, the query and a user's name and word arrive as they were written."""
    async with outside() as rig:
        base = rig.url.replace("://", "://ann:p%40ss@")
        await make(f"{base}/200/caf\u00e9%20x?key=a%2Fb&ü", method="POST")[0].turn()
        await make(f"{base}/200")[0].turn()
    assert rig.heard == [
        ("POST", "/200/caf%C3%A9%20x?key=a%2Fb&%C3%BC", "Basic YW5uOnBAc3M="),
        ("GET", "/200", "Basic YW5uOnBAc3M="),
    ]


@pytest.mark.rig
@pytest.mark.parametrize(("status", "method"), [(301, "GET"), (302, "GET"), (303, "GET"), (307, "POST"), (308, "POST")])
async def test_redirects(status: int, method: str) -> None:
    """A redirect is followed, with the method that RFC 9110 (15.4) leaves to it, and without the user's word."""
    async with outside() as rig:
        reply = await Outward().fetch("POST", f"{rig.url}/moved/{status}", 5 * SECOND)
    assert reply.status == 200
    assert [(heard[0], heard[1]) for heard in rig.heard] == [("POST", f"/moved/{status}"), (method, "/200")]


@pytest.mark.rig
async def test_more_redirects_than_three() -> None:
    """Three redirects are followed and no more."""
    async with outside() as rig:
        with pytest.raises(RequestFailed, match="more than 3 times"):
            await Outward().fetch("GET", f"{rig.url}/round", 5 * SECOND)
    assert len(rig.heard) == 4


@pytest.mark.rig
@pytest.mark.parametrize("path", ["/hang", "/drip"])
async def test_hanging(path: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    """Who takes the request and then says nothing, or one letter at a time, is cut off; no thread stays behind."""
    monkeypatch.setattr(lifesign, "DEADLINE", 300)
    async with outside() as rig:
        sign, _ = make(rig.url + path)
        began = asyncio.get_running_loop().time()
        assert await sign.turn()
        assert asyncio.get_running_loop().time() - began < 2
        await eventually(lambda: not sign._outward._busy, "the request ended")
        assert "sign of life" not in {t.name for t in threading.enumerate() if t.is_alive()}
        assert await sign.turn()
        assert len(rig.heard) == 2
    assert sign.given is None
    assert caplog.text.count("no answer in time") == 1


@pytest.mark.rig
@pytest.mark.parametrize(
    ("url", "why"),
    [
        ("http://127.0.0.1:1/s3cret", "nobody takes connections"),
        ("http://nowhere.invalid/s3cret", "could not be found"),
        ("ftp://localhost/s3cret", "must begin with http"),
        ("http://localhost:99999/s3cret", "not one that can be asked"),
        ("http:///s3cret", "must begin with http"),
        ("http://[half/s3cret", "not one that can be asked"),
    ],
)
async def test_no_way_there(url: str, why: str, caplog: pytest.LogCaptureFixture) -> None:
    """An address that cannot be reached or asked is told in plain words, once, and without its secret."""
    sign, _ = make(url)
    await sign.turn()
    await sign.turn()

    assert caplog.text.count(why) == 1
    assert "s3cret" not in caplog.text


@pytest.mark.rig
async def test_what_does_not_speak_http(caplog: pytest.LogCaptureFixture) -> None:
    """Something else at the port is told of as such."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 mail.test ESMTP\r\n")
        await reader.read(1000)
        writer.close()

    server = await asyncio.start_server(talk, "127.0.0.1", port := free_port())
    sign, _ = make(f"http://127.0.0.1:{port}/")
    await sign.turn()
    server.close()

    assert "does not speak HTTP" in caplog.text


@pytest.mark.rig
async def test_certificates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    """A server whose certificate nobody vouches for gets no sign; one that is vouched for does, but not to open air."""
    papers = Authority(tmp_path)
    tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    tls.load_cert_chain(papers.certificate, papers.key)
    async with outside(tls) as rig:
        await make(f"{rig.url}/200")[0].turn()
        assert rig.heard == []
        assert "certificate is not trusted" in caplog.text
        monkeypatch.setenv("SSL_CERT_FILE", str(papers.ca))
        sign, _ = make(f"{rig.url}/200")
        await sign.turn()
        assert sign.given is not None
        await make(f"{rig.url}/elsewhere")[0].turn()
        assert "from a safe address to an open one" in caplog.text


@pytest.mark.rig
async def test_two_homes_watch_each_other() -> None:
    """One gateway's sign of life is another's beat: its address and word in the settings are all that is needed."""
    elm_road = FakeHome()
    async with serving([Beats({"heron-lane": Secret("plums & beans")}, elm_road, SystemClock())]) as (url, _):
        for method, word in (("GET", "plums%20%26%20beans"), ("POST", "plums+%26+beans")):
            sign, _ = make(f"{url}/beat/heron-lane?token={word}", method=method)
            await sign.turn()
            assert sign.given is not None
        sign, _ = make(f"{url}/beat/heron-lane?token=trout")
        await sign.turn()
        assert sign.given is None
    assert elm_road.beats == [Beat("heron-lane")] * 2


@pytest.mark.rig
async def test_turns() -> None:
    """The first look is a minute after the start, then one request a turn, even when they fail; no storm."""
    clock = FakeClock()
    async with outside() as rig:
        sign, parts = make(f"{rig.url}/500", clock, every=5 * MINUTE)
        task = asyncio.create_task(sign.run())
        await clock.advance(MINUTE - 1)
        assert rig.heard == []
        for turn in range(1, 5):
            await clock.advance(1 if turn == 1 else 5 * MINUTE)
            await eventually(lambda n=turn: len(rig.heard) == n and clock._sleepers, f"request {turn}")
        parts.now = STILL["overdue"]
        for _ in range(20):
            await clock.advance(MINUTE)
        assert len(rig.heard) == 4
        parts.now = MOVING
        await clock.advance(MINUTE)
        await eventually(lambda: len(rig.heard) == 5, "a minute after all moves again")
        task.cancel()
        await asyncio.wait({task})
