"""Sensors that are connected to and read, beside a scan that goes on."""

import asyncio
import dataclasses
import random

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import Sensor
from gatewayd.sources.gatt import Budget, Reader
from gatewayd.sources.patience import Patience
from tests.sources.air import BTHOME, CELLAR, CHEST, HASTY, PORCH, SHED_CHEST, STEADY, Air, on_air, running
from tests.sources.intake import RememberingIntake, eventually

READ = Sensor("cellar-air", "Cellar upright", "air", CELLAR, Saying(Format.READ, read_every=300))
COLD = {
    0x181A: {0x2A6E: b"\x04\xf8", 0x2A6F: b"\x10\x27", 0x2A21: b"\x3c\x00"},
    0x180F: {0x2A19: b"\x5a"},
    0x180A: {0x2A29: b"nobody"},
}
RECORDS = bytes.fromhex("2a6e0204f8 2a6f021027 2a19015a")


def talk(air: Air, *addresses: str) -> None:
    """Let the readable sensors advertise themselves, and the shed chest its temperature."""

    def say() -> None:
        air.bluez.send(CHEST, {BTHOME: STEADY})
        for address in addresses or (CELLAR,):
            air.bluez.send(address, lists=(0x181A,), connectable=True, signal=-80)

    air.say = say


def of(air: Air, sensor: str) -> list[bytes]:
    """Return what was handed on of one sensor."""
    return [heard.payload for heard in air.intake.heard if heard.sensor == sensor]


@pytest.mark.rig
async def test_what_is_wanted_is_read_on_schedule() -> None:
    """Temperature, humidity and battery are read again and again, as records, while the scan goes on."""
    async with on_air() as air:
        air.ether.gatt[CELLAR] = COLD
        talk(air)
        async with running(air.source(SHED_CHEST, READ)):
            await eventually(lambda: len(of(air, "cellar-air")) >= 3, "three readings")
            assert set(of(air, "cellar-air")) == {RECORDS}
            assert {h.signal for h in air.intake.heard if h.sensor == "cellar-air"} == {-80}
            count = len(of(air, "shed-air"))
            await eventually(lambda: len(of(air, "shed-air")) > count + 5, "the scan to go on")
            assert air.bluez.calls.count("StartDiscovery") == 1
            assert air.intake.ups == [(True, "the gateway's radio listens")]


@pytest.mark.rig
async def test_two_temperatures_come_in_the_order_of_the_device() -> None:
    """Several probes of one device are read in one connection, and each of its sensors gets all records."""
    other = dataclasses.replace(READ, id="cellar-food", payload=Saying(Format.READ, which=2, read_every=300))
    async with on_air() as air:
        air.ether.gatt[CELLAR] = {0x181A: {0x2A6E: b"\x04\xf8"}, 0x180F: {0x2A6E: b"\x05\xf8"}}
        talk(air)
        async with running(air.source(READ, other)):
            await eventually(lambda: of(air, "cellar-food"), "a reading")
            assert of(air, "cellar-food")[0] == bytes.fromhex("2a6e0204f8 2a6e0205f8") == of(air, "cellar-air")[0]


@pytest.mark.rig
async def test_a_sensor_that_does_not_answer_costs_nobody_else() -> None:
    """A sensor that cannot be connected to is told of once; the other one is read and the scan lives."""
    mute = dataclasses.replace(READ, id="porch-air", name="Porch chest", channel=PORCH)
    async with on_air() as air:
        air.ether.gatt[CELLAR] = COLD
        air.ether.deaf.add(PORCH)
        talk(air, CELLAR, PORCH)
        async with running(air.source(SHED_CHEST, READ, mute)):
            await eventually(lambda: air.intake.remarks, "a remark")
            count = len(of(air, "cellar-air"))
            await eventually(lambda: len(of(air, "cellar-air")) > count, "the other sensor")
            await air.hears("the scan")
            assert len(air.intake.remarks) == 1
            assert "Porch chest" in air.intake.remarks[0]
            assert [up for up, _ in air.intake.ups] == [True]


@pytest.mark.rig
async def test_nothing_to_read_is_said() -> None:
    """A device without a temperature is told of in words."""
    async with on_air() as air:
        air.ether.gatt[CELLAR] = {0x180A: {0x2A29: b"nobody"}}
        talk(air)
        async with running(air.source(READ)):
            await eventually(lambda: air.intake.remarks, "a remark")
            assert "no temperature" in air.intake.remarks[0]
            assert not air.intake.heard


@pytest.mark.rig
async def test_a_power_cycle_in_the_middle_of_a_reading() -> None:
    """When the radio dies during a connection, scan and readings both come back."""
    async with on_air() as air:
        air.ether.gatt[CELLAR] = COLD
        air.bluez.gatt_takes = 0.2
        talk(air)
        async with running(air.source(SHED_CHEST, READ)):
            await eventually(lambda: air.ether.adapters["hci0"].connecting, "a connection")
            air.bluez.power("hci0", on=False)
            await air.down("switched off")
            air.bluez.power("hci0", on=True)
            await eventually(lambda: of(air, "cellar-air"), "a reading afterwards")


@pytest.mark.rig
async def test_connections_keep_to_their_share() -> None:
    """However often the sensors ask to be read, connections take no more than their share of the time."""
    greedy = dataclasses.replace(READ, payload=Saying(Format.READ, read_every=1))
    patience = dataclasses.replace(HASTY, share=0.2)
    async with on_air() as air:
        air.ether.gatt[CELLAR] = COLD
        talk(air)
        async with running(air.source(greedy, patience=patience)):
            await eventually(lambda: of(air, "cellar-air"), "the first reading")
            loop = asyncio.get_running_loop()
            began, connected = loop.time(), 0.0
            while loop.time() - began < 1.5:
                before = loop.time()
                await asyncio.sleep(0.002)
                busy = air.ether.adapters["hci0"].connecting or any(
                    device.properties["Connected"].value for device in air.bluez.devices.values()
                )
                connected += (loop.time() - before) * bool(busy)
            assert connected <= 0.3 * 1.5  # one connection may straddle the edge
            assert len(of(air, "cellar-air")) >= 2
        assert "less often than asked" in air.intake.remarks[0]


def test_the_rest_is_as_long_as_the_share_asks() -> None:
    """After 5 s of connecting, a tenth of the time allows the next one 45 s later."""
    budget = Budget(0.10)
    budget.spend(5_000, 100_000)
    assert budget.free_at == 145_000


def test_more_sensors_than_time() -> None:
    """Twelve sensors read every ten minutes fit into a tenth of the time, thirteen do not."""
    reader = Reader("air", RememberingIntake(), SystemClock(), random.Random(1), Patience())
    sensors = [
        dataclasses.replace(READ, id=f"s{n}", channel=f"C0:00:5E:00:54:{n:02X}", payload=Saying(Format.READ))
        for n in range(13)
    ]
    reader.add(sensors[:12])
    assert not reader.crowded
    reader.add(sensors[12:])
    assert reader.crowded
