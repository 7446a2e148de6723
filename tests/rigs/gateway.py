"""The real daemon as a process of its own, with real settings in a folder of its own."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, Mosquitto

SETTINGS = """
site:
  id: heron-lane
  name: Heron Lane
  time_zone: Europe/London
freezers:
  shed-chest:
    name: Shed chest
    place: shed
    sensors: [shed-chest-air]
    limits: {{high_on_delay: {on_delay}, off_delay: {off_delay}}}
sensors:
  shed-chest-air:
    broker: shed
    topic: house/shed
brokers:
  shed: {{host: localhost, port: {port}, {tls}user: {user}, password: "${{BROKER_PASSWORD}}", window: {window}}}
people:
  ann: {{name: Ann, told_by: [ann-mail]}}
routes:
  ann-mail:
    ca: {mail_ca}
    mail:
      {{host: localhost, port: {mail_port}, security: starttls, user: keeper, password: "${{MAIL_PASSWORD}}",
       from: watch@heron.test, to: ann@heron.test}}
store:
  keep_every: {keep_every}
  commit_every: {commit_every}
telling: {{join_within: {join_within}, note: off, test: off}}
{besides}
"""


class Gateway:
    """Run `gatewayd run` on a broker and a mail server."""

    def __init__(
        self, folder: Path, broker: Mosquitto, mail_port: int = 9, mail_ca: object = "", **more: object
    ) -> None:
        """Write the settings; `more` changes a value of the template, adds TLS, or `besides` other sections."""
        self.folder = folder
        self.settings = folder / "gatewayd.yaml"
        values: dict[str, object] = {
            "port": broker.port, "tls": "", "user": KEEPER, "window": 20, "mail_port": mail_port, "mail_ca": mail_ca,
            "on_delay": "2 s", "off_delay": "2 s", "keep_every": "0", "commit_every": "1 s",
            "join_within": "0 s", "besides": "",
        }  # fmt: skip
        text = SETTINGS.format(**(values | more))
        if not mail_ca:
            text = text.replace("    ca: \n", "")
        self.settings.write_text(text)
        self.env = os.environ | {
            "STATE_DIRECTORY": str(folder / "state"),
            "RUNTIME_DIRECTORY": str(folder),
            "BROKER_PASSWORD": KEEPER_PASSWORD,
            "MAIL_PASSWORD": "p@ss #1%",
            "PYTHONUNBUFFERED": "1",
        }
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def database(self) -> Path:
        """Return where the store lies."""
        return self.folder / "state" / "house.db"

    def up(self) -> Self:
        """Start the daemon and wait until it answers at its door."""
        command = [sys.executable, "-m", "gatewayd.cli.main", "run", "--settings", str(self.settings)]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(command, env=self.env, stdout=log, stderr=log)
        self.wait(lambda: self.ask("status").get("running") is True, "the daemon answers")
        return self

    def down(self, how: signal.Signals = signal.SIGTERM, seconds: float = 10.0) -> int:
        """Stop the daemon and return its exit code."""
        assert self.process is not None
        self.process.send_signal(how)
        code = self.process.wait(seconds)
        self.process = None
        return code

    def command(self, *args: str) -> subprocess.CompletedProcess[str]:
        """Call a command as a person would."""
        call = [sys.executable, "-m", "gatewayd.cli.main", *args, "--settings", str(self.settings)]
        return subprocess.run(call, env=self.env, capture_output=True, text=True, timeout=60, check=False)

    def ask(self, *args: str) -> dict[str, Any]:
        """Call a command with --json and return its answer, empty if there is none."""
        done = self.command(*args, "--json")
        return json.loads(done.stdout) if done.stdout.strip() else {}  # type: ignore[no-any-return]

    def log(self) -> str:
        """Return what the daemon wrote."""
        return (self.folder / "log").read_text()

    def wait(self, condition: Callable[[], bool], what: str, seconds: float = 20.0) -> None:
        """Wait until a condition holds; raise TimeoutError with the daemon's log if it does not."""
        deadline = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > deadline:
                raise TimeoutError(f"not in time: {what}\n{self.log()[-3000:]}")
            if self.process is not None and self.process.poll() is not None:
                raise RuntimeError(f"the daemon ended while waiting: {what}\n{self.log()[-3000:]}")
            time.sleep(0.05)

    def __enter__(self) -> Self:
        """Start."""
        return self.up()

    def __exit__(self, *exc: object) -> None:
        """End it whatever it does."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
