"""Fits: what the forecast costs, and whether the loop feels a fit that runs in the worker's thread.

Two daemons live side by side in processes of their own, each with ten freezers that are heard two hundred times a
second. In one of them the worker fits all the time, which is far more than the six an hour of a freezer that warms. Who
waits at the two doors in turn sees what the loop's stalls are with and without.

`python -m tests.bench.fits FOLDER busy` is one of the two.
"""

import asyncio
import contextlib
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from gatewayd.clock import SystemClock
from gatewayd.daemon.run import Daemon
from gatewayd.door import NotRunning, ask
from gatewayd.model.given import SourceNews
from gatewayd.model.house import Freezer, House, Sensor
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Settings, Storing
from gatewayd.thermal.computing import Wanted, compute
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.picture import Picture
from gatewayd.watchdog import Watchdog
from tests.bench.process import python, until
from tests.bench.result import ROUNDS, Row
from tests.bench.stalls import percentile, waits

FREEZERS = 10
SECONDS = 8.0
STALLS, FIT, LOOK = 3.0, 0.4, 5.0  # times, s, ms
DAYS, OUTAGE = 3, 12 * 60  # days of cycles, then min without cooling


def air(minute: int) -> float:
    """Return the air (°C) of a freezer that cycles for some days and then warms towards its food and its room."""
    over = minute - DAYS * 1440
    if over < 0:
        return round(-20 + 3.5 * abs((minute / 25) % 2 - 1), 1)
    return round(-16.5 + 2.2 * (1 - 0.5 ** (over / 45)) + 0.006 * over, 1)


def warming() -> Picture:
    """Return a freezer that has not cooled for twelve hours."""
    picture = Picture(Facts())
    for minute in range(DAYS * 1440 + OUTAGE):
        picture.take(minute, air(minute))
        now = Moment(minute * MINUTE, minute * MINUTE)
        if minute and minute % 1440 == 0:
            picture.fitted(compute(picture.ask(minute)), now)
        picture.look(now)
    return picture


def wanted(picture: Picture) -> Wanted:
    """Return the fit that is due now."""
    found = picture.ask(DAYS * 1440 + OUTAGE)
    if not found.beyond or found.frame.since is None:
        raise RuntimeError("the freezer is not seen to warm")
    return found


def costs() -> list[Row]:
    """Measure one fit at twelve hours, and one look a minute."""
    picture, fits, looks = warming(), [], []
    want = wanted(picture)
    minute = DAYS * 1440 + OUTAGE
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        compute(want)
        fits.append(time.perf_counter() - begin)
        spent = []
        for _ in range(60):
            picture.take(minute, air(minute))
            minute += 1
            begin = time.perf_counter()
            picture.look(Moment(minute * MINUTE, minute * MINUTE))
            spent.append(time.perf_counter() - begin)
        looks.append(statistics.mean(spent) * 1e3)
    return [
        Row("a fit at 12 h of an outage", FIT, tuple(fits), f"{len(want.frame.course)} minutes known", unit=" s"),
        Row("a freezer's look at itself, each minute", LOOK, tuple(looks), "mean of 60 in an outage", unit=" ms"),
    ]


# -- the two daemons ---------------------------------------------------------------------------------------


def house() -> House:
    """Return a house of ten freezers."""
    names = [f"freezer-{n}" for n in range(FREEZERS)]
    return House(
        "heron-lane",
        "Heron Lane",
        freezers={name: Freezer(name, name, sensors=(f"{name}-air",)) for name in names},
        sensors={f"{name}-air": Sensor(f"{name}-air", name, "home", f"air/{name}") for name in names},
        sources={"home": "Home broker"},
    )


async def live(folder: Path, *, busy: bool) -> None:
    """Run a daemon that hears its freezers, and fits all the time where it is `busy`."""
    wired = house()
    storing = Storing(folder / "state" / "house.db")
    settings = Settings(wired, {}, storing, folder / "door", (), folder / "house.yaml")
    daemon, clock = Daemon(settings, lambda: settings, SystemClock(), Watchdog({}), folder / "state"), SystemClock()
    want = wanted(warming()) if busy else None
    running = asyncio.create_task(daemon.run(), name="the daemon")
    while not hasattr(daemon, "_sources"):
        await clock.sleep(10)
    gateway, worker = daemon._gateway, daemon._worker
    gateway.give(SourceNews("home", up=True))
    count = 0
    while not running.done():
        for sensor in wired.sensors:
            gateway.hear(Heard("home", sensor, f"{air(count)}".encode(), clock.now()), None)
        if want is not None and not worker._waiting:
            worker.want([("freezer-0", want)])
        count += 1
        await clock.sleep(50)


@contextlib.contextmanager
def daemon(folder: Path, how: str) -> Iterator[Path]:
    """Run one of the two and give its door."""
    folder.mkdir()
    with subprocess.Popen(python("-m", "tests.bench.fits", str(folder), how)) as process:
        try:
            until(lambda: _answers(folder / "door"), "the daemon answers", 60)
            yield folder / "door"
        finally:
            process.kill()


def _answers(door: Path) -> bool:
    try:
        return bool(next(ask(door, {"ask": "hello"})))
    except (NotRunning, OSError):
        return False


def measure() -> list[Row]:
    """Compare the waits at both doors, and add what a fit and a look cost."""
    p99: tuple[list[float], list[float]] = ([], [])
    longest: tuple[list[float], list[float]] = ([], [])
    with (
        tempfile.TemporaryDirectory() as name,
        daemon(Path(name) / "calm", "calm") as calm,
        daemon(Path(name) / "busy", "busy") as busy,
    ):
        time.sleep(2)
        for _ in range(ROUNDS):
            for found, most, those in zip(p99, longest, waits(calm, busy, SECONDS), strict=True):
                found.append(percentile(those, 0.99))
                most.append(max(those))
    ratios = tuple(ours / plain for plain, ours in zip(*p99, strict=True))
    figures = (
        f"p99 {statistics.median(p99[1]) * 1e3:.2g} ms against {statistics.median(p99[0]) * 1e3:.2g} ms, longest "
        f"{max(longest[1]) * 1e3:.3g} ms against {max(longest[0]) * 1e3:.3g} ms"
    )
    return [Row("wait at the door while the worker fits, p99", STALLS, ratios, figures), *costs()]


if __name__ == "__main__":
    asyncio.run(live(Path(sys.argv[1]), busy=sys.argv[2] == "busy"))
