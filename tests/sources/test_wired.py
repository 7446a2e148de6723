"""Wired probes: a tree of files like the kernel's, whose files vanish, hang, fail and come back."""

import asyncio
import contextlib
import errno
import os
import random
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from gatewayd.model.format import Format, Saying
from gatewayd.model.house import WIRED, Sensor
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.sources import wired
from gatewayd.sources.wired import EVERY, TROUBLED, WiredSource, read_file
from tests.fakes.clock import FakeClock
from tests.sources.intake import RememberingIntake, eventually

# Linux Documentation/w1/slaves/w1_therm.rst: the two lines of w1_slave
COLD = b"d8 fe 4b 46 7f ff 08 10 c1 : crc=c1 YES\nd8 fe 4b 46 7f ff 08 10 c1 t=-18500\n"
BROKEN = COLD.replace(b"YES", b"NO")


def probe(id_: str, file: Path | str, every: int | None = None) -> Sensor:
    """Return a wired sensor."""
    return Sensor(id_, id_.replace("-", " "), WIRED, str(file), Saying(Format.ONE_WIRE), every)


def put(file: Path, text: bytes) -> None:
    """Let the kernel say something."""
    file.write_bytes(text)


def move(file: Path) -> Path:
    """Move a file to `old` beside it, and return the free place."""
    file.rename(file.with_name("old"))
    return file


def unplug(file: Path) -> None:
    """Take the probe away."""
    file.unlink()


class Wire:
    """A source, its clock and what it told; `turn` lets it read each probe once more."""

    def __init__(self, *sensors: Sensor) -> None:
        """Build the source, not yet running."""
        self.clock, self.intake = FakeClock(), RememberingIntake()
        self.source = WiredSource(sensors, self.intake, self.clock, random.Random(4))
        self.reads = 0
        self._sensors = sensors
        self._task: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Run the source and let the first readings happen."""
        self._task = asyncio.create_task(self.source.run())
        await self.turn(wired.CONVERSION * len(self._sensors))

    async def turn(self, ms: int = EVERY) -> None:
        """Move on, and wait until no probe is being read any more."""
        await self.clock.advance(ms)
        await eventually(lambda: not any(d._busy for d in self.source._diallers.values()), "the reading ends")
        await self.clock.advance(0)

    async def stop(self) -> None:
        """End the source as the daemon does."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task


Plug = Callable[..., Wire]


@pytest.fixture
async def plug() -> AsyncIterator[Plug]:
    """Give a way to make sources that are stopped after the test."""
    made: list[Wire] = []

    def make(*sensors: Sensor) -> Wire:
        made.append(Wire(*sensors))
        return made[-1]

    yield make
    for wire in made:
        await wire.stop()


@pytest.fixture
def slave(tmp_path: Path) -> Path:
    """Give the file of one 1-wire thermometer."""
    file = tmp_path / "bus/w1/devices/28-0123456789ab/w1_slave"
    file.parent.mkdir(parents=True)
    file.write_bytes(COLD)
    return file


async def test_text_is_handed_on(plug: Plug, slave: Path) -> None:
    """The text of the file is handed on unread, stamped when it was read, with nobody waiting for an answer."""
    wire = plug(probe("shed-wire", slave))
    await wire.start()
    (heard,) = wire.intake.heard

    assert (heard.source, heard.sensor, heard.payload, heard.signal) == (WIRED, "shed-wire", COLD, None)
    assert heard.at.steady >= 3_600_000
    assert wire.intake.receipts == []
    assert wire.intake.ups == [(True, "wired probes are read")]
    wire.source.acknowledge([])


async def test_check_sum_is_not_judged_here(plug: Plug, slave: Path) -> None:
    """A garbled or an empty answer is handed on as well: the decoder counts it."""
    wire = plug(probe("shed-wire", slave))
    put(slave, BROKEN)
    await wire.start()
    put(slave, b"")
    await wire.turn()

    assert wire.intake.payloads == [BROKEN, b""]


@pytest.mark.parametrize(("every", "readings"), [(None, 11), (10 * SECOND, 61), (5 * MINUTE, 3)])
async def test_interval(every: int | None, readings: int, plug: Plug, slave: Path) -> None:
    """A probe is read as often as the keeper says, else once a minute."""
    wire = plug(probe("shed-wire", slave, every))
    await wire.start()
    for _ in range(600 * SECOND // (every or EVERY)):
        await wire.turn(every or EVERY)

    assert len(wire.intake.heard) == readings


async def test_probe_vanishes_and_returns(plug: Plug, slave: Path) -> None:
    """A lone probe that is unplugged takes the source down with words, and back in it is up and heard."""
    wire = plug(probe("shed-wire", slave))
    await wire.start()
    unplug(slave)
    for _ in range(TROUBLED):
        await wire.turn()

    assert len(wire.intake.heard) == 1
    assert wire.intake.ups[1:] == [
        (False, f"shed wire is not there (no {slave}); look whether its cable is plugged in"),
    ]
    put(slave, COLD)
    await wire.turn()

    assert wire.intake.up
    assert len(wire.intake.heard) == 2
    assert len(wire.intake.remarks) == 1


async def test_one_lost_reading_is_no_news(plug: Plug, slave: Path) -> None:
    """Failures fewer than three in a row are not told of."""
    wire = plug(probe("shed-wire", slave))
    await wire.start()
    for _ in range(5):
        unplug(slave)
        for _ in range(TROUBLED - 1):
            await wire.turn()
        put(slave, COLD)
        await wire.turn()

    assert len(wire.intake.ups) == 1
    assert wire.intake.remarks == []


async def test_one_of_two_is_remarked(plug: Plug, slave: Path, tmp_path: Path) -> None:
    """Where one probe works the source is up, and the trouble of the other is said once, however long it lasts."""
    wire = plug(probe("shed-wire", slave), probe("porch-wire", tmp_path / "none/temp1_input"))
    await wire.start()
    for _ in range(3 * TROUBLED):
        await wire.turn()

    assert wire.intake.ups == [(True, "wired probes are read")]
    assert [text.startswith("porch wire is not there") for text in wire.intake.remarks] == [True]


async def test_all_gone_is_one_trouble(plug: Plug, tmp_path: Path) -> None:
    """Where no probe can be read, the source is down, with the first reason."""
    wire = plug(*(probe(f"probe-{n}", tmp_path / f"{n}/w1_slave") for n in range(3)))
    await wire.start()
    for _ in range(TROUBLED):
        await wire.turn()

    assert [up for up, _ in wire.intake.ups] == [False]
    assert wire.intake.ups[0][1].startswith("none of the wired probes can be read: probe 0 is not there")


async def test_seldom_read_probe_is_retried_soon(plug: Plug, slave: Path) -> None:
    """A probe that is read once an hour is tried each minute while it fails."""
    wire = plug(probe("shed-wire", slave, 60 * MINUTE))
    unplug(slave)
    await wire.start()
    for _ in range(TROUBLED):
        await wire.turn(EVERY)

    assert [up for up, _ in wire.intake.ups] == [False]


@pytest.mark.rig
async def test_hanging_bus(plug: Plug, slave: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that never answers holds up nothing: no other probe, no second thread, and it is heard when it comes back.

    What it says too late is dropped, since nobody knows when it was measured.
    """
    monkeypatch.setattr(wired, "DEADLINE", 20)
    hanging = tmp_path / "w1_slave"
    os.mkfifo(hanging)
    wire = plug(probe("porch-wire", hanging), probe("shed-wire", slave))
    wire._task = asyncio.create_task(wire.source.run())

    async def moved_on() -> None:
        for _ in range(TROUBLED + 1):
            before = wire.source._failed["porch-wire"]
            await wire.clock.advance(EVERY)
            await eventually(lambda before=before: wire.source._failed["porch-wire"] > before, "the hang is noticed")

    await moved_on()
    assert any(text.startswith("porch wire does not answer") for text in wire.intake.remarks)
    assert wire.intake.up
    assert {heard.sensor for heard in wire.intake.heard} == {"shed-wire"}

    put(move(hanging), COLD)
    put(tmp_path / "old", BROKEN)  # the reader that hangs gets this, too late
    await eventually(lambda: not wire.source._diallers["porch-wire"]._busy, "the late answer comes")
    await wire.turn()

    assert wire.source._failed["porch-wire"] == 0
    assert [heard.payload for heard in wire.intake.heard if heard.sensor == "porch-wire"][:1] == [COLD]


WORDS = [
    (errno.EIO, "shed wire does not answer"),
    (errno.ENODEV, "shed wire is not there"),
    (errno.EACCES, "gatewayd may not read"),
    (errno.EINVAL, r"shed wire cannot be read \(Invalid argument\)"),
]


@pytest.mark.parametrize(("code", "said"), WORDS)
async def test_fault_in_words(code: int, said: str, plug: Plug, slave: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each kind of refusal by the kernel is said in the keeper's words."""

    def refuse(channel: str) -> bytes:
        raise OSError(code, os.strerror(code), channel)

    monkeypatch.setattr(wired, "read_file", refuse)
    wire = plug(probe("shed-wire", slave))
    await wire.start()
    for _ in range(TROUBLED):
        await wire.turn()
    ((_, reason),) = wire.intake.ups

    with pytest.raises(OSError, match=said):
        raise OSError(reason)


async def test_intake_that_raises_ends_the_run(plug: Plug, slave: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the intake raises comes out of run as it is, and the other probes are no longer read."""
    wire = plug(probe("shed-wire", slave), probe("porch-wire", slave))

    def refuse(*_: object) -> None:
        raise RuntimeError("the store is gone")

    monkeypatch.setattr(wire.intake, "hear", refuse)
    run = asyncio.create_task(wire.source.run())
    await wire.turn(wired.CONVERSION * 2)

    with pytest.raises(RuntimeError, match="the store is gone"):
        await asyncio.wait_for(run, 5)


async def test_without_probes_it_waits(plug: Plug) -> None:
    """A source without a probe neither ends nor says anything."""
    wire = plug()
    await wire.start()

    assert wire._task is not None
    assert not wire._task.done()
    assert wire.intake.ups == []


def test_star_finds_the_one_file(tmp_path: Path) -> None:
    """A star stands for the number that changes; where it fits several files, none is taken."""
    device = tmp_path / "devices/1-0048/hwmon"
    (device / "hwmon3").mkdir(parents=True)
    (device / "hwmon3/temp1_input").write_bytes(b"-18500\n")
    channel = f"{device}/hwmon*/temp1_input"

    assert read_file(channel) == b"-18500\n"
    (device / "hwmon4").mkdir()
    (device / "hwmon4/temp1_input").write_bytes(b"21000\n")
    with pytest.raises(ValueError, match="fits 2 files"):
        read_file(channel)


def test_star_without_a_file(tmp_path: Path) -> None:
    """A star that fits nothing is a file that is not there."""
    with pytest.raises(FileNotFoundError):
        read_file(f"{tmp_path}/hwmon*/temp1_input")


def test_long_file_is_cut(tmp_path: Path) -> None:
    """Of a file that is none of the kernel's no more than a page is read."""
    (tmp_path / "x").write_bytes(b"x" * 100_000)

    assert len(read_file(str(tmp_path / "x"))) == 4096
