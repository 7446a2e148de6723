"""Idle: wake-ups and CPU of a daemon whose broker is quiet, against an asyncio process with one tick a second.

Both are looked at side by side over the same stretches, so that both see the same machine. A wake-up is a voluntary
change of context of any thread.
"""

import subprocess
import tempfile
import time
from pathlib import Path

from tests.bench.house import WINDOW, Daemon
from tests.bench.process import cpu, python, quiet, wakeups
from tests.bench.result import ROUNDS, Row, middle, ratio
from tests.rigs.broker import Mosquitto

TICKING = """
import asyncio
async def main():
    print("up", flush=True)
    while True:
        await asyncio.sleep(1)
asyncio.run(main())
"""
STRETCH = 15.0  # s; five make 75 s, so the daemon's look at the clock once a minute is among them
LIMIT = 3.0


def measure() -> list[Row]:
    """Compare over five stretches."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Mosquitto(extra=WINDOW) as broker,
        subprocess.Popen(python("-c", TICKING), stdout=subprocess.PIPE, text=True) as ticking,
    ):
        assert ticking.stdout is not None
        ticking.stdout.readline()
        try:
            with Daemon(Path(folder), broker) as daemon:
                quiet(daemon.pid, still=2.0)
                woken: dict[int, list[float]] = {daemon.pid: [], ticking.pid: []}
                spent: dict[int, list[float]] = {daemon.pid: [], ticking.pid: []}
                for _ in range(ROUNDS):
                    before = {pid: (wakeups(pid), cpu(pid)) for pid in woken}
                    time.sleep(STRETCH)
                    for pid, (wakes, seconds) in before.items():
                        woken[pid].append(wakeups(pid) - wakes)
                        spent[pid].append(cpu(pid) - seconds)
        finally:
            ticking.kill()
    ours, theirs = woken
    minute = 60 / STRETCH
    return [
        Row(
            "wake-ups with a quiet broker",
            LIMIT,
            ratio(woken[ours], woken[theirs]),
            f"{middle(woken[ours], minute)} a minute against {middle(woken[theirs], minute)}",
        ),
        Row(
            "CPU with a quiet broker",
            LIMIT,
            ratio(spent[ours], spent[theirs]),
            f"{middle(spent[ours], 1e3 * minute, ' ms')} a minute against {middle(spent[theirs], 1e3 * minute, ' ms')}",
        ),
    ]
