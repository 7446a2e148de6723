"""Hear the sensors of a real broker."""

import asyncio
import socket
import threading
import time

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from gatewayd.clock import SystemClock
from gatewayd.model.house import Sensor
from gatewayd.model.reading import Arrival, Heard
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker
from gatewayd.sources import link
from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, SENSOR, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import CELLAR, PORCH, make_source, running
from tests.sources.fakebroker import FakeBroker
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig


def nowhere(port: int, *, tls: bool = False) -> Broker:
    """Return settings for something on `port` that is no broker."""
    return Broker("shed", "Shed broker", "127.0.0.1", "gatewayd-heron-lane", "gatewayd/heron-lane", port=port, tls=tls)


def status_of(broker: Mosquitto) -> str:
    """Ask the broker for gatewayd's retained status."""
    seen: list[str] = []
    client = Client(CallbackAPIVersion.VERSION2, "onlooker")

    def on_message(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        seen.append(bytes(message.payload).decode())

    client.on_message = on_message
    client.username_pw_set(KEEPER, KEEPER_PASSWORD)
    client.connect("127.0.0.1", broker.port)
    client.subscribe("gatewayd/heron-lane/status", 1)
    deadline = time.monotonic() + 2
    while not seen and time.monotonic() < deadline:
        client.loop(0.05)
    client.disconnect()
    return seen[-1] if seen else ""


async def test_hear_by_mqtt_5(broker: Mosquitto) -> None:
    """What a sensor publishes is heard with source, sensor, bytes and time, by MQTT 5, and is live."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "-18.5")
            await eventually(lambda: intake.heard, "the reading")
        intake.commit()
        await eventually(lambda: source.unacknowledged == 0, "acknowledged")
    heard = intake.heard[0]

    assert heard == Heard("shed", "porch-air", b"-18.5", heard.at)
    assert abs(SystemClock().now().steady - heard.at.steady) < 10_000
    assert "as gatewayd-heron-lane (p5, c0" in broker.log()


async def test_fall_back() -> None:
    """A broker that knows only MQTT 3.1.1 is spoken to in it, at once, and without a word to the keeper."""
    intake = RememberingIntake()
    async with FakeBroker(versions={4}) as old, running(old.settings(), intake):
        await eventually(lambda: intake.up, "up")
    assert (old.asked, intake.ups) == ([5, 4], [(True, "connected")])


async def test_older_mqtt_whole(broker: Mosquitto) -> None:
    """By MQTT 3.1.1 the session lasts, the backlog is late, and a fresh message is live, as by MQTT 5."""
    intake = RememberingIntake()
    for life in (1, 2):
        source = make_source(broker.settings(), intake)
        source._version_5 = False
        task = asyncio.create_task(source.run())
        await eventually(lambda life=life: len(intake.ups) == life, "up")
        with Publisher(broker) as publisher:
            await eventually(lambda s=source: s._lateness.settled, "the marker")
            publisher.send("house/cellar", f"live {life}")
            await eventually(lambda life=life: f"live {life}".encode() in intake.payloads, "a live one")
            intake.commit()
            task.cancel()
            await asyncio.wait({task})
            publisher.send_all(("house/porch", f"kept {life} {n}") for n in range(5))
            await asyncio.to_thread(publisher.wait)

    assert intake.payloads == [b"live 1", *(f"kept 1 {n}".encode() for n in range(5)), b"live 2"]
    assert [heard.arrival for heard in intake.heard] == [Arrival.LIVE, *[Arrival.LATE] * 5, Arrival.LIVE]
    assert "(p2, c0" in broker.log()


async def test_remember_older_version() -> None:
    """The older version is remembered: after a lost link MQTT 5 is not tried again."""
    intake = RememberingIntake()
    async with FakeBroker(versions={4}) as old, running(old.settings(), intake):
        await eventually(lambda: intake.up, "up")
        old.hang_up()
        await eventually(lambda: len(old.asked) == 3, "back again")
    assert old.asked == [5, 4, 4]


async def test_hang_up_on_version() -> None:
    """A broker that hangs up on MQTT 5 instead of refusing it is tried with 3.1.1 next."""
    intake = RememberingIntake()
    async with FakeBroker(versions={4}, rude=True) as old, running(old.settings(), intake):
        await eventually(lambda: intake.up, "up")
    assert old.asked == [5, 4]


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


async def test_status_topic(broker: Mosquitto) -> None:
    """Others can see whether gatewayd is up, after an orderly stop as after a crash."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
        while_up = await asyncio.to_thread(status_of, broker)
    after_stop = await asyncio.to_thread(status_of, broker)
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: len(intake.ups) == 2, "up again")
        source._link._pump.close()  # as if the process died: no farewell
        for _ in range(50):
            if (after_crash := await asyncio.to_thread(status_of, broker)) == "down":
                break

    assert (while_up, after_stop, after_crash) == ("up", "down", "down")


async def test_shared_topic(broker: Mosquitto) -> None:
    """Sensors that share a topic each hear it, in order, and one receipt stands for all."""
    lid = Sensor("porch-lid", "Porch lid", "shed", "house/porch")
    intake = RememberingIntake()
    async with running(broker.settings(), intake, PORCH, lid) as source:
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "{}")
            await eventually(lambda: len(intake.heard) == 2, "both")
        receipts = len(intake.receipts)
        waiting = source.unacknowledged

    assert [heard.sensor for heard in intake.heard] == ["porch-air", "porch-lid"]
    assert (receipts, waiting) == (1, 1)


async def test_retained_and_empty(broker: Mosquitto) -> None:
    """A retained value is marked as such, and the empty payload that deletes it is no reading."""
    intake = RememberingIntake()
    with Publisher(broker) as publisher:
        publisher.send("house/porch", "-18.0", retain=True)
        publisher.wait()
        async with running(broker.settings(), intake) as source:
            await eventually(lambda: intake.heard, "the retained value")
            publisher.send("house/porch", "", retain=True)
            publisher.send("house/porch", "-17.5", retain=True)
            publisher.send("house/cellar", "-19.0")
            await eventually(lambda: len(intake.heard) == 3, "the rest")
            intake.commit()
            await eventually(lambda: source.unacknowledged == 0, "acknowledged")

    assert [(heard.payload, heard.arrival) for heard in intake.heard] == [
        (b"-18.0", Arrival.RETAINED),
        (b"-17.5", Arrival.LIVE),  # heard as it was published, whatever the broker keeps of it
        (b"-19.0", Arrival.LIVE),
    ]


async def test_retained_once(broker: Mosquitto) -> None:
    """A resumed MQTT 5 session does not bring the old retained values again."""
    intake = RememberingIntake()
    with Publisher(broker) as publisher:
        publisher.send("house/porch", "-18.0", retain=True)
        publisher.wait()
    for ups in (1, 2):
        async with running(broker.settings(), intake):
            await eventually(lambda ups=ups: len(intake.ups) == ups, "up")
            await eventually(lambda: intake.heard, "the retained value")
            intake.commit()
            with Publisher(broker) as publisher:
                publisher.send("house/cellar", f"live {ups}")
                await eventually(lambda ups=ups: f"live {ups}".encode() in intake.payloads, "a live one")
            intake.commit()

    assert intake.payloads.count(b"-18.0") == 1


async def test_window(broker: Mosquitto) -> None:
    """With a window of 20 and nothing acknowledged unasked, 200 messages flow because half a window asks."""
    intake = RememberingIntake()
    async with running(broker.settings(window=20), intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send_all(("house/porch", str(n)) for n in range(200))
            await eventually(lambda: len(intake.heard) == 200, "all")

    assert intake.payloads == [str(n).encode() for n in range(200)]
    assert intake.asked >= 10


async def test_withheld(broker: Mosquitto) -> None:
    """What is not acknowledged comes again on the next connection, late and in order."""
    intake = RememberingIntake(commits=False)
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send_all(("house/porch", str(n)) for n in range(10))
            await eventually(lambda: len(intake.heard) == 10, "the first time")
    again = RememberingIntake()
    async with running(broker.settings(), again):
        await eventually(lambda: len(again.heard) == 10, "the second time")

    assert again.payloads == [str(n).encode() for n in range(10)]
    assert {heard.arrival for heard in again.heard} == {Arrival.LATE}


async def test_huge_payload(broker: Mosquitto) -> None:
    """A payload of 1 MB is handed on cut to one byte over 64 KiB, and the link lives on."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", b"9" * 1_000_000)
            publisher.send("house/cellar", "-19.0")
            await eventually(lambda: len(intake.heard) == 2, "both")

    assert intake.payloads == [b"9" * (64 * 1024 + 1), b"-19.0"]
    assert len(intake.ups) == 1


async def test_monstrous_payload(broker: Mosquitto) -> None:
    """A message over 4 MiB does not come at all by MQTT 5, and the next one does."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", b"9" * 5_000_000)
            publisher.send("house/cellar", "-19.0")
            await eventually(lambda: intake.heard, "the small one")

    assert intake.payloads == [b"-19.0"]
    assert len(intake.ups) == 1


async def test_removed_sensor(broker: Mosquitto) -> None:
    """A topic that the session remembers from earlier settings is given up, and holds nothing back."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
    later = RememberingIntake()
    async with running(broker.settings(), later, CELLAR) as source:
        await eventually(lambda: later.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "-18.0")
            publisher.send("house/cellar", "-19.0")
            await eventually(lambda: later.heard, "the cellar")
        later.commit()
        await eventually(lambda: source.unacknowledged == 0, "acknowledged")

    assert later.payloads == [b"-19.0"]


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


async def test_qos_0(broker: Mosquitto) -> None:
    """A sensor that publishes without safe delivery is heard, and nobody waits for a receipt."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: intake.up, "up")
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "-18.5", qos=0)
            await eventually(lambda: intake.heard, "the reading")
        waiting = source.unacknowledged

    assert (intake.receipts, waiting) == ([], 0)


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
        await eventually(lambda: source._lateness is not None and source._lateness.settled, "the marker")
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
