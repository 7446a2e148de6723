"""The front page, through the real gateway: one sentence, a row a freezer, and what can be done at once."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.moment import MINUTE
from tests.web.living import cold, warm
from tests.web.open_house import open_house
from tests.web.phone import Phone
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

HOSTILE = '<script>alert(1)</script>=HYPERLINK("x") \u202eabc \U0001f525'


async def test_calm_house(tmp_path: Path) -> None:
    """A house in which all is well says so in one sentence, and shows temperature, age and state of its freezer."""
    async with open_house(tmp_path) as house:
        await cold(house)
        page = await house.phone.get("/")

    assert page.status == 200
    assert "<h1" in page.text
    assert page.text.count("<h1") == 1
    assert "Shed chest is holding" in page.words
    assert "−18." in page.words
    assert "heard just now" in page.words
    assert "Cold enough." in page.words
    assert "/freezer/shed-chest" in page.links
    assert "48 hours" in page.words
    assert "I have seen it" not in page.text


async def test_alarm_is_told_and_acknowledged(tmp_path: Path) -> None:
    """An alarm is the sentence with what to do; one tap says that it was seen, a second that it was already."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await warm(house)
        page = await house.phone.get("/")
        number = dict(page.sheet("/acknowledge").fields)["alarm"]
        other = list(page.sheet("/acknowledge").fields)
        seen = await house.phone.press("/acknowledge", has={"alarm": number})
        again = await house.phone.post(
            "/acknowledge", [pair for pair in other if pair[0] != "key"] + [("key", "another-phone")]
        )

    assert "Shed chest is too warm, −9.5 °C" in page.words
    assert "What to do now:" in page.words
    assert page.size < 20_000
    assert (seen.status, seen.path) == (200, "/")
    assert f"({number}): acknowledged." in seen.words
    assert "Ann has seen it" in seen.words
    assert "already acknowledged" in again.words
    assert ("alarm", number) not in [pair for sheet in seen.sheets for pair in sheet.fields]


async def test_acknowledge_of_nothing(tmp_path: Path) -> None:
    """What is no number of an alarm acknowledges nothing, and says what is wrong."""
    async with open_house(tmp_path) as house:
        await warm(house)
        for number in ("", "nine", "-1", "1e99", "9" * 600):
            page = await house.phone.get("/")
            fields = [pair for pair in page.sheet("/acknowledge").fields if pair[0] != "alarm"]
            page = await house.phone.post("/acknowledge", [*fields, ("alarm", number)])
            assert page.status == 200
            assert "Not done." in page.words
            assert "I have seen it" in page.text


async def test_silent_freezer_is_loud(tmp_path: Path) -> None:
    """A freezer that has not been heard for long is not called cold; its row says for how long."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await house.clock.advance(45 * MINUTE)
        page = await house.phone.get("/")

    assert "Shed chest has not been heard for 45 min" in page.words
    assert "<strong>not heard for 45 min</strong>" in page.text
    assert "was −18." in page.words
    assert "is holding" not in page.words


async def test_gateway_says_what_ails_it(tmp_path: Path) -> None:
    """A source that is away, and messages that wait, are said in a line each."""
    async with open_house(tmp_path) as house:
        await cold(house)
        well = await house.phone.get("/")
        house.gateway.source_up("home", up=False, reason="it refused the password")
        await warm(house)
        page = await house.phone.get("/")

    assert "It hears its sources, and messages get out." in well.words
    assert "Home broker is not reachable: it refused the password." in page.words
    assert "wait to be sent." in page.words or "waits to be sent." in page.words


async def test_who_may_only_look_sees_no_button(tmp_path: Path) -> None:
    """Whoever came by a link to look sees the alarm and nothing to tap."""
    async with open_house(tmp_path) as house:
        await warm(house)
        word = await asyncio.to_thread(house.lock.add_link, "kitchen", "ann", SystemClock().now().wall)
        async with Phone(house.begins) as guest:
            await guest.get(f"/look/{word}")
            if guest.page.sheets:
                await guest.press(guest.page.sheets[0].action)
            pages = [await guest.get("/"), await guest.get("/freezer/shed-chest")]

    for page in pages:
        assert "Shed chest is too warm" in page.words
        assert {sheet.action for sheet in page.sheets} <= {"/sign-out"}
        assert "I have seen it" not in page.words


async def test_names_are_text(tmp_path: Path) -> None:
    """A freezer whose name is a script, a formula or written backwards is shown as it was written."""
    name = HOSTILE.replace('"', "'") + "x" * 20
    settings = OWN.replace("name: Shed chest", f'name: "{name}"', 1)
    async with open_house(tmp_path, settings=settings) as house:
        await cold(house)
        page = await house.phone.get("/")
        one = await house.phone.get("/freezer/shed-chest")

    for each in (page, one):
        assert "<script>alert" not in each.text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in each.text
