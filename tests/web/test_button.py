"""The page behind the link in a message, asked over a real connection."""

import asyncio
import base64
import hashlib
import re
from collections.abc import AsyncIterator

import pytest

from gatewayd.message.token import make
from gatewayd.model.moment import DAY
from gatewayd.web import button
from gatewayd.web.button import Button, Sight
from tests.fakes.clock import START, FakeClock
from tests.web.home import FakeHome, ask, raw, serving

pytestmark = pytest.mark.rig

KEY = bytes(range(32))
SHED = Sight("Shed chest: too warm", ("It began at 14:10.", "It is still so, and nobody has seen it yet."), True, 17)


@pytest.fixture
def home() -> FakeHome:
    """Stand one alarm, number 17."""
    return FakeHome(sights={17: SHED})


@pytest.fixture
async def link(home: FakeHome) -> AsyncIterator[str]:
    """Serve the button and return Ann's link to alarm 17."""
    async with serving([Button(KEY, home, FakeClock())]) as (url, _):
        yield f"{url}/seen/{make(KEY, 17, 'ann', START + DAY)}"


async def test_opening_changes_nothing(home: FakeHome, link: str) -> None:
    """Whoever looks, person or mail scanner, by GET, HEAD or with odd headers, changes nothing."""
    odd = {"Sec-Purpose": "prefetch", "User-Agent": "scanner", "X-HTTP-Method-Override": "POST"}
    answers = [await ask("GET", link), await ask("HEAD", link), await ask("GET", f"{link}?press=1", headers=odd)]

    assert [status for status, _, _ in answers] == [200, 200, 200]
    assert home.orders == []


async def test_page_shows_the_alarm_and_one_button(link: str) -> None:
    """The page names the house, the alarm, since when and how it stands, and has one button and no script."""
    _, headers, text = await ask("GET", link)

    assert headers["Content-Type"] == "text/html; charset=utf-8"
    for words in ("Heron Lane", "<h1>Shed chest: too warm</h1>", "It began at 14:10.", "nobody has seen it yet"):
        assert words in text
    assert (text.count("<button"), text.count("<form"), text.count("<script"), "://" in text) == (1, 1, 0, False)


async def test_pressing_acknowledges(home: FakeHome, link: str) -> None:
    """Pressing the button orders, in the person's name and with the reason, and shows the answer without a button."""
    status, _, text = await ask("POST", link)

    order = home.orders[0]
    assert (order.verb, order.alarm, order.who, order.why) == ("acknowledge", 17, "ann", "by the link in a message")
    assert (status, "acknowledged." in text, "<button" in text) == (200, True, False)
    assert link.rpartition("/")[2] not in order.key


async def test_pressing_twice_is_one_order_until_something_happens(home: FakeHome, link: str) -> None:
    """A second press has the same key; after the alarm was told of again it has another, so that it counts anew."""
    await ask("POST", link)
    await ask("POST", link)
    home.sights[17] = Sight(SHED.title, SHED.lines, waits=True, turn=23)
    await ask("POST", link)

    keys = [order.key for order in home.orders]
    assert keys[0] == keys[1] != keys[2]
    assert all(len(key) <= 80 for key in keys)


async def test_every_page_leads_to_the_house(home: FakeHome, link: str) -> None:
    """Before and after the press, and where a link does not count any more, one tap leads to the house's pages."""
    shown = [await ask("GET", link), await ask("POST", link), await ask("GET", link[:-3])]
    home.sights.clear()
    shown.append(await ask("GET", link))

    assert ['href="/"' in text for _, _, text in shown] == [True] * 4


async def test_answered_by_somebody_else(home: FakeHome, link: str) -> None:
    """An alarm that somebody has seen already is shown without a button."""
    home.sights[17] = Sight(SHED.title, ("Bob has seen it.",), waits=False, turn=19)
    _, _, text = await ask("GET", link)

    assert ("Bob has seen it." in text, "<button" in text) == (True, False)


async def test_alarm_that_needs_nobody(home: FakeHome, link: str) -> None:
    """The link of an alarm that is over says so, and pressing orders nothing."""
    home.sights.clear()
    answers = [await ask("GET", link), await ask("POST", link)]

    assert [(status, "is over and needs no answer" in text) for status, _, text in answers] == [(200, True)] * 2
    assert home.orders == []


@pytest.mark.parametrize("method", ["GET", "POST"])
async def test_links_that_do_not_count(home: FakeHome, link: str, method: str) -> None:
    """An expired link is gone (410), a forged or garbled one not found (404); each page says what to do instead."""
    base = link.rpartition("/")[0]
    late, forged = make(KEY, 17, "ann", START), make(bytes(32), 17, "ann", START + DAY)
    found = {}
    for name, token in {
        "late": late,
        "forged": forged,
        "cut": link[-40:-5],
        "odd": "%3Cb%3E%00%ff",
        "long": "a" * 999,
    }.items():
        status, _, text = await ask(method, f"{base}/{token}")
        found[name] = status
        assert "Nothing was changed." in text
        assert "gatewayd ack" in text
        assert "<b>" not in text

    assert found == {"late": 410, "forged": 404, "cut": 404, "odd": 404, "long": 404}
    assert home.orders == []


async def test_names_are_escaped(home: FakeHome, link: str) -> None:
    """Whatever people called their freezer stands in the page as text."""
    home.name = "Heron & <i>Lane</i>"
    home.sights[17] = Sight('<script>alert("x")</script>', ("<img src=x onerror=y> & 'so'",), waits=True, turn=17)
    _, _, text = await ask("GET", link)

    assert "<script" not in text
    assert "<img" not in text
    assert "&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt;" in text
    assert "Heron &amp; &lt;i&gt;Lane&lt;/i&gt;" in text


async def test_closed_to_the_outside(link: str) -> None:
    """Every answer, good or bad, forbids scripts, frames, caches, referrers and guessing, and names no library."""
    for method, url in (("GET", link), ("POST", link), ("GET", link[:-3]), ("PUT", link), ("GET", f"{link}/x")):
        _, headers, _ = await ask(method, url)
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "form-action 'self'" in policy
        assert "unsafe" not in policy
        told = (headers["Cache-Control"], headers["Referrer-Policy"], headers["X-Content-Type-Options"])
        assert (*told, headers["Server"]) == ("no-store", "no-referrer", "nosniff", "gatewayd")


async def test_style_is_the_one_allowed(link: str) -> None:
    """The style in the page is the one whose hash the policy allows (CSP level 3, hash source)."""
    _, headers, text = await ask("GET", link)
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()

    assert f"'sha256-{digest}'" in headers["Content-Security-Policy"]
    for needed in ("min-height:44px", "prefers-color-scheme:dark"):
        assert needed in style[1]
    assert 'content="width=device-width' in text


async def test_other_methods_and_pages(home: FakeHome, link: str) -> None:
    """What the pages do not know is answered plainly: 405 with what is allowed, 404 for another address."""
    base = link.partition("/seen/")[0]
    status, headers, text = await ask("DELETE", link)
    assert (status, "does not work here" in text) == (405, True)
    assert {"GET", "HEAD", "POST"} <= set(headers["Allow"].split(","))
    for path in ("/", "/seen/", "/seen/a/b", "/../etc/passwd", "/%2e%2e/x"):
        status, _, text = await ask("GET", base + path)
        assert (status, "Traceback" in text) == (404, False)
    assert home.orders == []


@pytest.mark.parametrize("chunked", [False, True])
async def test_long_bodies(home: FakeHome, link: str, chunked: bool) -> None:
    """A body that is too long is refused, told beforehand or not, and nothing is ordered."""

    async def flood() -> AsyncIterator[bytes]:
        for _ in range(8):
            yield b"x" * 1024

    status, _, text = await ask("POST", link, data=flood() if chunked else b"x" * 8192)

    assert (status, "too long" in text) == (413, True)
    assert home.orders == []


async def test_fault_of_our_own(home: FakeHome, link: str, caplog: pytest.LogCaptureFixture) -> None:
    """A mistake in the gateway gives a plain page and a line in the log, and no traceback to strangers."""
    home.sights = None  # type: ignore[assignment]
    status, headers, text = await ask("GET", link)

    assert (status, "Traceback" in text, "could not be done" in text) == (500, False, True)
    assert "Content-Security-Policy" in headers
    assert "a page could not be shown" in caplog.text


async def test_store_that_takes_long(home: FakeHome, link: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the store takes long the page says so, the order stands, and nothing is cut off."""
    monkeypatch.setattr(button, "PATIENCE", 0.05)
    home.hold = asyncio.Event()
    status, _, text = await ask("POST", link)
    home.hold.set()

    assert (status, "busy writing" in text, len(home.orders)) == (200, True, 1)


async def test_hostile_requests(home: FakeHome, link: str) -> None:
    """Requests that are no HTTP, or have endless lines or headers, get a refusal or nothing, and order nothing."""
    path = "/seen/" + link.rpartition("/")[2]
    for text in (
        b"\x16\x03\x01\x02\x00\x01\x00",
        b"POST " + path.encode() + b" HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
        b"POST " + path.encode() + b" HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET /" + b"a" * 20_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"b" * 20_000 + b"\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n\r\n",
    ):
        answer = await raw(link.partition("/seen/")[0], text + b"\r\n\r\n")
        assert b"Traceback" not in answer
        assert answer == b"" or b" 400 " in answer.partition(b"\r\n")[0]
    assert home.orders == []
    status, _, _ = await ask("GET", link)
    assert status == 200
