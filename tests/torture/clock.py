"""Bad clocks: a power cut with a computer that wakes in the past, steps of a day ahead and back, a clock that drifts.

The house is played at one reading a minute per freezer; the test knows the true time of each. After each round:
no alarm was raised by the clock, every stored stamp is the true one, the roll-ups equal a recount, and the dark
hours were told once.
"""

import asyncio
import random
import tempfile
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC
from pathlib import Path

from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.model.delivery import Progress
from gatewayd.model.given import SourceNews, Start
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.store import read
from gatewayd.store.file import open_reader
from gatewayd.store.store import Store
from gatewayd.watch.memory import restore
from gatewayd.watch.watch import Watch
from tests.days.player import BROKER, house
from tests.fakes.clock import START, FakeClock
from tests.torture.result import Result

DARK = 9 * HOUR
LATE = 40 * MINUTE  # until a time service answers
TOLERANCE = 3 * SECOND  # a step below 2 s is no step, and a drifting clock may be that far off


@dataclass
class Round:
    """Play one round on one store."""

    folder: Path
    rng: random.Random
    true: int = START  # what time it really is (wall ms)
    truths: list[int] = field(default_factory=list)
    titles: Counter[str] = field(default_factory=Counter)
    boots: int = 0

    async def begin(self, lead: int, *, trusted: bool) -> None:
        """Start the gateway in a new boot whose wall clock is `lead` ms off."""
        self.boots += 1
        self.clock = FakeClock(self.true + lead, 20 * SECOND, f"boot-{self.boots}", trusted=trusted)
        wired = house(2, keep_every=0, zone=UTC)
        self.store = await Store.open(self.folder / "house.db", UTC)
        watch = Watch(wired, self.clock.now())
        kept, alive = await self.store.snapshot(), await self.store.alive()
        if kept is not None:
            restore(watch, kept[0], self.clock.now())
        watch.alarms.number = max(watch.alarms.number, await self.store.last_event())
        mailbag = Mailbag(self.store)
        await mailbag.load()
        self.gateway = Gateway(watch, self.store, mailbag, self.clock, 30 * SECOND)
        self.gateway.give(Start(alive, trusted=trusted))
        self.gateway.give(SourceNews(BROKER, True, "it answers"))

    async def live(self, minutes: int, drift: float = 0.0) -> None:
        """Live on, with a reading a minute from each freezer and a commit every other minute."""
        for n in range(minutes):
            for freezer in ("shed-chest", "cellar-upright"):
                value = -18 + 2 * abs((n / 30) % 2 - 1) + self.rng.uniform(-0.1, 0.1)
                self.gateway.hear(Heard(BROKER, f"{freezer}-air", f"{value:.2f}".encode(), self.clock.now()), None)
                self.truths.append(self.true)
            await self.clock.advance(MINUTE)
            self.clock.set_wall(self.clock.now().wall + round(MINUTE * drift))
            self.true += MINUTE
            self.gateway.tick()
            if n % 2:
                await self.gateway.commit()

    def set_clock(self, lead: int, *, trusted: bool) -> None:
        """Set the wall clock to be `lead` ms off the true time."""
        self.clock.set_wall(self.true + lead)
        self.clock.trusted = trusted
        self.gateway.tick()

    async def end(self) -> None:
        """Lose the power: nothing is said or stored any more than it was."""
        await self.gateway.commit()
        await self.gateway.commit()
        self.titles.update(d.notice.title for d in await self.store.pending())
        for delivery in await self.store.pending():
            await self.store.finished(delivery, Progress.SENT, self.clock.now(), 0, "", False)
        await self.store.close()


async def one(seed: int, folder: Path) -> list[str]:
    """Play one round and return what did not hold."""
    rng = random.Random(seed)
    day = Round(folder, rng)
    await day.begin(0, trusted=True)
    await day.live(180, drift=rng.uniform(-1e-5, 1e-5))
    day.set_clock(0, trusted=True)
    await day.end()
    day.true += DARK
    lead = rng.choice([-DARK - HOUR, -DARK, -10 * DAY, -50 * 365 * DAY, -2 * HOUR])
    await day.begin(lead, trusted=False)
    await day.live(LATE // MINUTE)
    day.set_clock(0, trusted=True)
    await day.live(60)
    day.set_clock(DAY, trusted=True)
    await day.live(30)
    day.set_clock(0, trusted=True)
    await day.live(60)
    await day.store.tidy(day.clock.now(), 0)
    await day.end()
    return _judge(day)


def _judge(day: Round) -> list[str]:
    broken = []
    told = dict(day.titles)
    dark = {title: n for title, n in told.items() if "nothing was watched for 9 h" in title}
    if told != dark or sum(dark.values()) != 1:
        broken.append(f"told {told}; wanted one message about 9 dark hours and nothing else")
    with closing(open_reader(day.folder / "house.db")) as conn:
        stamps = sorted(r.measured_to for r in read.readings(conn, -(1 << 60), 1 << 60))
        off = [abs(a - b) for a, b in zip(stamps, sorted(day.truths), strict=False)]
        if len(stamps) != len(day.truths):
            broken.append(f"{len(stamps)} rows for {len(day.truths)} readings")
        elif max(off) > TOLERANCE:
            broken.append(
                f"a stamp is {max(off) / 1000:.0f} s off the true time ({sum(o > TOLERANCE for o in off)} rows)"
            )
        quarters = conn.execute("SELECT sum(n), sum(total) FROM quarter").fetchone()
        days = conn.execute("SELECT sum(n), sum(total) FROM day").fetchone()
        raw = conn.execute("SELECT count(*), sum(value) FROM reading").fetchone()
        if not quarters == days == raw:
            broken.append(f"roll-ups {quarters}, {days} differ from the rows {raw}")
        wrong = conn.execute(
            "SELECT count(*) FROM (SELECT series, t / 900000 AS slot, count(*) AS n, sum(value) AS total FROM reading "
            "GROUP BY 1, 2 EXCEPT SELECT series, slot, n, total FROM quarter)"
        ).fetchone()[0]
        if wrong:
            broken.append(f"{wrong} quarters differ from a recount")
    return broken


def run(seed: int, rounds: int) -> Result:
    """Play `rounds` rounds; see the top."""
    broken: list[str] = []
    for n in range(rounds):
        with tempfile.TemporaryDirectory(prefix="clock-") as folder:
            found = asyncio.run(one(seed + n, Path(folder)))
        print(f"round {n + 1}, seed {seed + n}: {'; '.join(found) or 'holds'}", flush=True)
        broken += [f"seed {seed + n}: {text}" for text in found]
    return Result("clock", seed, rounds, {"rounds that hold": rounds - len({b.split(":")[0] for b in broken})}, broken)
