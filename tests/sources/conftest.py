"""A running source for the tests with a real broker."""

import asyncio
import contextlib
import itertools
import random
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.house import Sensor
from gatewayd.settings.typed import Broker
from gatewayd.sources.mqtt import MqttSource
from tests.rigs.broker import Mosquitto
from tests.sources.intake import RememberingIntake

PORCH = Sensor("porch-air", "Porch chest", "shed", "house/porch")
CELLAR = Sensor("cellar-air", "Cellar upright", "shed", "house/cellar")

_SEEDS = itertools.count(7)  # two sources are two programs, told apart by what they draw


def make_source(settings: Broker, intake: RememberingIntake, *sensors: Sensor) -> MqttSource:
    """Build a source with a seeded generator and the real clock."""
    source = MqttSource(settings, sensors or (PORCH, CELLAR), intake, SystemClock(), random.Random(next(_SEEDS)))
    intake.source = source
    return source


@asynccontextmanager
async def running(settings: Broker, intake: RememberingIntake, *sensors: Sensor) -> AsyncIterator[MqttSource]:
    """Run a source inside the block and stop it in order at its end; an exception of its own comes out here."""
    source = make_source(settings, intake, *sensors)
    task = asyncio.create_task(source.run(), name="source under test")
    try:
        yield source
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


@pytest.fixture
def broker() -> Iterator[Mosquitto]:
    """Run a broker with passwords and rights, set so that nothing is lost."""
    with Mosquitto() as rig:
        yield rig
