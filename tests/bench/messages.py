"""CPU per message: the whole daemon with its commits, against a bare paho callback that counts.

Both hear the same flood: QoS 1, MQTT 5, 50 topics, a window of 1 000, flat out, in turn and each in a process of its
own. The bare callback's CPU counts from its first to its last message, the daemon's from before the first until it has
come to rest, with decoding, alarms, and every commit with synchronous=FULL.
"""

import itertools
import subprocess
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from tests.bench import mqtt_cost
from tests.bench.flood import Flood
from tests.bench.house import TOPICS, WINDOW, Daemon, Told
from tests.bench.process import python, quiet
from tests.bench.result import Row, alternate, middle, ratio
from tests.rigs.broker import Mosquitto

MESSAGES = 20_000
LIMIT = 1.6


def stream(topics: list[str]) -> Iterator[tuple[str, str]]:
    """Yield (topic, payload) for ever: a freezer's air that swings a little."""
    for number, topic in enumerate(itertools.cycle(topics)):
        yield topic, f"{-18.5 + number % 13 / 10:.1f}"


def bare() -> float:
    """Return the CPU seconds that a message costs the bare callback."""
    with Mosquitto(extra=WINDOW) as broker:
        command = python("-m", "tests.bench.mqtt_cost", "--child", "bare", "5", str(broker.port), str(MESSAGES))
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            if child.stdout.readline().strip() != "ready":
                raise RuntimeError("the bare callback did not connect")
            with Flood(broker) as flood:
                flood.send(itertools.islice(stream(mqtt_cost.TOPICS), MESSAGES))
                return float(child.communicate(timeout=60)[0].strip())


def ours(told: Told) -> float:
    """Return the CPU seconds that a message costs the daemon."""
    with tempfile.TemporaryDirectory() as folder, Mosquitto(extra=WINDOW) as broker:
        with Daemon(Path(folder), broker, told) as daemon:
            before = quiet(daemon.pid)
            with Flood(broker) as flood:
                flood.send(itertools.islice(stream(TOPICS), MESSAGES))
            spent = quiet(daemon.pid) - before
            if (heard := daemon.heard()) != MESSAGES:
                raise RuntimeError(f"the daemon heard {heard} of {MESSAGES} messages")
        return spent / MESSAGES


def measure() -> list[Row]:
    """Compare the daemon as it comes (a row a minute and sensor) and with every reading kept."""
    cases = {
        "bare": bare,
        "default": partial(ours, Told()),
        "all kept": partial(ours, Told(keep_every="0")),
    }
    found = alternate(cases)
    plain = middle(found["bare"], 1e6, " µs")
    return [
        Row(
            f"CPU per message, flat out, {words}",
            LIMIT,
            ratio(found[case], found["bare"]),
            f"{middle(found[case], 1e6, ' µs')} against {plain}",
        )
        for case, words in (("default", "as it comes"), ("all kept", "every reading stored (`keep_every: 0`)"))
    ]
