"""The front page, through the real gateway: one sentence, a row a freezer, and what can be done at once."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.alarm.kinds import HIGHHIGH, RISING
from gatewayd.clock import SystemClock
from gatewayd.model.moment import MINUTE
from tests.web.living import cold, live, warm
from tests.web.open_house import open_house
from tests.web.phone import Phone
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

HOSTILE = '<script>alert(1)</script>=HYPERLINK("x") نورا \U0001f525'


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
    assert "to be sent." in page.words


async def test_a_message_that_just_goes_is_no_warning(tmp_path: Path) -> None:
    """A moment after a tap a message is on its way, which frightens nobody; one that should have gone is told."""
    async with open_house(tmp_path) as house:
        await cold(house)
        while not house.home.status()["messages_waiting"]:
            await warm(house, 1)
        at_once = await house.phone.get("/")
        await live(house, [-9.5] * 10)
        later = await house.phone.get("/")

    assert "to be sent" not in at_once.words
    assert "to be sent." in later.words


async def test_one_tap_for_all_alarms_of_a_freezer(tmp_path: Path) -> None:
    """Two alarms of one freezer are seen with one tap, which says so; the other freezer's keeps its own."""
    async with open_house(tmp_path) as house:
        await cold(house)
        alarms, now = house.gateway.watch.alarms, house.clock.now()
        for kind in (HIGHHIGH, RISING):
            alarms.raise_(alarms.get("shed-chest", kind), now, now, {"value": -5.0})
        await house.gateway.commit()
        for path, to in (("/", "/acknowledge"), ("/freezer/shed-chest", "/freezer/shed-chest/acknowledge")):
            page = await house.phone.get(path)
            assert page.text.count("I have seen it") == 1
            assert "It counts for both alarms of this freezer." in page.words
            assert len([name for name, _ in page.sheet(to).fields if name == "alarm"]) == 2
        seen = await house.phone.press("/freezer/shed-chest/acknowledge")

    assert seen.words.count(": acknowledged.") == 2
    assert "I have seen it" not in seen.text


async def test_at_the_freezer_from_the_front_page(tmp_path: Path) -> None:
    """Who goes to a freezer says so on the front page; what is wrong stays told, and what comes at the end is said."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await warm(house)
        await house.phone.get("/")
        at = await house.phone.press("/freezer/shed-chest/at")
        now = await house.phone.get("/")
        done = await house.phone.press("/freezer/shed-chest/left")

    assert "What is still wrong then is told again at once, also what somebody has seen already." in at.words
    for page in (at, now):
        assert "Shed chest is too warm, −9.5 °C" in page.words
        assert "What to do now:" in page.words
    assert "is watched again as always" in done.words


async def test_who_may_only_look_sees_no_button(tmp_path: Path) -> None:
    """Whoever came by a link to look sees the alarm and nothing to tap."""
    async with open_house(tmp_path) as house:
        await warm(house)
        word = await asyncio.to_thread(house.lock.add_link, "kitchen", "ann", SystemClock().now().wall)
        async with Phone(house.begins) as guest:
            await guest.get(f"/look/{word}")
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
