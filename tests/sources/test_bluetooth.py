"""The unmodified scanner on a private bus: what is heard, and that every kind of death ends in hearing again."""

import asyncio
import dataclasses
import random

import pytest

from gatewayd.sources.adapter import NONE, NOT_REACHED, NOT_RUNNING, OFF, UNPLUGGED
from gatewayd.sources.bluetooth import HEARS_NOTHING
from gatewayd.sources.scanner import BUSY, NO_PASSIVE, NO_START
from tests.rigs.ether import Adapter
from tests.sources.air import (
    BTHOME,
    CELLAR,
    CELLAR_UPRIGHT,
    CHEST,
    COMPANY,
    EDDYSTONE,
    FIRST,
    HASTY,
    PORCH,
    PORCH_CHEST,
    SECOND,
    SHED_CHEST,
    STEADY,
    Listener,
    on_air,
    running,
)
from tests.sources.intake import eventually

pytestmark = pytest.mark.rig

TLM = bytes.fromhex("2000 0bb8 eb80 00000001 0000000a")


async def test_each_sensor_gets_its_own_element() -> None:
    """Of one advertisement a sensor gets the bytes of its format, with its signal and without a receipt."""
    async with on_air() as air, running(air.source(SHED_CHEST, PORCH_CHEST, CELLAR_UPRIGHT)):

        def say() -> None:
            air.bluez.send(CHEST, {BTHOME: STEADY, EDDYSTONE: b"\x00"}, {COMPANY: b"no"}, signal=-71)
            air.bluez.send(PORCH, {EDDYSTONE: TLM})
            air.bluez.send(CELLAR, {BTHOME: STEADY}, {COMPANY: b"\x01\x02"})

        air.say = say
        await eventually(lambda: len({h.sensor for h in air.intake.heard}) == 3, "all three sensors")
        found = {h.sensor: (h.source, h.payload, h.signal) for h in air.intake.heard}
        assert found == {
            "shed-air": ("air", STEADY, -71),
            "porch-air": ("air", TLM, -60),
            "cellar-air": ("air", b"\x01\x02", -60),
        }
        assert air.intake.receipts == []
        assert air.intake.ups == [(True, "the gateway's radio listens")]


@pytest.mark.parametrize(("version", "low_energy_only"), [((5, 66), True), ((5, 82), True), ((5, 88), False)])
async def test_steady_bytes_keep_calling_back(version: tuple[int, int], low_energy_only: bool) -> None:
    """A freezer that stays as it is, at the same signal, is heard with every packet, also where 8 dB are asked for."""
    async with on_air(version, hci0=Adapter(FIRST, low_energy_only=low_energy_only)) as air:
        air.say = lambda: None
        async with running(air.source()):
            await eventually(lambda: air.ether.adapters["hci0"].filters, "a scan")
            for _ in range(40):
                assert air.bluez.send(CHEST, {BTHOME: STEADY})
            await eventually(lambda: len(air.intake.heard) == 40, "40 equal packets")


async def test_a_chip_that_filters_by_address_is_no_trouble() -> None:
    """One report per device and scan period, as some chips give, counts as hearing: no new scanner is made."""
    async with on_air(hci0=Adapter(FIRST, chip="address", period=0.3)) as air, running(air.source()):
        await eventually(lambda: len(air.intake.heard) >= 4, "four reports")
        assert air.bluez.calls.count("StartDiscovery") == 1
        assert air.intake.ups == [(True, "the gateway's radio listens")]


async def test_what_is_no_advertisement_is_dropped() -> None:
    """A callback without a signal is a change of the device and no sign of life."""
    async with on_air() as air:
        air.say = lambda: None
        async with running(air.source()):
            await eventually(lambda: air.ether.adapters["hci0"].filters, "a scan")
            air.bluez.send(CHEST, {BTHOME: STEADY})
            air.bluez.take_signal_back(CHEST)
            air.bluez.send(CHEST, {BTHOME: STEADY + b"\x01\x64"})
            await eventually(lambda: len(air.intake.heard) == 2, "two advertisements")
            assert [h.payload for h in air.intake.heard] == [STEADY, STEADY + b"\x01\x64"]


@pytest.mark.parametrize("version", [(5, 66), (5, 82)])
async def test_passive_is_heard_on_old_and_new_services(version: tuple[int, int]) -> None:
    """Listening passively, changing bytes of every format come through, whatever the service compares patterns with."""
    count = iter(range(60_000))

    async with on_air(version) as air:

        def say() -> None:
            number = next(count).to_bytes(2, "little")
            for _ in range(2):  # the chip listens half of the time: every second packet
                air.bluez.send(CHEST, {BTHOME: b"\x40\x00" + number[:1] + b"\x02\x04\xf8"}, flags=0)
            for _ in range(2):
                air.bluez.send(PORCH, {EDDYSTONE: TLM[:10] + number + TLM[12:]}, flags=0)
            for _ in range(2):
                air.bluez.send(CELLAR, None, {COMPANY: number}, flags=0)
            for _ in range(2):
                air.bluez.send("C0:00:5E:00:53:99", None, {0x1234: number}, flags=0)

        air.say = say
        listener = Listener()
        source = air.source(SHED_CHEST, PORCH_CHEST, CELLAR_UPRIGHT, mode="passive", on_any=listener)
        async with running(source):
            heard = air.intake.heard
            await eventually(lambda: len({h.sensor for h in heard}) == 3 and len(heard) > 30, "all three, often")
        assert "StartDiscovery" not in air.bluez.calls
        assert {advert.address for advert in listener.adverts} == {CHEST, PORCH, CELLAR}
        assert len(air.intake.remarks) == 1
        assert "Shed chest, Cellar upright" in air.intake.remarks[0]
        assert "Porch chest" not in air.intake.remarks[0]


async def test_passive_steady_bytes_come_again_with_each_new_scanner() -> None:
    """Equal bytes are kept back from a passive listener, and yet a new scanner, due after the silence, gets them."""
    async with on_air() as air, running(air.source(mode="passive")):
        await eventually(lambda: len(air.intake.heard) >= 2, "once by each of two scanners")
        assert air.bluez.calls.count("RegisterMonitor") >= 2
        assert len(air.intake.heard) <= air.bluez.calls.count("RegisterMonitor")


async def test_passive_is_refused_in_words() -> None:
    """Where the service cannot listen passively the keeper is told what to change, and nothing is switched off."""
    async with on_air() as air:
        air.bluez.experimental = False
        async with running(air.source(mode="passive")):
            await air.down(NO_PASSIVE)
            assert "Set" not in air.bluez.calls


async def test_power_off_and_on() -> None:
    """A radio that is switched off is told so and left off; switched on, it is heard again."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bluez.power("hci0", on=False)
        await air.down(OFF)
        assert not air.ether.adapters["hci0"].powered
        air.bluez.power("hci0", on=True)
        await air.hears("after the power came back")
        assert [up for up, _ in air.intake.ups] == [True, False, True]


async def test_unplugged_and_plugged() -> None:
    """A radio that is pulled out is told so; plugged in, also under another name, it is heard again."""
    async with on_air() as air, running(air.source(adapter=FIRST)):
        await air.hears("the first time")
        adapter = air.bluez.unplug("hci0")
        await air.down(UNPLUGGED)
        air.bluez.plug("hci1", adapter)
        air.say = lambda: air.bluez.send(CHEST, {BTHOME: STEADY}, adapter="hci1") and None
        await air.hears("after it was plugged in")


async def test_the_service_restarts() -> None:
    """A Bluetooth service that is stopped is told so; started, it is heard through again."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        await air.bluez.end()
        await air.down(NOT_RUNNING)
        await air.again()
        await air.hears("after the restart")


async def test_the_service_crashes_and_is_busy_for_a_while() -> None:
    """After a crash the kernel's old scan makes the new service refuse; that is waited out, without a power cycle."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        await air.bluez.end(crash=True, left_running=1.0)
        await air.again()
        await air.hears("after the old scan ran out")
        assert air.bluez.calls.count("StartDiscovery") > 3
        assert "Set" not in air.bluez.calls
        assert all(reason in (NOT_RUNNING, "the gateway's radio listens") for _, reason in air.intake.ups)


async def test_busy_for_good_is_cured_by_a_power_cycle() -> None:
    """A radio that stays busy is told so and switched off and on at the third failure in a row."""
    async with on_air() as air:
        hasty = dataclasses.replace(HASTY, busy=100)
        air.ether.busy_until = 1e12
        async with running(air.source(patience=hasty)):
            await air.down(BUSY)
            await eventually(lambda: "Set" in air.bluez.calls, "the power cycle")
            assert air.bluez.calls.count("Set") <= 2
            air.ether.busy_until = 0.0
            await air.hears("after the power cycle")
            assert air.ether.adapters["hci0"].powered


async def test_stopped_in_the_middle_of_a_power_cycle() -> None:
    """A gateway that is stopped while the adapter is without power switches it on before it goes."""
    async with on_air() as air:
        air.ether.busy_until = 1e12
        adapter = air.ether.adapters["hci0"]
        async with running(air.source(patience=dataclasses.replace(HASTY, busy=0, off=60_000))):
            await eventually(lambda: not adapter.powered, "the power cycle")
        assert adapter.powered


async def test_the_bus_dies_and_returns() -> None:
    """Without the bus the service cannot be reached, which is told; with both back it is heard again."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bus.down()
        await air.down(NOT_REACHED)
        await air.bluez.end(crash=True, left_running=0.5)
        air.bus.up()
        await air.again()
        await air.hears("after the bus came back")


async def test_a_silent_stall_gets_a_new_scanner() -> None:
    """A scanner that hears nobody any more is replaced, told down once, and up only when somebody is heard."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bluez.stalled = True
        await air.down(HEARS_NOTHING)
        await eventually(lambda: air.bluez.calls.count("StartDiscovery") == 2, "a new scanner")
        assert not air.intake.up
        air.bluez.stalled = False
        await air.hears("by the new scanner")
        assert [up for up, _ in air.intake.ups] == [True, False, True]


async def test_a_stubborn_stall_gets_a_power_cycle() -> None:
    """A stall that new scanners do not end is ended by switching the adapter off and on, the third time."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bluez.stalled = True  # until the power is cycled
        await air.down(HEARS_NOTHING)
        await air.hears("after the power cycle")
        assert air.bluez.calls.count("StartDiscovery") == 4
        assert air.bluez.calls.count("Set") == 2


async def test_the_timer_alone_suffices() -> None:
    """Without any early signal of the adapter, each death is found by the silence."""
    async with on_air() as air:
        source = air.source()
        source._adapters._signal = lambda _message: None  # type: ignore[method-assign]
        async with running(source):
            await air.hears("the first time")
            air.bluez.power("hci0", on=False)
            air.bluez.power("hci0", on=True)
            await air.hears("after a blink of the power")
            await air.bluez.end()
            await air.again()
            await air.hears("after a restart of the service")


async def test_a_service_that_hangs() -> None:
    """A service that takes everything and answers nothing is told of, and heard through when it wakes."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bluez.hung = True
        await air.down("does not answer")
        air.bluez.hung = False
        await air.hears("when it answers again", 15)


@pytest.mark.parametrize("error", ["org.bluez.Error.InProgress", "org.bluez.Error.Failed", "org.bluez.Error.NotReady"])
async def test_no_answer_to_stop_ends_it(error: str) -> None:
    """Whatever a dead scanner answers to being stopped, the next one starts."""
    async with on_air() as air, running(air.source()):
        await air.hears("the first time")
        air.bluez.refuse["StopDiscovery"] = [error]
        air.bluez.stalled = True
        await eventually(lambda: air.bluez.calls.count("StartDiscovery") >= 2, "another start")
        air.bluez.stalled = False
        await air.hears("by the next scanner")


async def test_a_start_that_fails_is_told() -> None:
    """A start that is refused for another reason is told in words, and tried again."""
    async with on_air() as air:
        air.bluez.refuse["StartDiscovery"] = ["org.bluez.Error.Failed"]
        async with running(air.source()):
            await air.down(NO_START)
            await air.hears("at the second try")


async def test_the_adapter_is_found_by_its_address() -> None:
    """When the names of two adapters are swapped at a start, the one with the given address is used."""
    async with on_air(hci0=Adapter(FIRST), hci1=Adapter(SECOND)) as air:
        async with running(air.source(adapter=SECOND.lower())):
            await eventually(lambda: air.ether.adapters["hci1"].filters, "a scan on the second adapter")
        air.ether.adapters.update({"hci0": air.ether.adapters["hci1"], "hci1": air.ether.adapters["hci0"]})
        await air.bluez.end()
        await air.again()
        async with running(air.source(adapter=SECOND)):
            await air.hears("by the same adapter under its new name")
            assert not air.ether.adapters["hci1"].filters


async def test_the_first_with_power() -> None:
    """Where no adapter is named, the first one with power is used, and one that is there but off is not taken."""
    async with on_air(hci0=Adapter(FIRST, powered=False), hci1=Adapter(SECOND)) as air, running(air.source()):
        await eventually(lambda: air.ether.adapters["hci1"].filters, "a scan on the adapter with power")


async def test_run_again_tells_again() -> None:
    """A source that is run a second time says anew that it is up: meanwhile others may have said it is down."""
    async with on_air() as air:
        source = air.source()
        for _ in range(2):
            async with running(source):
                await air.hears("somebody")
        assert [up for up, _ in air.intake.ups] == [True, True]


async def test_no_adapter_at_all() -> None:
    """A computer without a radio is told of as such."""
    async with on_air() as air:
        air.bluez.unplug("hci0")
        async with running(air.source()):
            await air.down(NONE)


async def test_an_intake_that_raises() -> None:
    """What goes wrong with one advertisement is counted and told once; the next is heard."""
    async with on_air() as air:
        good = air.intake.hear
        fail = True

        def hear(heard: object, receipt: object | None) -> None:
            if fail:
                raise RuntimeError("the intake stumbled")
            good(heard, receipt)  # type: ignore[arg-type]

        air.intake.hear = hear  # type: ignore[assignment]
        source = air.source()
        async with running(source):
            await eventually(lambda: source.stumbles >= 3, "three stumbles")
            fail = False
            await air.hears("afterwards")
        assert len(air.intake.remarks) == 1


async def test_sixty_sensors_at_a_thousand_a_second() -> None:
    """60 sensors with 1 000 advertisements a second for 2 s: every one is handed on."""
    sensors = [dataclasses.replace(SHED_CHEST, id=f"probe-{n}", channel=f"C0:00:5E:00:54:{n:02X}") for n in range(60)]
    async with on_air() as air:
        air.say = lambda: None
        async with running(air.source(*sensors)):
            await eventually(lambda: air.ether.adapters["hci0"].filters, "a scan")
            loop = asyncio.get_running_loop()
            began = loop.time()
            for number in range(2_000):
                air.bluez.send(sensors[number % 60].channel, {BTHOME: STEADY + number.to_bytes(2, "big")})
                await air.bluez.breathe()
                await asyncio.sleep(max(0.0, began + number / 1_000 - loop.time()))
            await eventually(lambda: len(air.intake.heard) == 2_000, "all of them")
            numbers = [int.from_bytes(h.payload[-2:], "big") for h in air.intake.heard]
            assert numbers == list(range(2_000))
            assert air.intake.ups == [(True, "the gateway's radio listens")]


async def test_strangers_cost_no_memory() -> None:
    """10 000 random addresses leave nothing behind in the source, nor in bleak once the service forgot them."""
    rng = random.Random(3)
    async with on_air() as air:
        air.say = lambda: None
        air.bluez.forget = 0.2
        source = air.source()
        async with running(source):
            await eventually(lambda: air.ether.adapters["hci0"].filters, "a scan")
            for _ in range(10_000):
                address = ":".join(f"{rng.randrange(256):02X}" for _ in range(6))
                air.bluez.send(address, {BTHOME: STEADY})
                await air.bluez.breathe()
            await eventually(lambda: source.heard == 10_000, "all strangers")
            assert air.intake.heard == []
            assert set(source._posts) == {CHEST}
            assert source._reader.targets == {}
            scanner = next(iter(_scanners()))
            await eventually(lambda: not scanner.seen_devices, "bleak to forget them")


def _scanners() -> list[object]:
    """Return the live scanners of bleak's BlueZ part."""
    import gc  # noqa: PLC0415 - only here

    return [found for found in gc.get_objects() if type(found).__name__ == "BleakScannerBlueZDBus" and found._stop]
