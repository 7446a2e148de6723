"""Somebody leafs through the pages: each that was left makes room for the next."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.web.live import OF_ONE
from tests.web.open_house import open_house

pytestmark = pytest.mark.rig


async def test_pages_that_were_left_take_no_place(tmp_path: Path) -> None:
    """Who opens more pages one after another than may be open at once is kept up to date on the last, too."""
    async with open_house(tmp_path) as house:
        session, live = house.phone.session, f"{house.begins}/live"
        for _ in range(OF_ONE + 1):
            left = await session.get(live)
            assert left.status == 200
            left.close()
            await asyncio.sleep(0.01)  # the gateway hears of it by the network
        open_ones = [await session.get(live) for _ in range(OF_ONE)]
        one_too_many = await session.get(live)
        for one in (*open_ones, one_too_many):
            one.close()

    assert {one.status for one in open_ones} == {200}
    assert one_too_many.status == 503
