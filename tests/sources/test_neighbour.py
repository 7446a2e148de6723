"""What a shared broker says of another household's gateway; the rules alone, and with a real broker and a real kill."""

import asyncio
import contextlib
import json
import random
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.house import Neighbour
from gatewayd.model.moment import MINUTE
from gatewayd.sources import refusal
from gatewayd.sources.mqtt import MqttSource
from gatewayd.sources.neighbour import Standing, topics_of
from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import PORCH
from tests.sources.intake import RememberingIntake, eventually

TOPIC = "gatewayd/elm-road/status"
ELM = Neighbour("elm-road", "Elm Road", 30 * MINUTE, "shed", TOPIC)

# A gateway of its own in a process of its own: it connects, says up, leaves its will, and hears nothing.
GATEWAY = """
import asyncio, json, random, sys
from gatewayd.clock import SystemClock
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker
from gatewayd.sources import refusal
from gatewayd.sources.mqtt import MqttSource

class Intake:
    hear = beat = source_up = remark = lambda self, *_: None
    commit_soon = last_commit = lambda self: None

port, user, password = json.loads(sys.argv[1])
broker = Broker("shed", "Shed", "127.0.0.1", "gatewayd-elm-road", "gatewayd/elm-road", port=port, user=user,
                password=Secret(password))
asyncio.run(MqttSource(broker, [], Intake(), SystemClock(), random.Random()).run())
"""


@contextmanager
def elm_road(broker: Mosquitto) -> Iterator[subprocess.Popen[bytes]]:
    """Run Elm Road's gateway; it is killed at the end if it still lives."""
    words = json.dumps([broker.port, KEEPER, KEEPER_PASSWORD])
    process = subprocess.Popen([sys.executable, "-c", GATEWAY, words])
    try:
        yield process
    finally:
        process.kill()
        process.wait(10)


@asynccontextmanager
async def heron_lane(broker: Mosquitto, intake: RememberingIntake, *neighbours: Neighbour) -> AsyncIterator[MqttSource]:
    """Run the source under test, which hears of Elm Road."""
    source = MqttSource(broker.settings(), [PORCH], intake, SystemClock(), random.Random(5), neighbours or (ELM,))
    task = asyncio.create_task(source.run())
    intake.source = source
    try:
        await eventually(lambda: intake.up, "up")
        yield source
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


@pytest.mark.rig
async def test_killed_gateway(broker: Mosquitto) -> None:
    """A gateway that comes up is heard; killed, the broker says so in its place; back, it lives again."""
    intake = RememberingIntake()
    async with heron_lane(broker, intake):
        with elm_road(broker) as process:
            await eventually(lambda: intake.beats == [("elm-road", True)], "it came up")
            process.send_signal(signal.SIGKILL)
            await eventually(lambda: intake.beats[1:] == [("elm-road", False)], "the will of the killed one")
        with elm_road(broker):
            await eventually(lambda: intake.beats[2:] == [("elm-road", True)], "it is back")
    assert intake.heard == []
    assert intake.remarks == []


@pytest.mark.rig
async def test_what_the_broker_kept(broker: Mosquitto) -> None:
    """A retained `up` proves no life, a retained `down` counts, and both are asked for at every connection."""
    with Publisher(broker) as publisher:
        for word, beats in (("up", set()), ("", set()), ("down", {("elm-road", False)}), ("", {("elm-road", False)})):
            if word:
                publisher.send("house/elm", word, retain=True)
                publisher.wait()
            intake = RememberingIntake()
            async with heron_lane(broker, intake, Neighbour("elm-road", "Elm Road", MINUTE, "shed", "house/elm")):
                await eventually(lambda i=intake: i.source._lateness.settled, "all the broker had")
            assert set(intake.beats) == beats


@pytest.mark.rig
async def test_backlog(broker: Mosquitto) -> None:
    """What was said while this gateway was away proves no life; a `down` in it counts, and is taken back by an `up`."""
    neighbour = Neighbour("elm-road", "Elm Road", MINUTE, "shed", "house/elm")
    intake = RememberingIntake()
    async with heron_lane(broker, intake, neighbour) as source:
        await eventually(lambda: source._lateness.settled, "the marker")
    with Publisher(broker) as publisher:
        for word in ("up", "down", "up", "up"):
            publisher.send("house/elm", word)
        publisher.wait()
        intake = RememberingIntake()
        async with heron_lane(broker, intake, neighbour) as source:
            await eventually(lambda: source._lateness.settled, "the backlog")
            assert intake.beats == [("elm-road", False), ("elm-road", True)]
            publisher.send("house/elm", "up")
            await eventually(lambda: intake.beats[2:] == [("elm-road", True)], "a live one")
            assert source.unacknowledged == 0


@pytest.mark.rig
async def test_topic_that_may_not_be_read(broker: Mosquitto) -> None:
    """A broker that refuses the topic is told of with the neighbour's id, and sensors are heard all the same."""
    intake = RememberingIntake()
    odd = Neighbour("elm-road", "Elm Road", MINUTE, "shed", "house/elm")
    async with heron_lane(broker, intake, odd) as source:
        source._link._asked_for[999] = ["house/elm"]
        code = type("Code", (), {"value": 0x87})()
        source._link._on_subscribe(None, None, 999, [code], None)  # as a broker that refuses with a reason does
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "-18.5")
            await eventually(lambda: intake.heard, "the sensor")
    assert intake.remarks == [refusal.unheard(0x87, "house/elm", ("elm-road",))]


def said(*words: tuple[bytes, bool]) -> tuple[list[tuple[str, bool]], list[str]]:
    """Let one topic say (payload, live) in turn; return beats and remarks."""
    intake, remarks = RememberingIntake(), []
    standing = Standing(TOPIC, ("elm-road",))
    for payload, live in words:
        standing.said(payload, intake, remarks.append, live=live)
    return intake.beats, remarks


@pytest.mark.parametrize(
    ("words", "beats"),
    [
        ([(b"up", True)], [True]),
        ([(b" UP\n", True)], [True]),
        ([(b"up", False)], []),
        ([(b"down", False)], [False]),
        ([(b"down", False), (b"up", False)], [False, True]),
        ([(b"down", True), (b"up", False), (b"up", False)], [False, True]),
        ([(b"down", True), (b"down", False), (b"up", True)], [False, False, True]),
    ],
)
def test_rules(words: list[tuple[bytes, bool]], beats: list[bool]) -> None:
    """Only a live `up` is life, `down` always counts, and a later `up` of any kind takes it back once."""
    assert said(*words) == ([("elm-road", up) for up in beats], [])


@pytest.mark.parametrize("payload", [b"online", b"\xff\x00", b"1", b"{" * 1000])
def test_other_words(payload: bytes) -> None:
    """Anything else moves nothing and is told to the keeper, shortened."""
    beats, remarks = said((payload, True))

    assert beats == []
    assert TOPIC in remarks[0]
    assert len(remarks[0]) < 300


@pytest.mark.parametrize("topic", ["", "gatewayd/+/status", "gatewayd/#", "a\0b", "house/porch"])
def test_topics_that_cannot_be(topic: str) -> None:
    """A pattern, nothing, or the topic of a sensor is refused with the neighbour's id."""
    with pytest.raises(ValueError, match="elm-road"):
        topics_of([Neighbour("elm-road", "Elm Road", MINUTE, "shed", topic)], {"house/porch": ()})


def test_two_on_one_topic() -> None:
    """Two neighbours who are told of by one topic both hear of it."""
    make: Callable[[str], Neighbour] = lambda who: Neighbour(who, who, MINUTE, "shed", TOPIC)  # noqa: E731
    intake = RememberingIntake()
    topics_of([make("elm-road"), make("oak-hill")], {})[TOPIC].said(b"up", intake, print, live=True)

    assert intake.beats == [("elm-road", True), ("oak-hill", True)]
