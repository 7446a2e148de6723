"""The whole way by radio: advertisements on a private bus become readings of the real daemon."""

import asyncio
from pathlib import Path

import pytest

from tests.rigs.broker import Mosquitto
from tests.rigs.gateway import Gateway
from tests.sources.air import BTHOME, CHEST, STEADY, Air, on_air

pytestmark = pytest.mark.rig

# BTHome v2, bthome.io/encryption: the published key, address and frame (25.06 °C)
ADDRESS, KEY = "54:48:E6:8F:80:A5", "231d39c1d7cc1ab1aee224cd096db932"
SEALED = bytes.fromhex("41a47266c95f730011223378237214")

RADIO = """
radios:
  garage: {adapter: first}
sensors:
  porch-air: {radio: garage, address: "C0:00:5E:00:53:11", format: bthome}
  sealed-air: {radio: garage, address: "54:48:E6:8F:80:A5", format: bthome, key: "${PROBE_KEY}"}
  wire-air: {file: WIRE, format: hwmon, reports_every: 1 s}
"""


def daemon(air: Air, folder: Path, broker: Mosquitto) -> Gateway:
    """Return a daemon whose house also has a radio with two sensors and a wired probe."""
    (folder / "probe").write_text("-18250\n")
    gateway = Gateway(folder, broker)
    text = gateway.settings.read_text()
    extra = RADIO.replace("WIRE", str(folder / "probe")).split("sensors:\n")
    gateway.settings.write_text(text.replace("sensors:\n  shed", f"sensors:\n{extra[1]}  shed", 1) + extra[0])
    gateway.env |= {"DBUS_SYSTEM_BUS_ADDRESS": air.bus.address, "PROBE_KEY": KEY}
    return gateway


async def advertise(air: Air, gateway: Gateway, condition: object, what: str) -> None:
    """Keep both sensors on the air until a condition holds."""
    waiting = asyncio.create_task(asyncio.to_thread(gateway.wait, condition, what))  # type: ignore[arg-type]
    while not waiting.done():
        air.bluez.send(CHEST, services={BTHOME: STEADY})
        air.bluez.send(ADDRESS, services={BTHOME: SEALED})
        await air.bluez.flush()
        await asyncio.sleep(0.1)
    await waiting


def sensor(gateway: Gateway, which: str) -> dict[str, object]:
    """Return one sensor's health."""
    return next((s for s in gateway.ask("health").get("sensors", []) if s["id"] == which), {})


async def test_radio_and_wire_become_readings(tmp_path: Path) -> None:
    """Plain and encrypted advertisements and a wired probe are heard, shown and stored; an old frame is not, ever."""
    async with on_air() as air:
        with Mosquitto() as broker:
            gateway = daemon(air, tmp_path, broker)
            await asyncio.to_thread(gateway.up)
            try:
                await advertise(air, gateway, lambda: sensor(gateway, "sealed-air").get("celsius"), "the sealed one")
                await advertise(air, gateway, lambda: sensor(gateway, "porch-air").get("celsius"), "the plain one")
                await asyncio.to_thread(gateway.wait, lambda: sensor(gateway, "wire-air").get("celsius"), "the wire")
                found = {which: sensor(gateway, which) for which in ("sealed-air", "porch-air", "wire-air")}
                await asyncio.to_thread(gateway.down)
                await asyncio.to_thread(gateway.up)
                await advertise(air, gateway, lambda: sensor(gateway, "sealed-air").get("repeats"), "the old frame")
                after = sensor(gateway, "sealed-air")
            finally:
                if gateway.process is not None:
                    await asyncio.to_thread(gateway.down)
            rows = gateway.command("export", "readings").stdout

    assert found["sealed-air"]["celsius"] == pytest.approx(25.06)
    assert found["porch-air"]["celsius"] == pytest.approx(-20.44)
    assert found["wire-air"]["celsius"] == pytest.approx(-18.25)
    assert found["porch-air"]["signal"] is not None
    assert after["celsius"] is None  # the frame from before the restart proves nothing after it
    for value in ("25.06", "-20.44", "-18.25"):
        assert value in rows
