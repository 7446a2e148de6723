"""Start: until the daemon says READY=1, against an asyncio process that says so at once; commands against sqlite3.

The first start looks at each route in a child process; later ones with the same routes do not. Commands are run to
their end, `status` with the daemon up, `export` on its file, against a Python that imports sqlite3 and ends.
"""

import os
import socket
import subprocess
import tempfile
import time
from pathlib import Path

from tests.bench.house import WINDOW, Daemon, Told
from tests.bench.memory import URL
from tests.bench.process import python, timed
from tests.bench.result import Row, alternate, middle, ratio
from tests.rigs.broker import Mosquitto

BARE = """
import asyncio, os, socket
async def main():
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
        out.sendto(b"READY=1", os.environ["NOTIFY_SOCKET"])
    await asyncio.sleep(3600)
asyncio.run(main())
"""
READY_LIMIT, COMMAND_LIMIT = 10.0, 3.0


def bare() -> float:
    """Return the seconds until a plain asyncio process says that it is ready."""
    with tempfile.TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        where = str(Path(folder) / "notify")
        manager.bind(where)
        manager.settimeout(30)
        begin = time.perf_counter()
        with subprocess.Popen(python("-c", BARE), env=os.environ | {"NOTIFY_SOCKET": where}) as process:
            manager.recv(100)
            took = time.perf_counter() - begin
            process.kill()
    return took


def ready(daemon: Daemon) -> float:
    """Return the seconds until the daemon says that it is ready, and stop it again."""
    begin = time.perf_counter()
    daemon.up()
    took = time.perf_counter() - begin
    daemon.gateway.down()
    return took


def first(route: str, broker: Mosquitto) -> float:
    """Return the same for the very first start with a route."""
    with tempfile.TemporaryDirectory() as folder:
        return ready(Daemon(Path(folder), broker, Told(route=route.format(port=9))))


def measure() -> list[Row]:
    """Compare starts and commands."""
    with Mosquitto(extra=WINDOW) as broker, tempfile.TemporaryDirectory() as folder:
        daemon = Daemon(Path(folder), broker)
        ready(daemon)
        found = alternate(
            {
                "bare": bare,
                "again": lambda: ready(daemon),
                "first": lambda: first(URL, broker),
            }
        )
        with daemon:
            settings, env = ("--settings", str(daemon.gateway.settings)), daemon.gateway.env
            main = python("-m", "gatewayd.cli.main")
            found |= alternate(
                {
                    "sqlite3": lambda: timed(python("-c", "import sqlite3"), env),
                    "status": lambda: timed([*main, "status", *settings], env),
                    "json": lambda: timed([*main, "status", "--json", *settings], env),
                    "export": lambda: timed([*main, "export", "readings", *settings], env),
                }
            )
    rows = (
        ("again", "bare", READY_LIMIT, "until READY=1, routes known"),
        ("first", "bare", None, "until READY=1, very first start with a messenger URL"),
        ("status", "sqlite3", COMMAND_LIMIT, "`gatewayd status`"),
        ("json", "sqlite3", COMMAND_LIMIT, "`gatewayd status --json`"),
        ("export", "sqlite3", COMMAND_LIMIT, "`gatewayd export readings`"),
    )
    return [
        Row(
            words,
            limit,
            ratio(found[case], found[base]),
            f"{middle(found[case], 1e3, ' ms')} against {middle(found[base], 1e3, ' ms')}",
        )
        for case, base, limit, words in rows
    ]
