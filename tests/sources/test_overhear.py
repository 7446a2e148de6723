"""Overhearing a broker: everything is shown, nothing of the daemon's session is touched."""

import asyncio
from contextlib import suppress

import pytest

from gatewayd.model.route import Secret
from gatewayd.sources.overhear import OverhearError, overhear
from tests.rigs.broker import Mosquitto
from tests.rigs.publisher import Publisher

pytestmark = pytest.mark.rig


async def test_every_topic_is_overheard() -> None:
    """Messages on any topic come with their topic, payload and whether the broker had kept them."""
    got: list[tuple[str, bytes, bool]] = []
    with Mosquitto() as broker, Publisher(broker) as sensor:
        sensor.send("house/kept", "-17", retain=True)
        sensor.wait()
        listening = asyncio.create_task(overhear(broker.settings(), lambda *one: got.append(one)))
        async with asyncio.timeout(10):
            while ("house/live", b"-18", False) not in got:
                sensor.send("house/live", "-18")
                await asyncio.sleep(0.05)
        listening.cancel()
        with suppress(asyncio.CancelledError):
            await listening

    assert ("house/kept", b"-17", True) in got


async def test_refusal_is_said() -> None:
    """A wrong password and a broker that is not there are told in a sentence."""
    with Mosquitto() as broker:
        with pytest.raises(OverhearError, match="refused the connection"):
            await overhear(broker.settings(password=Secret("wrong")), lambda *_: None)
        broker.down()
        with pytest.raises(OverhearError, match="could not be reached"):
            await overhear(broker.settings(), lambda *_: None)


async def test_flood_is_bounded() -> None:
    """Of a flood the newest messages are handed on in batches, and this loop goes on with its own work meanwhile."""
    got: list[bytes] = []
    turns = 0
    with Mosquitto() as broker, Publisher(broker, window=1000) as sensor:
        listening = asyncio.create_task(overhear(broker.settings(), lambda _topic, payload, _kept: got.append(payload)))
        async with asyncio.timeout(15):
            while b"begun" not in got:
                sensor.send("house/flood", "begun")
                await asyncio.sleep(0.05)
            for number in range(5000):
                sensor.send("house/flood", f"{number}")
            while b"over" not in got:  # again and again: the broker drops what a slow listener does not take
                sensor.send("house/flood", "over")
                turns += 1
                await asyncio.sleep(0.01)
        listening.cancel()
        with suppress(asyncio.CancelledError):
            await listening

    assert turns > 10
