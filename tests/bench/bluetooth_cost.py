"""Measure the CPU that an advertisement costs in the Bluetooth source, against a bare counting bleak callback.

    python -m tests.bench.bluetooth_cost [--adverts 20000] [--rounds 5]

Both hear the same 60 sensors in the same run, in alternated rounds, each round in a process of its own, flat out, from
the stand-in service on a private bus. The source stamps, picks the element and hands it to a counting intake; the bare
callback counts. Only CPU time between the first and the last advertisement counts.
"""

import argparse
import asyncio
import contextlib
import random
import statistics
import sys
import time
from typing import Any

from gatewayd.clock import SystemClock
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import Sensor
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Radio
from gatewayd.sources.bluetooth import BluetoothSource
from tests.rigs.bluez import Bluez
from tests.rigs.bus import PrivateBus
from tests.rigs.ether import Adapter, Ether

ADDRESSES = [f"C0:00:5E:00:54:{number:02X}" for number in range(60)]
BTHOME = 0xFCD2
WHO = ("bare", "ours")


class Span:
    """Count advertisements and keep the CPU time from the first to the last."""

    def __init__(self, wanted: int) -> None:
        """Wait for `wanted` of them."""
        self.wanted, self.count = wanted, 0
        self._began = self.cost = 0.0
        self.done = asyncio.Event()

    def one(self) -> None:
        """Count one."""
        self.count += 1
        if self.count == 1:
            self._began = time.process_time()
        if self.count == self.wanted:
            self.cost = (time.process_time() - self._began) / (self.wanted - 1)
            self.done.set()


async def bare(wanted: int) -> float:
    """Return the CPU seconds that an advertisement costs a counting callback under the unmodified scanner."""
    from bleak import BleakScanner  # noqa: PLC0415 - the source loads it as late

    span = Span(wanted)

    def count(_device: Any, _advertisement: Any) -> None:
        span.one()

    async with BleakScanner(count, bluez={"adapter": "hci0", "filters": {"DuplicateData": True}}):
        print("ready", flush=True)
        await span.done.wait()
    return span.cost


class CountingIntake:
    """Count."""

    def __init__(self, span: Span) -> None:
        """Count into `span`."""
        self._span = span

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Count."""
        self._span.one()

    def source_up(self, source: str, up: bool, reason: str) -> None:
        """Say when the stream may begin."""
        print("ready" if up else reason, flush=True)

    def remark(self, source: str, text: str) -> None:
        """Show what would spoil the measurement."""
        print(text, file=sys.stderr)

    def commit_soon(self) -> None:
        """Do nothing."""

    def last_commit(self) -> int | None:
        """Know of none."""
        return None


async def ours(wanted: int) -> float:
    """Return the CPU seconds that an advertisement costs in the source."""
    span = Span(wanted)
    sensors = [
        Sensor(f"probe-{number}", "Probe", "air", address, Saying(Format.BTHOME))
        for number, address in enumerate(ADDRESSES)
    ]
    radio = Radio("air", "The gateway's radio")
    source = BluetoothSource(radio, sensors, CountingIntake(span), SystemClock(), random.Random(1))
    task = asyncio.create_task(source.run())
    await span.done.wait()
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    return span.cost


async def one_round(address: str, who: str, wanted: int) -> float:
    """Run one listener in a process of its own while this one sends; return µs an advertisement."""
    ether = Ether()
    ether.adapters["hci0"] = Adapter("00:00:5E:00:53:01")
    service = await Bluez.start(address, ether)
    command = ["-m", "tests.bench.bluetooth_cost", "--child", who, str(wanted)]
    child = await asyncio.create_subprocess_exec(sys.executable, *command, stdout=asyncio.subprocess.PIPE)
    assert child.stdout is not None
    first = (await child.stdout.readline()).decode().strip()
    if first != "ready":
        raise RuntimeError(f"{who} does not listen: {first}")
    for number in range(wanted):
        service.send(ADDRESSES[number % 60], {BTHOME: b"\x40\x00" + number.to_bytes(4, "big")[3:] + b"\x02\x04\xf8"})
        await service.breathe()
    answer, _ = await asyncio.wait_for(child.communicate(), 60)
    await service.end()
    return float(answer.decode().strip().splitlines()[-1]) * 1e6


async def measure(wanted: int, rounds: int) -> dict[str, list[float]]:
    """Return µs an advertisement of each round, by listener."""
    costs: dict[str, list[float]] = {who: [] for who in WHO}
    with PrivateBus() as bus:
        for _ in range(rounds):
            for who, found in costs.items():
                found.append(await one_round(bus.address, who, wanted))
    return costs


def main() -> None:
    """Print µs an advertisement for both, and their ratio."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--adverts", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--child", nargs=2, metavar=("WHO", "ADVERTS"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        who, wanted = options.child
        print(asyncio.run((bare if who == "bare" else ours)(int(wanted))))
        return
    costs = asyncio.run(measure(options.adverts, options.rounds))
    print(f"{options.adverts} advertisements, {options.rounds} rounds each, CPU µs each: median (least to most)")
    for who, found in costs.items():
        print(f"{who:4}  {statistics.median(found):5.1f}  ({min(found):.1f} to {max(found):.1f})")
    ratios = [a / b for a, b in zip(costs["ours"], costs["bare"], strict=True)]
    print(f"ratio {statistics.median(ratios):.2f}  ({min(ratios):.2f} to {max(ratios):.2f})")


if __name__ == "__main__":
    main()
