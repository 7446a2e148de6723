"""Thirty days at full rate: five sensors, a reading every 10 s each, with cooling cycles and a warm spell a day.

Real store and gateway under a played clock. What must hold: private memory and open files after the last day are those
after the fifth, and the file grows by what the documents say. `rounds` are days, 30 by command.
"""

import asyncio
import math
import random
import tempfile
from datetime import UTC
from pathlib import Path

from gatewayd.clock import PlayedClock
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.model.delivery import Progress
from gatewayd.model.given import SourceNews, Start
from gatewayd.model.house import Freezer, House, Person, Sensor
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.reading import Heard
from gatewayd.store.store import Store
from gatewayd.watch.watch import Watch
from tests.torture.result import Result

SENSORS = 5
EVERY = 10 * SECOND
START = 1_795_564_800_000  # wall ms; a midnight in UTC
GROWTH = 4 << 10  # KiB of private memory that may come after the fifth day: caches of SQLite and the allocator
BYTES = 27.0  # per stored row in the file, roll-ups and all other tables included (README: about 26)
# Of the file do not grow with the rows: what the watch knows of five freezers is about 90 kB, and 24 tables and indexes
# have a page of their own before their first row.
ASIDE = 192 * 1024
SETTLED = 5  # days until every buffer and every learnt thing is full


def house() -> House:
    """Return five freezers with a probe each."""
    ids = [f"freezer-{n}" for n in range(SENSORS)]
    return House(
        id="heron-lane",
        name="Heron Lane",
        zone=UTC,
        freezers={i: Freezer(i, i, sensors=(f"{i}-air",)) for i in ids},
        sensors={f"{i}-air": Sensor(f"{i}-air", i, "home", f"air/{i}") for i in ids},
        sources={"home": "Home broker"},
        people={"ann": Person("ann", "Ann", ("ann-mail",))},
    )


def private() -> int:
    """Return this process's private memory in KiB."""
    rollup = Path("/proc/self/smaps_rollup").read_text()
    return sum(int(line.split()[1]) for line in rollup.splitlines() if line.startswith("Private_"))


def open_files() -> int:
    """Return how many files this process holds open."""
    return len(list(Path("/proc/self/fd").iterdir()))


def air(steady: int, number: int, rng: random.Random) -> float:
    """Return a freezer's air (°C): an hour's cycle, and once a day a warm spell of two hours in one freezer."""
    cycle = -18 + 1.8 * math.sin(steady / HOUR * math.tau + number)
    warm = 7.5 if number == steady // DAY % SENSORS and 10 * HOUR < steady % DAY < 12 * HOUR else 0.0
    return cycle + warm + rng.uniform(-0.1, 0.1)


async def day(gateway: Gateway, clock: PlayedClock, rng: random.Random, tidy: bool) -> None:
    """Live one day."""
    end = clock.now().steady + DAY
    next_commit = clock.now().steady
    while clock.now().steady < end:
        now = clock.now()
        for number in range(SENSORS):
            payload = f"{air(now.steady, number, rng):.1f}".encode()
            gateway.hear(Heard("home", f"freezer-{number}-air", payload, now), None)
        if gateway.wanted or now.steady >= next_commit:
            await gateway.commit()
            next_commit = now.steady + 2 * MINUTE  # of the house's time; a commit costs real time
            for delivery in await gateway.mailbag.pending():
                await gateway.mailbag.finished(delivery, Progress.SENT, now, 0, "", False)
        clock.move(now.later(EVERY))
        gateway.tick()
        if tidy and now.steady % HOUR < EVERY:
            await gateway.store.tidy(now, 400 * DAY)


async def live(seed: int, days: int, folder: Path) -> tuple[dict[str, object], list[str]]:
    """Live all days and return figures and what did not hold."""
    rng = random.Random(seed)
    clock = PlayedClock(Moment(START, DAY, "month"))
    store = await Store.open(folder / "house.db", UTC)
    mailbag = Mailbag(store)
    gateway = Gateway(Watch(house(), clock.now()), store, mailbag, clock, 30 * SECOND)
    gateway.give(Start())
    gateway.give(SourceNews("home", True, "it answers"))
    memory: list[int] = []
    files: list[int] = []
    for n in range(days):
        await day(gateway, clock, rng, tidy=True)
        memory.append(private())
        files.append(open_files())
        print(f"day {n + 1}: {memory[-1] / 1024:.1f} MiB, {files[-1]} files", flush=True)
    await gateway.commit()
    told = gateway.watch.alarms.number
    await store.close()
    size = (folder / "house.db").stat().st_size
    rows = days * SENSORS * DAY // MINUTE  # one a minute is kept of six
    settled = min(SETTLED, days) - 1
    grown = max(memory[settled:]) - memory[settled]
    broken = []
    if grown > GROWTH:
        broken.append(f"memory grew by {grown / 1024:.1f} MiB after day {settled + 1}")
    if max(files[settled:]) > files[settled]:
        broken.append(f"open files grew from {files[settled]} to {max(files)}")
    if (size - ASIDE) / rows > BYTES:
        broken.append(f"{size / rows:.1f} bytes a row; the documents say at most {BYTES}")
    figures: dict[str, object] = {
        "readings": days * SENSORS * DAY // EVERY, "events": told, "memory grew by, KiB": grown,
        "files": files[-1], "bytes a row": round(size / rows, 1), "file, MiB": round(size / 2**20, 1),
    }  # fmt: skip
    return figures, broken


def run(seed: int, rounds: int) -> Result:
    """Live `rounds` days; see the top."""
    with tempfile.TemporaryDirectory(prefix="month-") as folder:
        figures, broken = asyncio.run(live(seed, rounds, Path(folder)))
    return Result("month", seed, rounds, figures, broken)
