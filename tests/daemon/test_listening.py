"""Somebody presses "Listen" on a page of the real daemon: what is nearby shows up, and is added."""

import asyncio
import contextlib
import itertools
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from urllib.parse import quote

import pytest

from gatewayd.clock import SystemClock
from gatewayd.daemon import listening
from gatewayd.daemon.listening import Listening
from gatewayd.model.moment import SECOND
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Radio, Settings, Storing
from tests.days.player import house
from tests.rigs.broker import Mosquitto, free_port
from tests.rigs.gateway import Gateway
from tests.rigs.publisher import Publisher
from tests.sources.air import BTHOME, CELLAR_UPRIGHT, CHEST, COMPANY, PORCH, SHED_CHEST, STEADY, Air, on_air, running
from tests.sources.intake import eventually
from tests.web.phone import Page, Phone

pytestmark = pytest.mark.rig

TOPIC = "house/cellar"


def settings(folder: Path, broker: Mosquitto | None = None, *, radio: bool = True, **changes: object) -> Settings:
    """Return a house with a radio, a broker, or neither."""
    radios = {"air": Radio("air", "The gateway's radio")} if radio else {}
    brokers = {"shed": broker.settings(**changes)} if broker else {}  # type: ignore[arg-type]
    file = folder / "gatewayd.yaml"
    return Settings(house(1), brokers, Storing(folder / "x.db"), folder / "door", (file,), file, radios=radios)


@contextlib.asynccontextmanager
async def opened(listener: Listening) -> AsyncIterator[Listening]:
    """Listen inside the block."""
    listener.begin()
    try:
        yield listener
    finally:
        await listener.close()


async def test_running_radio_hands_on_strangers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A radio that runs hands on everything while somebody listens, with its one scanner, and nothing afterwards."""
    monkeypatch.setattr(listening, "LASTS", SECOND)
    monkeypatch.setattr(listening, "LOOK", 100)
    async with on_air() as air:
        air.say = lambda: air.bluez.send(PORCH, services={BTHOME: STEADY}) and None
        async with running(air.source(SHED_CHEST)) as source:
            listener = Listening({"air": source, "shed": object()}, settings(tmp_path), SystemClock())
            await eventually(lambda: source.heard > 0, "it hears")
            before = source._on_any
            async with opened(listener):
                await eventually(lambda: listener.nearby.get("air", "air", PORCH) is not None, "the stranger")
                listening_until = listener.until
                await eventually(lambda: listener.until is None, "the end by itself")
            kept = listener.nearby.get("air", "air", PORCH)
            after = source._on_any

    assert (before, after) == (None, None)
    assert listening_until is not None
    assert kept is not None
    assert kept.newest() == {"service fcd2": STEADY}
    assert list(listener.troubles) == []
    assert air.intake.heard == []  # a stranger is nobody's sensor


async def test_passive_radio_is_opened_to_strangers(tmp_path: Path) -> None:
    """A radio that listens passively is built anew to hear strangers, and hears its own sensors before and after."""
    async with on_air() as air:
        numbers = itertools.cycle(range(256))  # a passive radio hears a message again only when it changed

        def say() -> None:
            number = next(numbers)
            for _ in range(2):  # the rig lets every other one through, as the service may
                air.bluez.send(PORCH, services={BTHOME: bytes((0x40, 0, number, 2, 4, 0xF8))})
            for _ in range(2):
                air.bluez.send(CELLAR_UPRIGHT.channel, makers={COMPANY: bytes((number, 1))})

        air.say = say
        async with running(air.source(CELLAR_UPRIGHT, mode="passive")) as source:
            listener = Listening({"air": source}, settings(tmp_path), SystemClock())
            await air.hears("its own sensor")
            async with opened(listener):
                await eventually(lambda: listener.nearby.get("air", "air", PORCH) is not None, "the stranger")
                await air.hears("its own sensor meanwhile")
            await air.hears("its own sensor afterwards")


async def test_house_without_a_radio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A house that has named no radio yet is heard with the computer's own; once it has one, that one hears alone."""
    monkeypatch.setattr(listening, "LOOK", 50)
    async with on_air() as air:
        sources: dict[str, object] = {}
        async with opened(Listening(sources, settings(tmp_path, radio=False), SystemClock())) as listener:
            await eventually(lambda: listener.nearby.get("air", "air", CHEST) is not None, "heard without a radio")
            sources["air"], listener.settings = air.source(), settings(tmp_path)
            async with running(sources["air"]):  # type: ignore[arg-type]
                await air.hears("the radio of the house", 20.0)


async def test_source_started_anew_is_told_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When a radio is started anew meanwhile, as after a sensor was added, the new one hands on what it hears."""
    monkeypatch.setattr(listening, "LOOK", 50)
    async with on_air() as air:
        first, second = air.source(), air.source()
        sources: dict[str, object] = {"air": first}
        async with opened(Listening(sources, settings(tmp_path), SystemClock())):
            await eventually(lambda: first._on_any is not None, "the first is told")
            sources["air"] = second
            await eventually(lambda: second._on_any is not None, "the second is told")

    assert second._on_any is None


async def test_broker_is_overheard_and_trouble_said(tmp_path: Path) -> None:
    """Topics of a broker are heard by a client of their own; one that refuses is named; another press moves the end."""
    with Mosquitto() as broker, Publisher(broker) as sensor:
        good = Listening({}, settings(tmp_path, broker), SystemClock())
        bad = Listening({}, settings(tmp_path, broker, password=Secret("wrong")), SystemClock())
        async with opened(good), opened(bad):
            async with asyncio.timeout(15):
                while good.nearby.get("broker", "shed", TOPIC) is None or not bad.troubles:
                    sensor.send(f"{broker.settings().own_topic}/status", "up")
                    sensor.send(TOPIC, "-18.6")
                    await asyncio.sleep(0.05)
            first = good.until
            await asyncio.sleep(0.01)
            good.begin()
            second = good.until
            still = good.nearby.get("broker", "shed", TOPIC)

    assert [found.channel for found in good.nearby] == [TOPIC]  # what gatewayd says itself is no sensor
    assert "refused the connection" in bad.troubles[0]
    assert first is not None
    assert second is not None
    assert second > first
    assert still is not None
    assert good.until is None


RADIO = """
radios:
  garage: {adapter: first}
"""


async def see(phone: Phone, path: str, condition: Callable[[Page], bool], what: str, seconds: float = 25.0) -> Page:
    """Load a page again and again until a condition holds."""
    deadline = time.monotonic() + seconds
    while not condition(page := await phone.get(path)):
        if time.monotonic() > deadline:
            pytest.fail(f"not in time: {what}\n{page.words[:2000]}")
        await asyncio.sleep(0.2)
    return page


async def talk(air: Air, sensor: Publisher) -> None:
    """Be on the air and at the broker for ever: two thermometers that the house does not know."""
    while True:
        air.bluez.send(CHEST, services={BTHOME: STEADY})
        await air.bluez.flush()
        sensor.send(TOPIC, '{"temperature": -18.6, "room_temp": 21.5}')
        await asyncio.sleep(0.1)


async def add(phone: Phone, way: str, name: str, **fields: str) -> Page:
    """Tap a row, fill the form in, look at it, and add it."""
    await phone.get(way)
    look = await phone.press(way, name=name, **fields)
    assert look.status == 200, look.words
    return await phone.press(way)


async def test_unknown_sensors_are_heard_and_added(tmp_path: Path) -> None:
    """Press "Listen": an unknown topic and an unknown advertisement are listed; added by the form, they are read."""
    port = free_port()
    besides = f"pages: {{listen: '127.0.0.1:{port}', address: 'http://127.0.0.1:{port}'}}{RADIO}"
    topic = f"/sensors/nearby/add?way=broker&source=shed&channel={quote(TOPIC, safe='')}"
    radio = f"/sensors/nearby/add?way=air&source=garage&channel={quote(CHEST, safe='')}"
    async with on_air() as air:
        with Mosquitto() as broker, Publisher(broker) as sensor:
            gateway = Gateway(tmp_path, broker, besides=besides)
            gateway.env |= {"DBUS_SYSTEM_BUS_ADDRESS": air.bus.address}
            await asyncio.to_thread(gateway.up)
            talking = asyncio.create_task(talk(air, sensor))
            try:
                async with Phone(f"http://127.0.0.1:{port}") as phone:
                    said = await asyncio.to_thread(gateway.command, "pages", "code")
                    code = said.stdout.rpartition("The code is ")[2][:9]
                    await phone.set_up(code)
                    quiet = await phone.get("/sensors/nearby")
                    await phone.press("/sensors/nearby")
                    heard = await see(
                        phone, "/sensors/nearby", lambda page: {topic, radio} <= set(page.links), "both are listed"
                    )
                    freezer = {"freezer": "shed-chest"}
                    first = await add(phone, topic, "Cellar probe", value="/temperature", **freezer)
                    second = await add(phone, radio, "Chest probe", **freezer)
                    rows = await see(
                        phone, "/sensors", lambda page: {"−18.6 °C", "−20.4 °C"} <= figures(page), "their readings"
                    )
                    known = await phone.get("/sensors/nearby")
            finally:
                talking.cancel()
                await asyncio.to_thread(gateway.down)
        status = gateway.log()

    assert "Nobody listens just now." in quiet.words
    assert "−18.6 °C" in heard.words
    assert "−20.4 °C" in heard.words
    assert "Cellar probe is a sensor of the house now." in first.words
    assert "Chest probe is a sensor of the house now." in second.words
    assert rows.words.count("in Shed chest") == 3
    assert {"/sensor/cellar-probe", "/sensor/chest-probe"} <= set(known.links)
    assert "Traceback" not in status


def figures(page: Page) -> set[str]:
    """Return the figures that a page shows."""
    return {part.partition("</p>")[0] for part in page.text.split('class="figure">')[1:]}
