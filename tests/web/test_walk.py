"""The walk from box to box: one question a page, what is said is written down at once, and the alarm ends by it."""

from pathlib import Path

import pytest

from gatewayd.alarm.kinds import HIGHHIGH
from tests.web.open_house import Opened
from tests.web.phone import Page, Phone
from tests.web.thawed import thawed

pytestmark = pytest.mark.rig


async def say(phone: Phone, answer: str, **more: str) -> Page:
    """Tap one of the big buttons of the open page."""
    action = next(sheet.action for sheet in phone.page.sheets if sheet.action.endswith("/walk"))
    return await phone.press(action, say=answer, **more)


def latched(house: Opened) -> bool:
    """Return whether the alarm waits for the food to be checked."""
    return house.gateway.watch.alarms.get("shed-chest", HIGHHIGH).latched


async def test_whole_walk(tmp_path: Path) -> None:
    """Two baskets are gone through with taps alone; at the end all is decided, the loss is told, the alarm is over."""
    async with thawed(tmp_path) as (house, way):
        phone = house.phone
        assert latched(house)
        first = await phone.get(f"{way}/walk")
        differ = await say(phone, "each")  # low basket: apple juice, plums, venison
        await say(phone, "yes")
        warm = await say(phone, "no")
        await say(phone, "yes")
        third = await say(phone, "yes")  # the last of the three is cold
        verdicts = await say(phone, "no")
        print(verdicts.words)
