"""Measure the CPU that a message costs in the MQTT source, against a bare counting paho callback.

    python -m tests.bench.mqtt_cost [--messages 20000] [--rounds 5]

Both hear the same stream in the same run, in alternated rounds, each round in a process of its own: QoS 1, flat out,
from a broker with a window of 1 000. The source stamps, hands on, and acknowledges when half a window asks for it; the
bare callback counts, and paho acknowledges. Only CPU time between the first and the last message counts.
"""

import argparse
import asyncio
import contextlib
import random
import statistics
import subprocess
import sys
import time
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from gatewayd.clock import SystemClock
from gatewayd.model.house import Sensor
from gatewayd.model.reading import Heard
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker
from gatewayd.sources.mqtt import MqttSource
from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, Mosquitto
from tests.rigs.publisher import Publisher

TOPICS = [f"house/probe-{number}" for number in range(50)]
WINDOW = ("max_inflight_messages 1000", "max_queued_messages 100000")
LIMIT = 1.6  # of the bare callback: the whole daemon's budget, the source must stay well below


class Span:
    """Count messages and keep the CPU time from the first to the last."""

    def __init__(self, wanted: int) -> None:
        """Wait for `wanted` messages."""
        self.wanted, self.count = wanted, 0
        self._began = self.cost = 0.0

    def one(self) -> bool:
        """Count one; return whether it was the last."""
        self.count += 1
        if self.count == 1:
            self._began = time.process_time()
        if self.count < self.wanted:
            return False
        self.cost = (time.process_time() - self._began) / (self.wanted - 1)
        return True


def bare(port: int, wanted: int, *, version_5: bool) -> float:
    """Return the CPU seconds that a message costs a counting callback under paho's own loop."""
    span = Span(wanted)
    client = Client(
        CallbackAPIVersion.VERSION2,
        "bare",
        clean_session=None if version_5 else True,
        protocol=MQTTProtocolVersion.MQTTv5 if version_5 else MQTTProtocolVersion.MQTTv311,
    )

    def on_message(client: Client, _userdata: Any, _message: MQTTMessage) -> None:
        if span.one():
            client.disconnect()

    def on_subscribe(*_args: Any) -> None:
        print("ready", flush=True)

    client.on_message, client.on_subscribe = on_message, on_subscribe
    client.username_pw_set(KEEPER, KEEPER_PASSWORD)
    client.connect("127.0.0.1", port)
    client.subscribe([(topic, 1) for topic in TOPICS])
    client.loop_forever()
    return span.cost


class CountingIntake:
    """Count, and acknowledge when asked for a commit."""

    def __init__(self, span: Span, done: asyncio.Event) -> None:
        """Set `done` after the last message."""
        self._span, self._done = span, done
        self._receipts: list[object] = []
        self.source: MqttSource | None = None

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Count."""
        self._receipts.append(receipt)
        if self._span.one():
            self._done.set()

    def source_up(self, source: str, up: bool, reason: str) -> None:
        """Say when the stream may begin."""
        print("ready" if up else reason, flush=True)

    def remark(self, source: str, text: str) -> None:
        """Show what would spoil the measurement."""
        print(text, file=sys.stderr)

    def commit_soon(self) -> None:
        """Acknowledge in the next turn of the loop."""
        asyncio.get_running_loop().call_soon(self._commit)

    def last_commit(self) -> int | None:
        """Know of none."""
        return None

    def _commit(self) -> None:
        receipts, self._receipts = self._receipts, []
        if self.source is not None:
            self.source.acknowledge(receipts)


async def ours(port: int, wanted: int, *, version_5: bool) -> float:
    """Return the CPU seconds that a message costs in the source."""
    span, done = Span(wanted), asyncio.Event()
    intake = CountingIntake(span, done)
    broker = Broker(
        "shed",
        "Shed broker",
        "127.0.0.1",
        "gatewayd-bench",
        "gatewayd/bench",
        port=port,
        user=KEEPER,
        password=Secret(KEEPER_PASSWORD),
        window=1_000,
    )
    sensors = [Sensor(f"probe-{number}", "Probe", "shed", topic) for number, topic in enumerate(TOPICS)]
    source = intake.source = MqttSource(broker, sensors, intake, SystemClock(), random.Random())
    source._version_5 = version_5
    task = asyncio.create_task(source.run())
    await done.wait()
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    return span.cost


def one_round(broker: Mosquitto, who: str, version: str, wanted: int) -> float:
    """Run one subscriber in a process of its own while this process publishes; return µs a message."""
    command = [sys.executable, "-m", "tests.bench.mqtt_cost", "--child", who, version, str(broker.port), str(wanted)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    first = child.stdout.readline().strip()
    if first != "ready":
        raise RuntimeError(f"{who} did not connect: {first}")
    with Publisher(broker, "bench", window=1_000) as publisher:
        publisher.send_all((TOPICS[number % len(TOPICS)], f"-18.{number % 10}") for number in range(wanted))
        publisher.wait(60)
        answer = child.communicate(timeout=60)[0]
    return float(answer.strip().splitlines()[-1]) * 1e6


def main() -> None:
    """Print µs a message for both, and their ratio, by MQTT 3.1.1 and 5."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--messages", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--child", nargs=4, metavar=("WHO", "VERSION", "PORT", "MESSAGES"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        who, version, port, wanted = options.child
        version_5 = version == "5"
        if who == "bare":
            print(bare(int(port), int(wanted), version_5=version_5))
        else:
            print(asyncio.run(ours(int(port), int(wanted), version_5=version_5)))
        return
    print(f"{options.messages} messages, {options.rounds} rounds each, CPU µs a message: median (least to most)")
    for version in ("3.1.1", "5"):
        costs: dict[str, list[float]] = {"bare": [], "ours": []}
        for _ in range(options.rounds):
            for who, found in costs.items():
                with Mosquitto(extra=WINDOW) as broker:  # a fresh one: the source's session would go on queueing
                    found.append(one_round(broker, who, version, options.messages))
        medians = {who: statistics.median(found) for who, found in costs.items()}
        for who, found in costs.items():
            print(f"MQTT {version:5}  {who:4}  {medians[who]:5.1f}  ({min(found):.1f} to {max(found):.1f})")
        print(f"MQTT {version:5}  ratio {medians['ours'] / medians['bare']:.2f}  (whole daemon: at most {LIMIT})")


if __name__ == "__main__":
    main()
