"""The real daemon and its pages: a changed limit is in force at once and taken back, and a test message arrives."""

import asyncio
import re
from pathlib import Path

import pytest

from tests.rigs import certs
from tests.rigs.broker import Mosquitto, free_port
from tests.rigs.gateway import Gateway
from tests.rigs.mail import MailServer
from tests.rigs.publisher import Publisher
from tests.web.phone import Phone

pytestmark = pytest.mark.rig

LIMITS = "/settings/shed-chest/limits"
HIGH = "freezers.shed-chest.limits.high"


def state(gateway: Gateway) -> str:
    """Return how the alarm for too much warmth stands, empty where there is none."""
    found = [alarm["state"] for alarm in gateway.ask("status").get("alarms", []) if alarm["kind"] == "high"]
    return str(found[0]) if found else ""


def wait_for(gateway: Gateway, sensor: Publisher, wanted: str) -> None:
    """Send a temperature between the two limits again and again until the alarm stands so."""

    def step() -> bool:
        sensor.send("house/shed", "-14.0")
        return state(gateway) == wanted

    gateway.wait(step, f"the alarm is {wanted}")


async def test_change_test_and_undo(tmp_path: Path, mail: tuple[MailServer, certs.Certs]) -> None:
    """A phone sets the password, changes a limit that judges the next reading, takes it back, and tries a mail."""
    server, papers = mail
    port = free_port()
    pages = f"pages: {{listen: '127.0.0.1:{port}', address: 'http://127.0.0.1:{port}'}}"
    house_file = tmp_path / "state" / "house.yaml"
    with Mosquitto() as broker, Publisher(broker) as sensor:
        gateway = Gateway(tmp_path, broker, server.port, papers.ca, besides=pages)
        await asyncio.to_thread(gateway.up)
        try:
            async with Phone(f"http://127.0.0.1:{port}") as phone:
                code = re.search(r"code is (\d{4} \d{4})", gateway.log())
                assert code is not None, gateway.log()
                assert (await phone.set_up(code[1])).path == "/"
                await asyncio.to_thread(sensor.send, "house/shed", "-14.0")
                before = await asyncio.to_thread(state, gateway)
                await phone.get(LIMITS)
                saved = await phone.press(LIMITS, **{HIGH: "-15 °C"})
                stands = house_file.read_text()
                await asyncio.to_thread(wait_for, gateway, sensor, "unacknowledged")
                await phone.get("/settings")
                undone = await phone.press("/settings/undo")
                gone = not house_file.exists()
                await asyncio.to_thread(wait_for, gateway, sensor, "returned to normal")
                already = len(server.raw)
                await phone.get("/people")
                tried = await phone.press("/people/try/ann-mail")
        finally:
            gateway.down()

    assert before == ""
    assert "Saved." in saved.words
    assert "high: -15 °C" in stands
    assert "taken back" in undone.words
    assert gone
    assert "The test message by ann-mail was sent" in tried.words
    titles = [str(letter["Subject"]) for letter in server.mails]
    assert "Heron Lane: a test message" in titles[already:]
    assert "ann changed the settings: Too warm above (Shed chest) is -15 °C; it was not set." in gateway.log()
