"""Hear the sensors of a real broker."""

import asyncio
import time

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from gatewayd.clock import SystemClock
from gatewayd.model.house import Sensor
from gatewayd.model.reading import Arrival, Heard
from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import CELLAR, PORCH, make_source, running
from tests.sources.fakebroker import FakeBroker
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig


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
    assert intake.asked >= 2  # fewer than 20: an old broker sends more than its window


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
