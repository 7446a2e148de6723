"""`gatewayd listen` on a private bus with a stand-in service and a real broker, as a process of its own."""

import asyncio
import json
import os
import sys
from pathlib import Path

import pytest

from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.air import BTHOME, CHEST, STEADY, Air, on_air

pytestmark = pytest.mark.rig

SETTINGS = """
site: {{id: heron-lane, time_zone: Europe/London}}
freezers:
  shed-chest: {{sensors: []}}
brokers:
  shed: {{host: localhost, port: {port}, user: {user}, password: "${{BROKER_PASSWORD}}"}}
radios:
  garage: {{adapter: first}}
"""


def environment(air: Air, folder: Path, broker: Mosquitto) -> dict[str, str]:
    """Write settings into `folder` and return the environment in which a command finds them and the bus."""
    (folder / "gatewayd.yaml").write_text(SETTINGS.format(port=broker.port, user=KEEPER))
    return os.environ | {
        "STATE_DIRECTORY": str(folder),
        "RUNTIME_DIRECTORY": str(folder),
        "BROKER_PASSWORD": KEEPER_PASSWORD,
        "GATEWAYD_SETTINGS": str(folder / "gatewayd.yaml"),
        "DBUS_SYSTEM_BUS_ADDRESS": air.bus.address,
    }


async def listen(
    air: Air, env: dict[str, str], sensor: Publisher, *args: str, answers: str = ""
) -> tuple[int, str, str]:
    """Call the command while a freezer's probe is in the air and another at the broker."""
    command = [sys.executable, "-m", "gatewayd.cli.main", "listen", *args]
    process = await asyncio.create_subprocess_exec(
        *command, env=env, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
    )
    talking = asyncio.create_task(process.communicate(answers.encode()))
    async with asyncio.timeout(40):
        while not talking.done():
            air.bluez.send(CHEST, services={BTHOME: STEADY})
            await air.bluez.flush()
            sensor.send("house/cellar", '{"temperature": -18.6, "battery": 91}')
            await asyncio.sleep(0.2)
    out, err = await talking
    return process.returncode or 0, out.decode(), err.decode()


async def test_air_and_brokers_are_shown(tmp_path: Path) -> None:
    """Within seconds both an advertisement and a topic are listed with what they say."""
    async with on_air() as air:
        with Mosquitto() as broker, Publisher(broker) as sensor:
            env = environment(air, tmp_path, broker)
            code, out, err = await listen(air, env, sensor, "--for", "4s", "--json")
    rows = {row["channel"]: row for row in json.loads(out)}

    assert code == 0, err
    assert rows[CHEST]["format"] == "bthome"
    assert rows[CHEST]["values"][0]["value"] == pytest.approx(-20.44)
    assert rows["house/cellar"]["values"][0] == {"quantity": "temperature", "value": -18.6, "unit": "°C"}


async def test_heard_sensor_is_added_and_taken_back(tmp_path: Path) -> None:
    """A heard sensor is written to house.yaml after three questions, passes the check, and can be taken back."""
    async with on_air() as air:
        with Mosquitto() as broker, Publisher(broker) as sensor:
            env = environment(air, tmp_path, broker)
            answers = "Shed probe\nshed-probe\nshed-chest\ny\n"
            code, out, err = await listen(air, env, sensor, "--add", CHEST, "--for", "20s", answers=answers)
            written = (tmp_path / "house.yaml").read_text()
            undone = await listen(air, env, sensor, "--undo")

    assert code == 0, err + out
    for words in ("shed-probe", CHEST, "bthome", "garage", "shed-chest"):
        assert words in written
    assert undone[0] == 0, undone[2]
    assert not (tmp_path / "house.yaml").exists()
