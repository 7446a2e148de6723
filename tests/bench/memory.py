"""Private memory: what would be free again without the daemon, against a process that has only imported asyncio.

Before any message, and at the most while one is on its way, with all child processes: by the built-in mail route, and
by a messenger URL, whose library is the larger. The mail server and the web server hold the connection open long enough
to look. Private: Private_Clean + Private_Dirty of /proc/PID/smaps_rollup.
"""

import contextlib
import itertools
import socket
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.flood import Flood
from tests.bench.house import TOPICS, WINDOW, Daemon, Told
from tests.bench.messages import stream
from tests.bench.process import private, private_of_all, python, until
from tests.bench.result import Row, alternate, middle, ratio
from tests.rigs.broker import Mosquitto

BARE = (
    "import asyncio\nasync def main():\n    print('up', flush=True)\n    await asyncio.sleep(3600)\nasyncio.run(main())"
)
BUSY = 5_000  # messages before we look: what a day brings each sensor, so that everything is in use
LOOK_FOR = 6.0  # s in which the child has started, loaded its library and holds its connection
BEFORE_LIMIT, SENDING_LIMIT = 5.0, 7.5  # with pages, which alone are 1.5 times a bare process


def bare() -> float:
    """Return the private bytes of a process with an event loop that waits."""
    with subprocess.Popen(python("-c", BARE), stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        try:
            return private(process.pid)
        finally:
            process.kill()


@contextlib.contextmanager
def deaf_server() -> Iterator[int]:
    """Listen, and never say a word: whoever connects waits."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def running() -> float:
    """Return the daemon's private bytes after some thousand messages, none sent yet."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Mosquitto(extra=WINDOW) as broker,
        Daemon(Path(folder), broker) as daemon,
    ):
        _busy(daemon, broker)
        return private_of_all(daemon.pid)


def _busy(daemon: Daemon, broker: Mosquitto) -> None:
    with Flood(broker) as flood:
        flood.send(itertools.islice(stream(TOPICS), BUSY))
    until(lambda: daemon.heard() == BUSY, "all messages are heard")
    time.sleep(0.5)


def sending(way: str) -> float:
    """Return the most private bytes of the daemon and its children while one message is on its way."""
    with deaf_server() as port, tempfile.TemporaryDirectory() as folder, Mosquitto(extra=WINDOW) as broker:
        route = way.format(port=port)
        with Daemon(Path(folder), broker, Told(on_delay="1 s", route=route)) as daemon:
            _busy(daemon, broker)
            with Flood(broker, "warm") as flood:
                for tenth in range(6):  # the first is taken for a jump; the others lie beyond High for two seconds
                    flood.send([(TOPICS[0], f"-9.{tenth}")])
                    time.sleep(0.5)
            most, end = 0, time.monotonic() + LOOK_FOR
            while time.monotonic() < end:
                most = max(most, private_of_all(daemon.pid))
                time.sleep(0.02)
            if "high raised" not in daemon.gateway.log():
                raise RuntimeError(f"no alarm was raised: {daemon.gateway.log()[-2000:]}")
    return most


MAIL = "{{mail: {{host: localhost, port: {port}, from: watch@heron.test, to: ann@heron.test, security: starttls}}}}"
URL = '{{url: "json://127.0.0.1:{port}/"}}'


def measure() -> list[Row]:
    """Compare three moments."""
    found = alternate({"bare": bare, "running": running})
    found |= alternate({"mail": lambda: sending(MAIL), "url": lambda: sending(URL)}, rounds=3)
    base = [statistics.median(found["bare"])] * 3
    plain = middle(found["bare"], 2**-20, " MiB")
    return [
        Row(
            "private memory, nothing sent yet",
            BEFORE_LIMIT,
            ratio(found["running"], found["bare"]),
            f"{middle(found['running'], 2**-20, ' MiB')} against {plain}",
        ),
        *(
            Row(
                f"private memory while a message is sent, all processes, by {words}",
                SENDING_LIMIT,
                ratio(found[way], base),
                f"{middle(found[way], 2**-20, ' MiB')} against {plain}",
            )
            for way, words in (("mail", "the built-in mail route"), ("url", "a messenger URL"))
        ),
    ]
