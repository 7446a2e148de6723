"""Stalls: how long the daemon's event loop lets a caller at the door wait while messages pour in.

The same loop sits behind the door, the brokers and the deadlines, so who waits at the door sees what they would. Beside
it, in turn and under the same load of the machine, a bare asyncio process answers the same question at a door like it.
"""

import contextlib
import statistics
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from gatewayd.door import ask
from tests.bench.flood import Flood
from tests.bench.house import TOPICS, WINDOW, Daemon, Told
from tests.bench.messages import stream
from tests.bench.process import python, until
from tests.bench.result import ROUNDS, Row
from tests.rigs.broker import Mosquitto

BARE = """
import asyncio, sys
async def serve(reader, writer):
    await reader.readline()
    writer.write(b'{"hello": "bench"}\\n{"end": true}\\n')
    await writer.drain()
    writer.close()
async def main():
    server = await asyncio.start_unix_server(serve, sys.argv[1])
    print("up", flush=True)
    await server.serve_forever()
asyncio.run(main())
"""
RATE = 2_000  # messages a second: hundreds of times a house's; the publisher and the broker need a core as well
SECONDS = 8.0
PAUSE = 0.004  # s between two questions


def waits(bare: Path, ours: Path, seconds: float) -> tuple[list[float], list[float]]:
    """Ask both doors in turn for a while; return the seconds each answer took."""
    found: tuple[list[float], list[float]] = ([], [])
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        for door, those in zip((bare, ours), found, strict=True):
            begin = time.perf_counter()
            next(ask(door, {"ask": "hello"}))
            those.append(time.perf_counter() - begin)
        time.sleep(PAUSE)
    return found


@contextlib.contextmanager
def bare_door(folder: Path) -> Iterator[Path]:
    """Run the bare process."""
    path = folder / "bare.sock"
    with subprocess.Popen(python("-c", BARE, str(path)), stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        try:
            yield path
        finally:
            process.kill()


def percentile(found: list[float], share: float) -> float:
    """Return the value that a share of all does not exceed."""
    return sorted(found)[min(len(found) - 1, int(len(found) * share))]


def measure() -> list[Row]:
    """Compare the waits while every reading is stored, committed each second and at each half window."""
    p99: tuple[list[float], list[float]] = ([], [])
    longest: list[float] = []
    p50: list[float] = []
    with tempfile.TemporaryDirectory() as name, Mosquitto(extra=WINDOW) as broker:
        folder = Path(name)
        with Daemon(folder, broker, Told(keep_every="0", commit_every="1 s")) as daemon, bare_door(folder) as bare:
            with Flood(broker) as flood:
                load = threading.Thread(
                    target=flood.pace, args=(stream(TOPICS), RATE, SECONDS * ROUNDS + 1), name="load"
                )
                load.start()
                for _ in range(ROUNDS):
                    plain, ours = waits(bare, daemon.door, SECONDS)
                    p99[0].append(percentile(plain, 0.99))
                    p99[1].append(percentile(ours, 0.99))
                    p50.append(statistics.median(ours))
                    longest.append(max(ours))
                load.join()
                sent = flood.published
            until(lambda: daemon.heard() == sent, "every message is heard")
    figures = (
        f"p50 {statistics.median(p50) * 1e3:.2g} ms, p99 {statistics.median(p99[1]) * 1e3:.3g} ms, longest of all "
        f"{max(longest) * 1e3:.3g} ms; bare p99 {statistics.median(p99[0]) * 1e3:.3g} ms"
    )
    ratios = tuple(ours / plain for plain, ours in zip(*p99, strict=True))
    return [Row(f"wait at the door under {RATE} messages/s, p99", None, ratios, figures)]
