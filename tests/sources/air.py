"""A radio on the air of a test: private bus, stand-in service, a source under test, and somebody who advertises."""

import asyncio
import contextlib
import random
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from bleak.backends.bluezdbus import manager

from gatewayd.clock import SystemClock
from gatewayd.model.format import ByteRule, Format, Saying
from gatewayd.model.house import Sensor
from gatewayd.settings.typed import Mode, Radio
from gatewayd.sources.advert import Advert
from gatewayd.sources.bluetooth import BluetoothSource
from gatewayd.sources.patience import Patience
from tests.rigs.bluez import Bluez
from tests.rigs.bus import PrivateBus
from tests.rigs.ether import Adapter, Ether
from tests.sources.intake import RememberingIntake, eventually

FIRST, SECOND = "00:00:5E:00:53:01", "00:00:5E:00:53:02"  # documentation addresses, RFC 7042
CHEST, PORCH, CELLAR = "C0:00:5E:00:53:11", "C0:00:5E:00:53:12", "C0:00:5E:00:53:13"
STEADY = bytes.fromhex("400204f8")  # -20.44 °C, no packet id
BTHOME, EDDYSTONE = 0xFCD2, 0xFEAA
COMPANY = 0xFFFF  # for tests (Bluetooth SIG assigned numbers)

SHED_CHEST = Sensor("shed-air", "Shed chest", "air", CHEST, Saying(Format.BTHOME))
PORCH_CHEST = Sensor("porch-air", "Porch chest", "air", PORCH, Saying(Format.TLM))
CELLAR_UPRIGHT = Sensor(
    "cellar-air", "Cellar upright", "air", CELLAR, Saying(Format.BYTES, rule=ByteRule(maker=COMPANY, least=2))
)

# A second of the real spans, and less, so that the suite stays fast; the proportions are kept.
HASTY = Patience(
    quiet=500,
    longest_quiet=20_000,
    start=700,
    stop=300,
    busy=1_500,
    busy_every=50,
    call=700,
    off=50,
    fresh=2_000,
    connect=400,
    read=800,
    usual=40,
    share=0.5,
    retry=100,
)


class Air:
    """Hold the rig; `bluez` is the service that lives now."""

    def __init__(self, bus: PrivateBus, ether: Ether, bluez: Bluez) -> None:
        """Stand on a running bus and service."""
        self.bus, self.ether, self.bluez = bus, ether, bluez
        self.intake = RememberingIntake()
        self.say: Callable[[], None] = lambda: None

    def source(
        self, *sensors: Sensor, mode: Mode = "active", adapter: str = "first", **more: object
    ) -> BluetoothSource:
        """Build a source with short patience."""
        patience = more.pop("patience", HASTY)
        on_any = more.pop("on_any", None)
        assert isinstance(patience, Patience)
        assert not more
        radio = Radio("air", "The gateway's radio", adapter, mode)
        return BluetoothSource(
            radio,
            sensors or (SHED_CHEST,),
            self.intake,
            SystemClock(),
            random.Random(5),
            on_any=on_any,  # type: ignore[arg-type]
            patience=patience,
        )

    async def again(self, *, version: tuple[int, int] | None = None) -> None:
        """Start the service anew."""
        self.bluez = await Bluez.start(self.bus.address, self.ether, version or self.bluez.version)

    async def hears(self, what: str, seconds: float = 10.0) -> None:
        """Wait until something is heard that was not heard before, and the source says that it is up."""
        count = len(self.intake.heard)
        await eventually(lambda: len(self.intake.heard) > count and self.intake.up, what, seconds)

    async def down(self, reason: str) -> None:
        """Wait until the source says that it is down for that reason."""
        told = self.intake.ups
        await eventually(lambda: told and not told[-1][0] and reason in told[-1][1], f"{reason}, but told {told}")

    async def _talk(self) -> None:
        while True:
            await asyncio.sleep(0.03)
            self.say()


@asynccontextmanager
async def on_air(version: tuple[int, int] = (5, 66), **adapters: Adapter) -> AsyncIterator[Air]:
    """Run bus, service and somebody who says `air.say()` 30 times a second."""
    with PrivateBus() as bus:
        ether = Ether()
        ether.adapters.update(adapters or {"hci0": Adapter(FIRST)})
        air = Air(bus, ether, await Bluez.start(bus.address, ether, version))
        air.say = lambda: air.bluez.send(CHEST, {BTHOME: STEADY}) and None
        talker = asyncio.create_task(air._talk())
        try:
            yield air
        finally:
            talker.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await talker
            await air.bluez.end()
            await forget_bus()


async def forget_bus() -> None:
    """Close the connection that bleak keeps for as long as the loop lives."""
    kept = manager._global_instances.pop(asyncio.get_running_loop(), None)
    if kept is not None and kept._bus is not None:
        kept._bus.disconnect()
        if kept._bus_watcher_task is not None:
            await asyncio.wait({kept._bus_watcher_task}, timeout=2)


@asynccontextmanager
async def running(source: BluetoothSource) -> AsyncIterator[BluetoothSource]:
    """Run a source inside the block; what it raises comes out here."""
    task = asyncio.create_task(source.run(), name="radio under test")
    try:
        yield source
    finally:
        if not task.done():
            task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


class Listener:
    """Keep what strangers say."""

    def __init__(self) -> None:
        """Start empty."""
        self.adverts: list[Advert] = []

    def __call__(self, advert: Advert) -> None:
        """Keep one."""
        self.adverts.append(advert)
