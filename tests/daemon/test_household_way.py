"""People and the real daemon: the link in a real mail, one tap before loading, food checked, who was told and why."""

import asyncio
import http.client
import json
import re
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.rigs import certs
from tests.rigs.broker import Mosquitto, free_port
from tests.rigs.gateway import Gateway
from tests.rigs.mail import MailServer
from tests.rigs.publisher import Publisher

pytestmark = pytest.mark.rig


def fetch(url: str, method: str = "GET") -> tuple[int, str]:
    """Open a page as a phone or a mail scanner does."""
    parts = urlsplit(url)
    line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=10)
    try:
        line.request(method, parts.path)
        answer = line.getresponse()
        return answer.status, answer.read().decode()
    finally:
        line.close()


def publish(gateway: Gateway, sensor: Publisher, value: float, condition: object, what: str) -> None:
    """Send a value again and again until a condition holds."""

    def step() -> bool:
        sensor.send("house/shed", f"{value}")
        return bool(condition())  # type: ignore[operator]

    gateway.wait(step, what)


async def test_link_in_the_mail_answers(tmp_path: Path, mail: tuple[MailServer, certs.Certs]) -> None:
    """Opening the link of a mail changes nothing, however often; pressing its button acknowledges in Ann's name."""
    server, papers = mail
    port = free_port()
    pages = f"pages: {{listen: '127.0.0.1:{port}', address: 'http://127.0.0.1:{port}'}}"
    with Mosquitto() as broker:
        gateway = Gateway(tmp_path, broker, server.port, papers.ca, besides=pages)
        with Publisher(broker) as sensor:
            await asyncio.to_thread(gateway.up)
            try:
                await asyncio.to_thread(publish, gateway, sensor, -18.0, lambda: True, "cold")
                await asyncio.to_thread(publish, gateway, sensor, -10.0, lambda: len(server.raw) == 1, "the mail")
                text = server.mails[0].get_content()
                found = re.search(r"http://\S+", text)
                assert found is not None, text
                for _ in range(3):
                    status, page = await asyncio.to_thread(fetch, found[0])
                    assert status == 200
                    assert "Shed chest" in page
                assert (await asyncio.to_thread(gateway.ask, "status"))["alarms"][0]["acknowledged_by"] == ""
                status, _ = await asyncio.to_thread(fetch, found[0], "POST")
                alarm = (await asyncio.to_thread(gateway.ask, "status"))["alarms"][0]
                forged, _ = await asyncio.to_thread(fetch, found[0][:-2] + "xx", "POST")
            finally:
                await asyncio.to_thread(gateway.down)
        why = gateway.command("alarms", "why", str(alarm["number"]))

    assert status == 200
    assert alarm["acknowledged_by"] in ("ann", "Ann")
    assert forged in (403, 404, 410)
    assert why.returncode == 0, why.stderr
    assert "Ann" in why.stdout


def test_tap_keeps_a_freezer_quiet_until_done(tmp_path: Path) -> None:
    """`gatewayd at` hides what a warm freezer does, shows until when, and `--done` lets it be told at once."""
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway, Publisher(broker) as sensor:
        publish(gateway, sensor, -18.0, lambda: gateway.ask("status")["freezers"][0]["celsius"] == -18.0, "cold")
        done = gateway.command("at", "shed-chest", "--for", "2h", "--why", "sorting")
        publish(
            gateway, sensor, -10.0, lambda: any(a["kind"] == "high" for a in gateway.ask("status")["alarms"]), "warm"
        )
        status = gateway.ask("status")
        hidden = {a["kind"] for a in status["shelved"]}
        waiting = status["messages_waiting"]
        over = gateway.command("at", "shed-chest", "--done")
        gateway.wait(lambda: gateway.ask("status")["messages_waiting"] > 0, "it is told")
        wrong = gateway.command("at", "attic")

    assert "quiet until" in done.stdout
    assert status["freezers"][0]["quiet_until"]
    assert "high" in hidden
    assert waiting == 0
    assert "watched again" in over.stdout
    assert wrong.returncode == 1
    assert "shed-chest" in wrong.stderr


def test_thaw_waits_for_a_decision(tmp_path: Path) -> None:
    """After a thaw the alarm stays until `gatewayd checked` says what was decided, and the event keeps it."""
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway, Publisher(broker) as sensor:
        text = gateway.settings.read_text()
        limits = text.replace("high_on_delay: 2 s", "high_on_delay: 2 s, highhigh_on_delay: 2 s")
        gateway.down()
        gateway.settings.write_text(limits)
        gateway.up()
        publish(gateway, sensor, -18.0, lambda: gateway.ask("status")["freezers"][0]["celsius"] == -18.0, "cold")
        publish(
            gateway, sensor, 2.0, lambda: any(a["kind"] == "highhigh" for a in gateway.ask("status")["alarms"]), "thaw"
        )
        early = gateway.command("checked", "shed-chest", "--why", "kept all")
        publish(
            gateway,
            sensor,
            -18.0,
            lambda: any(a["state"].startswith("latched") for a in gateway.ask("status")["alarms"]),
            "latched",
        )
        silent = gateway.command("checked", "shed-chest")
        done = gateway.command("checked", "shed-chest", "--why", "threw out the fish")
        after = gateway.ask("status")["alarms"]
        events = [json.loads(line) for line in gateway.command("export", "events", "--json").stdout.splitlines()]

    assert early.returncode == 1
    assert "still too warm" in early.stderr
    assert silent.returncode == 1
    assert "decided" in silent.stderr
    assert done.returncode == 0
    assert not [a for a in after if a["kind"] == "highhigh"]
    assert [e["why"] for e in events if e["what"] == "reset"] == ["threw out the fish"]
