"""Card wear: device bytes per reading, ten sensors at one reading each 10 s, against naive inserts.

Naive: every reading inserted at once into PRIMARY KEY(sensor, t), WAL, synchronous=NORMAL. Ours: the real store, every
reading kept, committed each 10 s or 60 s with synchronous=FULL, and its share of the hourly move into the keyed table.

Where root allows, each case has an ext4 file system of its own on a loop device, and the sectors that reach the device
count. Else the pages count that the process made dirty (`write_bytes`), which leaves out the file system's journal.
With `--minutes N` the three run side by side in real time. Without, time is compressed: what happens between is done at
once, and the file system is told to write what it holds (syncfs) each 30 simulated seconds, the time after which the
kernel writes dirty pages by itself (vm.dirty_expire_centisecs). Its journal is left out that is written each 5 s in
real time (ext4(5), `commit=`); that spares the naive case more than ours, so compressed time is hard on us.
"""

import argparse
import asyncio
import contextlib
import ctypes
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Iterator
from pathlib import Path

from gatewayd.model.moment import HOUR, SECOND, Moment
from gatewayd.store.batch import Batch
from gatewayd.store.store import Store
from tests.bench.process import python, written
from tests.bench.result import Row, middle, ratio
from tests.bench.rows import BEGIN, BOOT, ZONE, reading

CASES = {"naive": 0, "ten": 10, "sixty": 60}  # commits each so many seconds; 0: at once
LIMITS = {"ten": 0.40, "sixty": 0.15}
EXPIRE = 30  # s: vm.dirty_expire_centisecs as it comes (Documentation/admin-guide/sysctl/vm.rst)
# Transactions before all: beyond 1 000 pages SQLite writes its WAL anew from the start, and a file that is overwritten
# costs the file system less than one that grows. A daemon is in that state after some hours, and stays there.
FILL = 1_500
WARM_UP = 120  # s of the measured pace before the count begins
COMPRESSED = 3600  # simulated s
ROUNDS = 3  # compressed time is the same again but for the disk's own doing
SECTOR = 512  # bytes, in /sys/block/*/stat whatever the device's own are (Documentation/block/stat.rst)


class Pace:
    """Let a second pass: really, or by telling the file system to write."""

    def __init__(self, folder: Path, *, real: bool) -> None:
        """Take a folder on the file system that is measured."""
        self._real = real
        self._begin = time.monotonic()
        self._passed = 0
        self._folder = os.open(folder, os.O_RDONLY)
        self._libc = ctypes.CDLL(None, use_errno=True)

    async def second(self) -> None:
        """Pass one."""
        self._passed += 1
        if self._real:
            await asyncio.sleep(max(0.0, self._begin + self._passed - time.monotonic()))
        elif self._passed % EXPIRE == 0:
            self.sync()

    def sync(self) -> None:
        """Have everything written that the file system holds."""
        if self._libc.syncfs(self._folder) != 0:
            raise OSError(ctypes.get_errno(), "syncfs")


class Count:
    """Count the bytes that reached the device."""

    def __init__(self, device: str, pace: Pace) -> None:
        """Begin; no device means: what this process made dirty."""
        self._device, self._pace = device, pace
        pace.sync()
        self._before = self._now()

    def end(self) -> int:
        """Return the bytes since the beginning, with what was still on its way."""
        self._pace.sync()
        return self._now() - self._before

    def _now(self) -> int:
        if not self._device:
            return written(os.getpid())
        return int(Path(f"/sys/block/{self._device}/stat").read_text().split()[6]) * SECTOR


def checkpoint(path: Path) -> None:
    """Bring the WAL's pages into the file, so that none of a former stretch falls into the next.

    By itself it comes every 1 000 pages, which is hours apart; ours is counted with the hourly tidying, too often.
    """
    with contextlib.closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA wal_checkpoint(PASSIVE)")


async def naive(folder: Path, pace: Pace, device: str, seconds: int) -> float:
    """Insert each reading at once."""
    conn = sqlite3.connect(folder / "naive.db", isolation_level=None)
    conn.execute("PRAGMA journal_mode = WAL")
    conn.execute("PRAGMA synchronous = NORMAL")
    conn.execute("CREATE TABLE reading (sensor INTEGER, t INTEGER, value REAL, PRIMARY KEY (sensor, t)) WITHOUT ROWID")
    first = FILL + WARM_UP
    for number in range(first + seconds):
        if number == first:
            checkpoint(folder / "naive.db")
            count = Count(device, pace)
        one = reading(number)
        conn.execute("INSERT INTO reading VALUES (?, ?, ?)", (number % 10, one.heard.wall, one.value))
        if number >= FILL:
            await pace.second()
    total = count.end()
    conn.close()
    return total / seconds


async def ours(folder: Path, pace: Pace, device: str, seconds: int, every: int) -> float:
    """Commit to the real store each `every` seconds; add the share of an hourly tidying, whatever the time we have."""
    store = await Store.open(folder / "house.db", ZONE)
    for start in range(0, FILL * 10, 10):
        await store.commit(Batch(_at(start + 9), readings=[reading(start + n) for n in range(10)]))
    await store.tidy(_at(FILL * 10), 0)
    waiting = []
    first = FILL * 10 + WARM_UP
    for number in range(FILL * 10, first + seconds):
        if number == first:
            checkpoint(folder / "house.db")
            count = Count(device, pace)
        waiting.append(reading(number))
        if (number + 1) % every == 0:
            await store.commit(Batch(_at(number), readings=waiting))
            waiting = []
        await pace.second()
    total = count.end()
    end, hour = first + seconds, HOUR // SECOND
    rest = [reading(number) for number in range(end, end + max(0, hour - seconds - WARM_UP))]
    await store.commit(Batch(_at(end + hour), readings=rest))  # not counted: it only fills the hour
    count = Count(device, pace)
    await store.tidy(_at(end + hour), 0)
    checkpoint(folder / "house.db")
    tidying = count.end()
    await store.close()
    return total / seconds + tidying / max(hour, seconds)


def _at(number: int) -> Moment:
    return Moment(BEGIN + number * SECOND, BEGIN + number * SECOND - BOOT, "bench")


def case(name: str, folder: Path, device: str, seconds: int, *, real: bool) -> float:
    """Run one case in this process and return its bytes per reading; one reading a second comes in."""
    pace = Pace(folder, real=real)
    every = CASES[name]
    work: Awaitable[float] = (
        ours(folder, pace, device, seconds, every) if every else naive(folder, pace, device, seconds)
    )
    return asyncio.run(work)  # type: ignore[arg-type]


@contextlib.contextmanager
def own_file_system() -> Iterator[tuple[Path, str]]:
    """Yield a folder on a fresh ext4 with 4-KiB blocks, and its device; without the right to mount, a plain folder."""
    with tempfile.TemporaryDirectory(prefix="wear-") as name:
        image, folder = Path(name) / "image", Path(name) / "mounted"
        folder.mkdir()
        if os.geteuid() != 0:
            yield folder, ""
            return
        with image.open("wb") as file:
            file.truncate(256 << 20)
        # nothing of the file system's own laying out may be left to do in the background while we count
        lazy = "lazy_itable_init=0,lazy_journal_init=0"
        subprocess.run(["mkfs.ext4", "-q", "-b", "4096", "-E", lazy, str(image)], check=True)
        if subprocess.run(["mount", "-o", "loop", image, folder], capture_output=True, check=False).returncode != 0:
            yield folder, ""
            return
        try:
            device = next(
                parts[0] for line in Path("/proc/mounts").read_text().splitlines()
                if (parts := line.split())[1] == str(folder)
            )  # fmt: skip
            yield folder, device.removeprefix("/dev/")
        finally:
            subprocess.run(["umount", folder], check=True)


def start(name: str, folder: Path, device: str, seconds: int, *, real: bool) -> subprocess.Popen[str]:
    """Start a case in a process of its own."""
    command = python("-m", "tests.bench.wear", name, str(folder), device or "-", str(seconds), str(int(real)))
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def finish(process: subprocess.Popen[str]) -> float:
    """Wait for a case and return its bytes per reading."""
    answer = process.communicate()[0]
    if process.returncode != 0:
        raise RuntimeError("a case of the wear failed, see above")
    return float(json.loads(answer))


def compressed(name: str, how: set[str]) -> float:
    """Run one case in compressed time."""
    with own_file_system() as (folder, device):
        how.add("device bytes" if device else "bytes written by the process (no right to mount)")
        return finish(start(name, folder, device, COMPRESSED, real=False))


def side_by_side(seconds: int, how: set[str]) -> dict[str, list[float]]:
    """Run all cases at once in real time."""
    with contextlib.ExitStack() as stack:
        running = {}
        for name in CASES:
            folder, device = stack.enter_context(own_file_system())
            how.add("device bytes" if device else "bytes written by the process (no right to mount)")
            running[name] = start(name, folder, device, seconds, real=True)
        return {name: [finish(process)] for name, process in running.items()}


def measure(minutes: float = 0) -> list[Row]:
    """Compare commits each 10 s and each 60 s with naive inserts."""
    how: set[str] = set()
    if minutes:
        found = side_by_side(round(minutes * 60), how)
        when = f"{minutes:g} min of real time"
    else:
        found = {name: [] for name in CASES}
        for _ in range(ROUNDS):
            for name, those in found.items():
                those.append(compressed(name, how))
        when = f"compressed time, {COMPRESSED // 3600} h"
    base = middle(found["naive"], 1e-3, " kB")
    return [
        Row(
            f"{' / '.join(sorted(how))} per reading, {CASES[name]}-s commits, {when}",
            LIMITS[name],
            ratio(found[name], found["naive"]),
            f"{middle(found[name], 1e-3, ' kB')} against {base}",
        )
        for name in LIMITS
    ]


def main() -> None:
    """Run one case and print its bytes per reading."""
    parser = argparse.ArgumentParser(description="one case of the wear; `python -m tests.bench wear` runs them all")
    parser.add_argument("name", choices=list(CASES))
    parser.add_argument("folder", type=Path)
    parser.add_argument("device")
    parser.add_argument("seconds", type=int)
    parser.add_argument("real", type=int)
    asked = parser.parse_args()
    device = "" if asked.device == "-" else asked.device
    json.dump(case(asked.name, asked.folder, device, asked.seconds, real=bool(asked.real)), sys.stdout)


if __name__ == "__main__":
    main()
