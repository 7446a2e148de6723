"""The whole way of a check in ice: the real daemon, a real broker, the commands as a person calls them."""

import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.rigs.broker import Mosquitto
from tests.rigs.gateway import Gateway
from tests.rigs.publisher import Publisher

pytestmark = pytest.mark.rig
PROBE = "shed-chest-air"
ROOM = "shed-room"


def lie_calm(database: Path, minutes: int = 11) -> None:
    """Let the check have run for some minutes longer than it did, as its snapshot tells it."""
    with closing(sqlite3.connect(database)) as conn, conn:
        kept = json.loads(conn.execute("SELECT text FROM snapshot").fetchone()[0])
        seen = kept["posts"][PROBE]["aside"]["seen"]
        seen[:0] = [{"at": seen[0]["at"] - n * 60_000, "raw": 0.4} for n in range(minutes, 0, -1)]
        conn.execute("UPDATE snapshot SET text = ?", (json.dumps(kept),))


def test_probe_is_checked_in_ice(tmp_path: Path) -> None:
    """A check outlives a restart, raises no alarm, corrects the readings, and is in the lists afterwards."""
    with Mosquitto() as broker, Publisher(broker) as sensor:
        gateway = Gateway(tmp_path, broker)

        def say(value: float, until: Callable[[], bool], what: str) -> None:
            def step() -> bool:
                sensor.send("house/shed", f"{value}")
                return until()

            gateway.wait(step, what)

        def freezer() -> dict[str, Any]:
            found: dict[str, Any] = gateway.ask("status")["freezers"][0]
            return found

        gateway.up()
        say(-19.0, lambda: freezer()["celsius"] == -19.0, "the cold freezer")
        before = gateway.ask("due")["due"]
        call = _command(gateway, "calibrate", PROBE, "--json", "--yes")
        looking = subprocess.Popen(call, env=gateway.env, stdout=subprocess.PIPE, text=True)
        gateway.wait(lambda: freezer()["quiet_until"] is not None, "the check")
        assert looking.stdout is not None
        first = json.loads(looking.stdout.readline())
        say(0.4, lambda: gateway.ask("health")["sensors"][0]["celsius"] == 0.4, "the ice")
        for _ in range(3):
            sensor.send("house/shed", "0.4")
        gateway.down()
        hung_up = looking.communicate(timeout=20)[0]
        lie_calm(gateway.database)
        gateway.up()
        say(0.4, lambda: gateway.ask("health")["sensors"][0]["celsius"] == 0.4, "the ice again")
        done = gateway.command("calibrate", PROBE, "--yes")
        say(-19.0, lambda: freezer()["celsius"] == -19.4, "the corrected reading")
        added = gateway.command("chore", "add", "shed-chest", "gasket", "tight")
        after = gateway.ask("due")["due"]
        chores = gateway.ask("chore", "list")["chores"]
        offsets = gateway.ask("calibrate", PROBE, "--list")["checks"]
        events = gateway.command("export", "events", "--json").stdout
        rows = gateway.command("export", "readings").stdout
        code = gateway.down()

    assert code == 0
    assert looking.returncode == 3
    assert "The check goes on when it is there again" in hung_up
    assert "Traceback" not in gateway.log()
    assert first["stage"] == "waiting"
    assert done.returncode == 0, done.stdout + done.stderr
    assert "The check goes on; it ends at" in done.stdout
    assert "reads 0.40 °C too warm" in done.stdout
    assert added.returncode == 0, added.stderr
    assert "check Shed chest air in ice" in [one["what"] for one in before]
    assert "check Shed chest air in ice" not in [one["what"] for one in after]
    assert [(one["kind"], one["subject"]) for one in chores] == [("gasket", "shed-chest"), ("ice point", PROBE)]
    assert [row["offset_k"] for row in offsets] == [-0.4]
    assert '"raised"' not in events
    assert "set aside" in rows


def _command(gateway: Gateway, *args: str) -> list[str]:
    return [sys.executable, "-m", "gatewayd.cli.main", *args, "--settings", str(gateway.settings)]


def test_room_thermometer_and_what_is_due_without_a_daemon(tmp_path: Path) -> None:
    """`health` says whose room a thermometer stands in; `due` goes on from the file when nobody runs."""
    with Mosquitto() as broker:
        gateway = Gateway(tmp_path, broker)
        text = gateway.settings.read_text()
        text = text.replace("    sensors: [shed-chest-air]\n", f"    sensors: [shed-chest-air]\n    room: {ROOM}\n")
        text = text.replace("brokers:\n", f"  {ROOM}:\n    broker: shed\n    topic: house/room\nbrokers:\n")
        gateway.settings.write_text(text)
        with gateway:
            health = gateway.command("health")
            refused = gateway.command("chore", "add", "attic", "gasket")
            gateway.down()
        alone = gateway.command("due")
        no = gateway.command("chore", "add", "shed-chest", "gasket")

    assert f"({ROOM}, in the room of shed-chest)" in health.stdout
    assert refused.returncode == 1
    assert "There is no freezer 'attic'" in refused.stderr
    assert "Check Shed chest air in ice" in alone.stdout
    assert "room" not in alone.stdout
    assert "not running" in alone.stderr
    assert no.returncode == 3
