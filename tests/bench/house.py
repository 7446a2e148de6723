"""The house that the daemon watches while it is measured, and the daemon itself."""

import os
import socket
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatewayd.door import NotRunning, ask
from tests.bench.process import python, until
from tests.rigs.broker import KEEPER, Mosquitto
from tests.rigs.gateway import Gateway

FREEZERS, PROBES = 10, 5
TOPICS = [f"house/freezer-{f}/probe-{p}" for f in range(FREEZERS) for p in range(PROBES)]
# A window of 1 000 is what the keeper is told to set where many sensors report; the queue holds a whole flood.
WINDOW = ("max_inflight_messages 1000", "max_queued_messages 100000")


@dataclass(frozen=True)
class Told:
    """Say what the settings hold besides the sensors."""

    keep_every: str = "60 s"
    commit_every: str = "30 s"
    on_delay: str = "45 min"
    route: str = "{mail: {host: localhost, port: 9, from: watch@heron.test, to: ann@heron.test, security: starttls}}"
    freezers: int = FREEZERS


def settings(port: int, told: Told) -> str:
    """Write the settings: freezers of five probes each at one broker, and one person."""
    lines = ["site: {id: heron-lane, name: Heron Lane, time_zone: Europe/London}", "freezers:"]
    for f in range(told.freezers):
        probes = ", ".join(f"freezer-{f}-probe-{p}" for p in range(PROBES))
        limits = f"{{high_on_delay: {told.on_delay}}}"
        lines.append(f"  freezer-{f}: {{name: Freezer {f}, sensors: [{probes}], limits: {limits}}}")
    lines.append("sensors:")
    for f in range(told.freezers):
        lines += [
            f"  freezer-{f}-probe-{p}: {{broker: shed, topic: house/freezer-{f}/probe-{p}}}" for p in range(PROBES)
        ]
    lines += [
        "brokers:",
        f'  shed: {{host: localhost, port: {port}, user: {KEEPER}, password: "${{BROKER_PASSWORD}}", window: 1000}}',
        "people: {ann: {name: Ann, told_by: [ann]}}",
        f"routes: {{ann: {told.route}}}",
        f"store: {{keep_every: {told.keep_every}, commit_every: {told.commit_every}}}",
    ]
    return "\n".join(lines) + "\n"


class Daemon:
    """Run `gatewayd run` as the service manager would, and wait until it says that it is ready."""

    def __init__(self, folder: Path, broker: Mosquitto, told: Told | None = None) -> None:
        """Write the settings into `folder`."""
        self.gateway = Gateway(folder, broker)
        self.gateway.settings.write_text(settings(broker.port, told or Told()))
        self.folder = folder
        self.pid = 0

    def up(self) -> "Daemon":
        """Start it and wait for READY=1, without spending CPU of our own meanwhile."""
        where = self.folder / "notify"
        where.unlink(missing_ok=True)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.bind(str(where))
            manager.settimeout(1)
            command = python("-m", "gatewayd.cli.main", "run", "--settings", str(self.gateway.settings))
            with (self.folder / "log").open("ab") as log:
                self.gateway.process = subprocess.Popen(
                    command, env=self.gateway.env | {"NOTIFY_SOCKET": str(where)}, stdout=log, stderr=log
                )
            self.pid = self.gateway.process.pid
            for _ in range(60):
                try:
                    if manager.recv(4096).startswith(b"READY=1"):
                        return self
                except TimeoutError:
                    if self.gateway.process.poll() is not None:
                        break
        raise RuntimeError(f"the daemon did not get ready: {self.gateway.log()[-2000:]}")

    def connected(self) -> "Daemon":
        """Wait until it hears its broker."""
        until(lambda: bool(self.ask("status")["sources"][0]["up"]), "the broker is heard")
        return self

    def ask(self, what: str) -> dict[str, Any]:
        """Ask at the door."""
        try:
            return next(ask(self.door, {"ask": what}))
        except NotRunning:
            raise RuntimeError(f"the daemon is not there: {self.gateway.log()[-2000:]}") from None

    @property
    def door(self) -> Path:
        """Return its socket."""
        return Path(self.gateway.env["RUNTIME_DIRECTORY"]) / "door.sock"

    def heard(self) -> int:
        """Return how many messages of its sensors it has heard, late ones included."""
        return sum(sensor["heard"] + sensor["late"] for sensor in self.ask("health")["sensors"])

    def __enter__(self) -> "Daemon":
        """Start and connect."""
        return self.up().connected()

    def __exit__(self, *exc: object) -> None:
        """End it."""
        self.gateway.__exit__(*exc)
        if os.environ.get("BENCH_LOG"):
            print(self.gateway.log())
