"""Hostile payloads: thousands a second on one sensor's topic, and a flood of other topics and retained messages.

Real daemon, real broker. What must hold: the other sensor is heard in time, memory stays flat, the rubbish is counted
in the sensor's health. `rounds` are spans of ten seconds of flood.
"""

import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.rigs.broker import SENSOR, SENSOR_PASSWORD, Mosquitto
from tests.rigs.gateway import Gateway
from tests.rigs.publisher import Publisher
from tests.torture.result import Result

SPAN = 10.0  # s of flood in a round
RATE = 10_000  # messages a second that are tried; what the machine really sent is reported
IN_TIME = 5.0  # s from the publish of the good sensor until the status shows it, flood or not
GROWTH = 24 << 10  # KiB of private memory that the flood may add: buffers of the line, not a pile

FLOOD = """
import random, sys, time
from paho.mqtt.client import CallbackAPIVersion, Client
port, seed, seconds, rate, user, password = sys.argv[1:]
rng = random.Random(int(seed))
bad = [b'', b'nan', b'{' * 3000, b'[' * 3000, b'9' * 5000, b'null', b'"cold"', rng.randbytes(200), b'1e999',
       b'x' * 60000, b'{"a": NaN}', b'-18,5', b'\\xff\\xfe', b'85.0', b'-127', b'1000000']
client = Client(CallbackAPIVersion.VERSION2, "flood")
client.username_pw_set(user, password)
client.max_queued_messages_set(20000)
client.connect("127.0.0.1", int(port))
client.loop_start()
end, sent, begin = time.monotonic() + float(seconds), 0, time.monotonic()
while time.monotonic() < end:
    for _ in range(100):
        rubbish = bad[rng.randrange(len(bad))] if sent % 50 == 0 else bad[rng.randrange(6)][:200]
        client.publish("house/shed", rubbish, qos=0)
        if sent % 20 == 0:
            client.publish(f"house/other/{sent % 5000}", b"-18", qos=0, retain=True)
        sent += 1
    ahead = sent / float(rate) - (time.monotonic() - begin)
    if ahead > 0:
        time.sleep(ahead)
client.disconnect()
client.loop_stop()
print(sent)
"""


def settings(gateway: Gateway) -> None:
    """Add a second freezer with its own sensor."""
    text = gateway.settings.read_text()
    text = text.replace("sensors:\n  shed", "  porch-chest: {sensors: [porch-chest-air]}\nsensors:\n  shed", 1)
    text = text.replace(
        "    topic: house/shed\n", "    topic: house/shed\n  porch-chest-air: {broker: shed, topic: house/porch}\n"
    )
    gateway.settings.write_text(text)


def private(pid: int) -> int:
    """Return the private memory of a process in KiB."""
    rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
    return sum(int(line.split()[1]) for line in rollup.splitlines() if line.startswith("Private_"))


def delay(gateway: Gateway, sensor: Publisher, value: float) -> float:
    """Return how long it takes (s) from publishing until the status shows it."""
    began = time.monotonic()
    sensor.send("house/porch", f"{value}")
    gateway.wait(lambda: gateway.ask("status")["freezers"][1]["celsius"] == value, "the good sensor")
    return time.monotonic() - began


def run(seed: int, rounds: int) -> Result:
    """Flood for `rounds` spans of ten seconds; see the top."""
    rng = random.Random(seed)
    broken: list[str] = []
    delays: list[float] = []
    sent = 0
    with tempfile.TemporaryDirectory(prefix="hostile-") as folder, Mosquitto() as broker:
        gateway = Gateway(Path(folder), broker, commit_every="5 s", keep_every="60 s")
        settings(gateway)
        with gateway, Publisher(broker) as sensor:
            delay(gateway, sensor, -18.0)
            assert gateway.process is not None
            before = private(gateway.process.pid)
            for n in range(rounds):
                args = [str(broker.port), str(rng.randrange(1 << 30)), str(SPAN), str(RATE), SENSOR, SENSOR_PASSWORD]
                flood = subprocess.Popen([sys.executable, "-c", FLOOD, *args], stdout=subprocess.PIPE, text=True)
                while flood.poll() is None:
                    delays.append(delay(gateway, sensor, round(-18 + rng.uniform(-1, 1), 3)))
                    time.sleep(0.5)
                sent += int(flood.communicate()[0])
                print(f"round {n + 1}: {sent} sent, slowest answer {max(delays):.1f} s", flush=True)
            grown = private(gateway.process.pid) - before
            health = {s["id"]: s for s in gateway.ask("health")["sensors"]}
    counted = sum(health["shed-chest-air"]["unreadable"].values()) + sum(health["shed-chest-air"]["bad"].values())
    if max(delays) > IN_TIME:
        broken.append(f"the good sensor was shown only after {max(delays):.1f} s")
    if grown > GROWTH:
        broken.append(f"private memory grew by {grown / 1024:.1f} MiB")
    if counted < sent / 4:
        broken.append(
            f"only {counted} of {sent} bad messages were counted: {json.dumps(health['shed-chest-air'])[:300]}"
        )
    figures = {
        "messages a second": round(sent / rounds / SPAN), "counted": counted, "sent": sent,
        "slowest answer, s": round(max(delays), 2), "memory grew by, MiB": round(grown / 1024, 1),
    }  # fmt: skip
    return Result("hostile", seed, rounds, figures, broken)
