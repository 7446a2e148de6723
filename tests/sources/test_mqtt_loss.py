"""Nothing is lost when the broker or the daemon falls over, with the settings that the README asks for."""

import asyncio
import signal

import pytest

from gatewayd.model.reading import Arrival
from tests.rigs.broker import Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import running
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig

MESSAGES = 1_000


async def stream(publisher: Publisher, messages: int) -> None:
    """Publish numbered messages, about a thousand a second."""
    for number in range(messages):
        publisher.send("house/porch", str(number))
        if number % 10 == 9:
            await asyncio.sleep(0.01)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
async def test_broker_falls(broker: Mosquitto, how: signal.Signals) -> None:
    """A broker that is restarted, or killed, under load costs no message that its sensor would send again."""
    intake = RememberingIntake()
    with Publisher(broker, keeps=5) as publisher:
        async with running(broker.settings(), intake):
            await eventually(lambda: intake.up, "up")
            sending = asyncio.create_task(stream(publisher, MESSAGES))
            await eventually(lambda: len(intake.heard) > MESSAGES // 4, "load")
            await asyncio.to_thread(broker.down, how)
            await asyncio.to_thread(broker.up)
            await sending
            await eventually(lambda: len(set(intake.payloads)) >= MESSAGES, "all", 20)

    assert set(intake.payloads) == {str(number).encode() for number in range(MESSAGES)}


async def test_we_fall(broker: Mosquitto) -> None:
    """A daemon that dies without a word, twice, under load, hears every message that it had not acknowledged again."""
    heard: set[bytes] = set()
    first = RememberingIntake()
    async with running(broker.settings(), first):
        await eventually(lambda: first.up, "the session begins")
    with Publisher(broker) as publisher:
        sending = asyncio.create_task(stream(publisher, MESSAGES))
        for enough in (MESSAGES // 4, MESSAGES // 2, MESSAGES):
            intake = RememberingIntake()
            async with running(broker.settings(), intake) as source:
                await eventually(lambda i=intake, e=enough: len(heard.union(i.payloads)) >= e, "load", 20)
                heard.update(intake.payloads)
                source._link._pump.close()  # as a kill would: acknowledgements on their way are lost, no farewell
        await sending

    assert heard == {str(number).encode() for number in range(MESSAGES)}


async def test_away_for_long(broker: Mosquitto) -> None:
    """A backlog of 2 000 through a window of 20 comes whole and in order, all of it late, with memory bounded."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
    with Publisher(broker) as publisher:
        publisher.send_all(("house/porch", str(number)) for number in range(2_000))
        await asyncio.to_thread(publisher.wait)
    most = 0
    async with running(broker.settings(), intake) as source:
        while len(intake.heard) < 2_000:
            before = len(intake.heard)
            await eventually(lambda b=before: len(intake.heard) > b, "more")
            most = max(most, source.unacknowledged)

    assert intake.payloads == [str(number).encode() for number in range(2_000)]
    assert {heard.arrival for heard in intake.heard} == {Arrival.LATE}
    assert most < 2_000
