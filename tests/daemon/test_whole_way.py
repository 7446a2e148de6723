"""The whole way with real parts: a sensor's bytes at a real broker become a mail at a real server over TLS."""

import asyncio
import csv
import io
import signal
import sqlite3
from pathlib import Path

import pytest

from gatewayd.door import ask
from gatewayd.settings.places import DOOR
from tests.rigs import certs
from tests.rigs.broker import Mosquitto
from tests.rigs.gateway import Gateway
from tests.rigs.mail import MailServer
from tests.rigs.publisher import Publisher

pytestmark = pytest.mark.rig


async def in_thread(gateway: Gateway, condition: object, what: str) -> None:
    """Wait for a condition while the mail server goes on in this loop."""
    await asyncio.to_thread(gateway.wait, condition, what)  # type: ignore[arg-type]


async def test_bytes_become_a_mail(tmp_path: Path, mail: tuple[MailServer, certs.Certs]) -> None:
    """A freezer that warms is mailed once, acknowledged, mailed once when over, and everything is in the export."""
    server, papers = mail
    with Mosquitto(tls=True) as broker:
        tls = f"tls: yes, ca: {broker.papers.ca}, "
        gateway = Gateway(tmp_path, broker, server.port, papers.ca, port=broker.tls_port, tls=tls)
        with Publisher(broker) as sensor:
            await asyncio.to_thread(gateway.up)
            try:
                await _warm_and_cool(gateway, sensor, server)
            finally:
                code = await asyncio.to_thread(gateway.down)
            _look_at_the_file(gateway)
    subjects = [str(m["Subject"]) for m in server.mails]

    assert code == 0
    assert [s.split(",")[0] for s in subjects] == [
        "Heron Lane: Shed chest is too warm",
        "Heron Lane: Shed chest is cold again",
    ]


async def _warm_and_cool(gateway: Gateway, sensor: Publisher, server: MailServer) -> None:
    def publish_until(value: float, condition: object, what: str) -> None:
        def step() -> bool:
            sensor.send("house/shed", f"{value}")
            return bool(condition())  # type: ignore[operator]

        gateway.wait(step, what)

    await asyncio.to_thread(
        publish_until, -18.0, lambda: gateway.ask("status")["freezers"][0]["celsius"] == -18.0, "cold"
    )
    await asyncio.to_thread(
        publish_until, -14.0, lambda: gateway.ask("status")["freezers"][0]["celsius"] == -14.0, "less"
    )
    await asyncio.to_thread(publish_until, -10.0, lambda: len(server.raw) == 1, "the first mail")
    number = gateway.ask("status")["alarms"][0]["number"]
    first = await asyncio.to_thread(gateway.command, "ack", str(number), "--why", "on my way")
    second = await asyncio.to_thread(gateway.ask, "ack", str(number))
    assert first.returncode == 0
    assert "acknowledged" in first.stdout
    assert "already acknowledged by" in second["text"]
    await asyncio.to_thread(publish_until, -14.0, lambda: len(server.raw) == 2, "the second mail")


def _look_at_the_file(gateway: Gateway) -> None:
    export = gateway.command("export", "readings")
    assert export.returncode == 0, export.stderr
    readings = list(csv.DictReader(io.StringIO(export.stdout)))
    events = gateway.command("export", "events", "--json").stdout
    health = gateway.command("status")

    assert {row["sensor"] for row in readings} == {"shed-chest-air"}
    assert {float(row["value"]) for row in readings} >= {-18.0, -10.0, -14.0}
    assert '"raised"' in events
    assert "on my way" in events
    assert health.returncode == 3
    assert "not running" in health.stdout
    with sqlite3.connect(gateway.database) as conn:
        assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert conn.execute("SELECT count(*) FROM delivery WHERE progress = 'sent'").fetchone() == (2,)
    conn.close()


def test_commands_say_when_nobody_runs(tmp_path: Path) -> None:
    """With the daemon down an order is refused with what to do, and nothing is changed."""
    with Mosquitto() as broker:
        gateway = Gateway(tmp_path, broker)
        done = gateway.command("ack", "1")

    assert done.returncode == 3
    assert "not running; nothing changed; start it with" in done.stderr
    assert not gateway.database.exists()


def test_wrong_settings_change_nothing_on_reload(tmp_path: Path) -> None:
    """A reload with wrong settings is refused with every fault and the old ones stay; right ones are taken."""
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway:
        good = gateway.settings.read_text()
        gateway.settings.write_text(good.replace("kind", "kin").replace("place: shed", "plaec: shed\n    volume: much"))
        assert gateway.process is not None
        gateway.process.send_signal(signal.SIGHUP)
        gateway.wait(lambda: "settings noted" in gateway.log(), "the refusal")
        refused = gateway.log()
        gateway.settings.write_text(good.replace("name: Shed chest", "name: Old shed chest"))
        gateway.process.send_signal(signal.SIGHUP)
        gateway.wait(lambda: gateway.ask("status")["freezers"][0]["name"] == "Old shed chest", "the new name")
        events = gateway.command("export", "events", "--json").stdout

    assert "plaec" in refused
    assert "volume" in refused
    assert "New settings were not taken, the old ones stay: 2 mistakes" in events


def test_second_daemon_is_refused(tmp_path: Path) -> None:
    """A second daemon for the same house says that one runs already."""
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway:
        second = gateway.command("run")
        alive = gateway.ask("status")["running"]

    assert second.returncode == 1
    assert "another gatewayd answers" in second.stderr
    assert alive


def test_settings_of_the_pages_are_backed_up(tmp_path: Path) -> None:
    """A backup holds what was set on the pages, private as it was; it comes back, running or not, if it holds."""
    state, copy = tmp_path / "state", tmp_path / "copy.db"
    state.mkdir(mode=0o700)
    kept, beside = state / "house.yaml", tmp_path / "copy.db.house.yaml"
    kept.write_text("freezers: {porch-chest: {name: Porch chest}}")
    kept.chmod(0o600)
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway:
        backup = gateway.command("backup", str(copy))
        mode = beside.stat().st_mode & 0o777
        kept.write_text("freezers: {cellar-chest: {name: Cellar chest}}")
        restored = gateway.command("restore", str(copy), "--yes")
        running = kept.read_text()
        before = (state / "house.yaml.before").read_text()
        said = gateway.command("status").stdout
        good = beside.read_text()
        beside.write_text("freezers: {porch-chest: {name: Porch chest, sensors: [nobody]}}")
        door = tmp_path / DOOR
        wrong = next(ask(door, {"ask": "house", "do": "back", "path": str(beside)}))
        left = kept.read_text()
        beside.chmod(0o666)
        strange = next(ask(door, {"ask": "house", "do": "back", "path": str(beside)}))
    beside.write_text(good)
    kept.unlink()
    for aside in state.glob("house.db.*Z"):  # of the same second maybe
        aside.unlink()
    stopped = gateway.command("restore", str(copy), "--yes")

    assert f"What was set on the pages was copied to {beside}" in backup.stdout, backup.stderr
    assert mode == 0o600
    assert "What was set on the pages is as in" in restored.stdout, restored.stderr
    assert ("porch-chest" in running, "cellar-chest" in before, "Porch chest" in said) == (True, True, True)
    assert "nobody" in wrong["error"]
    assert left == running
    assert "nobody else may write it" in strange["error"]
    assert stopped.returncode == 0, stopped.stderr
    assert "porch-chest" in kept.read_text()


def test_backup_and_restore_while_running(tmp_path: Path) -> None:
    """A backup taken while running can be put back while running, and the watch goes on."""
    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway, Publisher(broker) as sensor:
        sensor.send("house/shed", "-18.5")
        gateway.wait(lambda: "-18.5" in gateway.command("export", "readings").stdout, "a row")
        backup = gateway.command("backup", str(tmp_path / "copy.db"))
        sensor.send("house/shed", "-17.5")
        gateway.wait(lambda: "-17.5" in gateway.command("export", "readings").stdout, "another row")
        restored = gateway.command("restore", str(tmp_path / "copy.db"), "--yes")
        after = gateway.command("export", "readings").stdout
        sensor.send("house/shed", "-16.5")
        gateway.wait(lambda: "-16.5" in gateway.command("export", "readings").stdout, "a row after it")

    assert backup.returncode == 0, backup.stderr
    assert restored.returncode == 0, restored.stderr
    assert "-18.5" in after
    assert "-17.5" not in after
    assert list((tmp_path / "state").glob("house.db.*Z"))


def test_stop_is_quick_while_a_broker_is_unreachable(tmp_path: Path) -> None:
    """A daemon whose broker was never there starts, says so, and stops in order within five seconds."""
    with Mosquitto() as broker:
        broker.down()
        with Gateway(tmp_path, broker) as gateway:
            found = gateway.ask("status")
            code = gateway.down(seconds=5)

    assert code == 0
    assert found["sources"][0]["up"] is False


def test_check_names_every_fault(tmp_path: Path) -> None:
    """`check` prints all faults with file and line, never a secret, and exits with 2."""
    with Mosquitto() as broker:
        gateway = Gateway(tmp_path, broker)
        gateway.settings.write_text(
            gateway.settings.read_text().replace("topic: house/shed", "topic: house/#\n    tpoic: x")
        )
        done = gateway.command("check")

    assert done.returncode == 2
    assert "gatewayd.yaml" in done.stderr
    assert "2 mistakes" in done.stderr
    assert "p@ss" not in done.stderr


async def test_check_sends_by_each_route(tmp_path: Path, mail: tuple[MailServer, certs.Certs]) -> None:
    """`check --routes` sends a test message that arrives, and says so."""
    server, papers = mail
    with Mosquitto() as broker:
        gateway = Gateway(tmp_path, broker, server.port, papers.ca)
        done = await asyncio.to_thread(gateway.command, "check", "--routes")

    assert done.returncode == 0, done.stderr
    assert [str(m["Subject"]) for m in server.mails] == ["Heron Lane: a test message"]
