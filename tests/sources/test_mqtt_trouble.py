"""What the source does when broker, network, rights or the house itself are in trouble."""

import asyncio
import socket
import threading
import time

import pytest

from gatewayd.model.house import Sensor
from gatewayd.model.reading import Arrival, Heard
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker
from gatewayd.sources import link
from tests.rigs.broker import SENSOR, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import make_source, running
from tests.sources.fakebroker import FakeBroker
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig


def nowhere(port: int, *, tls: bool = False) -> Broker:
    """Return settings for something on `port` that is no broker."""
    return Broker("shed", "Shed broker", "127.0.0.1", "gatewayd-heron-lane", "gatewayd/heron-lane", port=port, tls=tls)


async def test_wrong_password(broker: Mosquitto) -> None:
    """A wrong password is told with what to compare, once, and the password is not in it."""
    intake = RememberingIntake()
    async with running(broker.settings(password=Secret("wrong-pass")), intake):
        await eventually(lambda: broker.log().count("not authorised") >= 2, "two refusals")

    assert len(intake.ups) == 1
    up, reason = intake.ups[0]
    assert not up
    assert "user name or the password" in reason
    assert "wrong-pass" not in reason


async def test_refused_subscription() -> None:
    """A topic that the rights keep from us is told once, with the sensor; the others are heard."""
    intake = RememberingIntake()
    async with FakeBroker(versions={5}, deny={"house/porch"}) as strict, running(strict.settings(), intake):
        await eventually(lambda: intake.up, "up")
        strict.hang_up()
        await eventually(lambda: len(strict.asked) == 2, "back again")
        await eventually(lambda: intake.up, "up again")

    assert len(intake.remarks) == 1
    assert '"house/porch": its rights forbid it' in intake.remarks[0]
    assert "the sensor porch-air cannot be heard" in intake.remarks[0]


async def test_unreachable_then_up() -> None:
    """A broker that is not there at the start is found when it comes, and the keeper hears both."""
    rig = Mosquitto()
    intake = RememberingIntake()
    try:
        async with running(rig.settings(), intake):
            await eventually(lambda: intake.ups, "the bad news")
            rig.up()
            await eventually(lambda: intake.up, "up")
    finally:
        rig.__exit__()

    assert not intake.ups[0][0]
    assert f"nothing answers at 127.0.0.1, port {rig.port}" in intake.ups[0][1]


async def test_unknown_host(broker: Mosquitto) -> None:
    """A host name that does not exist is told as that."""
    intake = RememberingIntake()
    async with running(broker.settings(host="no-such-broker.invalid"), intake):
        await eventually(lambda: intake.ups, "the bad news")

    assert "no-such-broker.invalid cannot be found" in intake.ups[0][1]


async def test_two_with_one_id(broker: Mosquitto) -> None:
    """Two daemons with one client id find out, say why once each, and stop fighting for the place."""
    first, second = RememberingIntake(), RememberingIntake()
    async with running(broker.settings(), first):
        await eventually(lambda: first.up, "the first is up")
        async with running(broker.settings(), second):
            await eventually(lambda: first.remarks and second.remarks, "both notice")
            await eventually(lambda: first.up != second.up, "one yields")
            turns = len(first.ups) + len(second.ups)
            await asyncio.sleep(2)  # an ordinary wait would have ended by now
            turns_later = len(first.ups) + len(second.ups)

    assert turns_later == turns
    assert "another program signs in with the client id gatewayd-heron-lane" in first.remarks[0]
    assert (len(first.remarks), len(second.remarks)) == (1, 1)


async def test_restart_is_no_rival(broker: Mosquitto) -> None:
    """A daemon that was started anew, or a broker, is not taken for another program."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
    async with running(broker.settings(), intake):
        await eventually(lambda: len(intake.ups) == 2, "up again")
        broker.kill()
        broker.up()
        await eventually(lambda: len(intake.ups) == 4, "up once more")

    assert intake.remarks == []


async def test_intake_fails(broker: Mosquitto) -> None:
    """An exception of the intake ends the source and comes out of run; the message comes again later."""

    class Stumbling(RememberingIntake):
        def hear(self, heard: Heard, receipt: object | None) -> None:
            raise ArithmeticError("the watch stumbled")

    intake = Stumbling()
    source = make_source(broker.settings(), intake)
    task = asyncio.create_task(source.run())
    await eventually(lambda: intake.up, "up")
    with Publisher(broker) as publisher:
        publisher.send("house/porch", "-18.0")
        publisher.wait()
    with pytest.raises(ArithmeticError, match="the watch stumbled"):
        await asyncio.wait_for(task, 5)
    sound = RememberingIntake()
    async with running(broker.settings(), sound):
        await eventually(lambda: sound.heard, "the same message again")

    assert sound.payloads == [b"-18.0"]


@pytest.mark.parametrize("tls", [False, True])
async def test_stop_at_black_hole(tls: bool) -> None:
    """A broker that takes the connection and never answers holds a stop up for less than a second."""
    with socket.create_server(("127.0.0.1", 0)) as hole:
        source = make_source(nowhere(hole.getsockname()[1], tls=tls), RememberingIntake())
        task = asyncio.create_task(source.run())
        taken, _ = await asyncio.to_thread(hole.accept)
        await asyncio.sleep(0.1)  # it sits in the handshake, or waits for the greeting
        began = time.monotonic()
        task.cancel()
        await asyncio.wait({task}, timeout=5)
        took = time.monotonic() - began
        taken.close()
        await eventually(lambda: not any(t.name == "dial shed" for t in threading.enumerate()), "the thread ends")

    assert task.cancelled()
    assert took < 0.5


async def test_pause(broker: Mosquitto, monkeypatch: pytest.MonkeyPatch) -> None:
    """When too much is unacknowledged, reading stops until commits catch up, and then goes on to the end."""
    monkeypatch.setattr(link, "MOST_UNACKNOWLEDGED", 10)
    intake = RememberingIntake(commits=False)
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send_all(("house/porch", str(n)) for n in range(100))
            await asyncio.to_thread(publisher.wait)
            await eventually(lambda: len(intake.heard) == 10, "as many as are allowed")
            held = len(intake.heard)
            intake.commits = True
            intake.commit()
            await eventually(lambda: len(intake.heard) == 100, "all")

    assert held == 10
    assert intake.payloads == [str(n).encode() for n in range(100)]


async def test_computer_slept(broker: Mosquitto) -> None:
    """After the computer slept the link is made anew, so that what waited in the socket is late and not live."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: intake.up and source._lateness.settled, "the marker")
        source._link._ticked -= 46_000  # as if 46 s had passed since the last look, once and a half the keepalive
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "from before the nap")
            await eventually(lambda: intake.heard and len(intake.ups) == 3, "the reading")

    assert [up for up, _ in intake.ups] == [True, False, True]
    assert intake.arrivals(b"from before the nap") == [Arrival.LATE]


async def test_wrong_topic_refused(broker: Mosquitto) -> None:
    """A pattern instead of a topic is a mistake that is said before anything runs."""
    with pytest.raises(ValueError, match="without"):
        make_source(broker.settings(), RememberingIntake(), Sensor("porch-air", "Porch", "shed", "house/+"))


async def test_not_mqtt() -> None:
    """Something else than a broker behind the port ends the try with a sentence, not with a traceback."""

    async def nonsense(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n" * 5)
        await writer.drain()
        writer.close()
        await writer.wait_closed()

    intake = RememberingIntake()
    server = await asyncio.start_server(nonsense, "127.0.0.1", 0)
    async with server, running(nowhere(server.sockets[0].getsockname()[1]), intake):
        await eventually(lambda: intake.ups, "the bad news")

    assert not intake.up
    assert "127.0.0.1" in intake.ups[0][1]


async def test_sensor_user_may_not_read(broker: Mosquitto) -> None:
    """Rights that the broker enforces without a word leave the source up: silence of the sensor tells of it."""
    intake = RememberingIntake()
    async with running(broker.settings(user=SENSOR, password=Secret("plums and beans")), intake):
        await eventually(lambda: intake.up, "up")
        await eventually(lambda: intake.remarks, "a word on the marker")

    assert "gatewayd/heron-lane/marker" in intake.remarks[0] or "gatewayd/heron-lane/status" in intake.remarks[0]
