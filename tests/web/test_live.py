"""Open pages are told what changes, soon; and nobody is told who should not be."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.moment import SECOND
from gatewayd.web import live as live_module
from gatewayd.web.live import LOOK, MOST, OF_ONE, Live
from gatewayd.web.visitor import Visitor
from tests.fakes.clock import FakeClock
from tests.web.home import serving
from tests.web.living import cold, warm
from tests.web.open_house import open_house
from tests.web.phone import Phone

SOON = 3.0  # s of real time within which an alarm is on every open page


class Pulse:
    """Be a house of which only the pulse is asked."""

    def __init__(self) -> None:
        """Begin with nothing happened."""
        self.event, self.heard, self.asked = 0, 0, 0

    def pulse(self) -> tuple[int, int]:
        """Return what the test set."""
        self.asked += 1
        return self.event, self.heard


async def told(answer: aiohttp.ClientResponse) -> str:
    """Return the name of the next event of a stream."""
    while True:
        line = await answer.content.readline()
        if not line:
            return "end"
        if line.startswith(b"event: "):
            return line.removeprefix(b"event: ").decode().strip()


@contextlib.asynccontextmanager
async def page(begins: str, phone: int = 1) -> AsyncIterator[aiohttp.ClientResponse]:
    """Open one page's stream on a phone, which has an address and a sign-in of its own."""
    connector = aiohttp.TCPConnector(local_addr=(f"127.0.0.{phone}", 0))
    async with (
        aiohttp.ClientSession(connector=connector) as session,
        session.get(f"{begins}/live?phone={phone}") as answer,
    ):
        yield answer


async def gone(part: Live, clock: FakeClock) -> None:
    """Wait until nobody looks any more: a page that was closed is noticed at the next look."""
    async with asyncio.timeout(5):
        while part.looking:
            await clock.advance(LOOK)
            await asyncio.sleep(0.01)


@pytest.mark.rig
async def test_an_alarm_is_on_the_page_soon(tmp_path: Path) -> None:
    """An open page hears of an alarm within three seconds."""
    async with open_house(tmp_path) as house:
        await cold(house)
        async with house.phone.session.get(f"{house.begins}/live") as stream:
            assert await told(stream) == "alive"
            await warm(house)
            async with asyncio.timeout(SOON):
                assert await told(stream) == "changed"


@pytest.mark.rig
async def test_nobody_listens_who_has_signed_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stream of a page ends soon after its sign-in was ended, or its link taken back."""
    monkeypatch.setattr(live_module, "ALIVE", SECOND // 10)
    monkeypatch.setattr(live_module, "LOOK", SECOND // 10)
    async with open_house(tmp_path) as house:
        word = await asyncio.to_thread(house.lock.add_link, "kitchen", "ann", SystemClock().now().wall)
        async with Phone(house.begins) as guest:
            await guest.get(f"/look/{word}")
            async with (
                house.phone.session.get(f"{house.begins}/live") as own,
                guest.session.get(f"{house.begins}/live") as looking,
            ):
                assert [await told(own), await told(looking)] == ["alive", "alive"]
                await asyncio.to_thread(house.lock.drop_link, house.lock.links[0].id)
                async with asyncio.timeout(5):
                    while await told(looking) != "end":
                        pass
                assert await told(own) == "alive"
                await house.phone.get("/")
                await house.phone.press("/sign-out")
                async with asyncio.timeout(5):
                    while await told(own) != "end":
                        pass
        stranger = await house.phone.get("/live")

    assert (stranger.status, stranger.text) == (204, "")  # by which a browser asks no more


@pytest.fixture
def welcome(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let everybody in, signed in on the phone that they say: there is no gate before these pages."""
    monkeypatch.setattr(live_module, "still_welcome", lambda _request: True)
    monkeypatch.setattr(
        live_module,
        "signed_in",
        lambda request: Visitor("ann", "Ann", may_order=True, session=request.query["phone"], csrf=""),
    )


@pytest.mark.rig
@pytest.mark.usefixtures("welcome")
async def test_many_pages_are_capped_and_all_hear() -> None:
    """All open pages hear the same from one look; one page too many is told to come again; closing makes room."""
    home, clock = Pulse(), FakeClock()
    part = Live(home, clock)  # type: ignore[arg-type]
    async with serving([part]) as (begins, _), contextlib.AsyncExitStack() as stack:
        streams = [await stack.enter_async_context(page(begins, 1 + n // OF_ONE)) for n in range(MOST)]
        for stream in streams:
            assert await told(stream) == "alive"
        async with page(begins, 9) as refused:
            assert (refused.status, refused.headers["Retry-After"]) == (503, "60")
        home.event, asked = 1, home.asked
        await clock.advance(LOOK)
        assert home.asked == asked + 1
        assert {await told(stream) for stream in streams} == {"changed"}
        streams[0].close()
        async with asyncio.timeout(5):
            while part.listening == MOST:
                await clock.advance(LOOK)
                await asyncio.sleep(0.01)
        again = await stack.enter_async_context(page(begins))
        assert again.status == 200


@pytest.mark.rig
@pytest.mark.usefixtures("welcome")
async def test_one_phone_leaves_room() -> None:
    """Who opens page after page is told to come again, and the pages of all others hear as before."""
    async with (
        serving([Live(Pulse(), FakeClock())]) as (begins, _),  # type: ignore[list-item, arg-type]
        contextlib.AsyncExitStack() as stack,
    ):
        opened = [await stack.enter_async_context(page(begins)) for _ in range(OF_ONE + 1)]
        other = await stack.enter_async_context(page(begins, 2))

    assert [answer.status for answer in opened] == [200] * OF_ONE + [503]
    assert other.status == 200


@pytest.mark.rig
@pytest.mark.usefixtures("welcome")
async def test_readings_settle_and_silence_is_alive() -> None:
    """Readings alone are told once they have settled; a quiet house says that it is there."""
    home, clock = Pulse(), FakeClock()
    async with serving([Live(home, clock)]) as (begins, _), page(begins) as stream:  # type: ignore[list-item, arg-type]
        assert await told(stream) == "alive"
        heard: list[str] = []
        for second in range(0, 40, 2):
            home.heard = min(12, second)
            await clock.advance(2 * SECOND)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(0.02):
                    heard.append(await told(stream))

    assert heard == ["changed", "changed", "alive"]


@pytest.mark.rig
@pytest.mark.usefixtures("welcome")
async def test_no_page_no_look_and_a_clean_end() -> None:
    """With no page open nobody looks; a server that stops ends the streams at once and leaves nothing running."""
    home, clock = Pulse(), FakeClock()
    part = Live(home, clock)  # type: ignore[arg-type]
    async with serving([part]) as (begins, server):
        async with page(begins) as stream:
            assert await told(stream) == "alive"
            assert part.looking
        await gone(part, clock)
        asked = home.asked
        await clock.advance(60 * SECOND)
        assert home.asked == asked
        async with page(begins) as stream:
            assert await told(stream) == "alive"
            async with asyncio.timeout(5):
                await server.close()
                with contextlib.suppress(aiohttp.ClientError):
                    assert await told(stream) == "end"
        await gone(part, clock)

    assert not [task for task in asyncio.all_tasks() if task.get_name() == "look for open pages"]
