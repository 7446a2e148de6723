"""A house under load for the tortures: real broker, real mail server over TLS, the real daemon as a process, sensors.

The daemon runs as ever but for one thing: it is told that the wall clock is kept right, which the kernel of a container
never says. Only then does it take the sensors' own time stamps, as it does in a house with the internet.
"""

import asyncio
import contextlib
import json
import logging
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Self

from gatewayd.door import NotRunning, ask
from gatewayd.message.join import SENT_AGAIN
from tests.rigs import certs
from tests.rigs.broker import KEEPER, KEEPER_PASSWORD, LOSSLESS, Mosquitto
from tests.rigs.mail import PASSWORD, USER, MailServer, mail_server
from tests.rigs.publisher import Publisher
from tests.torture.result import Result, until

RUN = (
    "from gatewayd.clock import SystemClock; SystemClock.synced = lambda _: True; "
    "from gatewayd.cli.main import main; main()"
)
SWINGING, OTHERS = "shed-air", ("cellar-1", "cellar-2", "cellar-3", "cellar-4", "cellar-5")
SENSORS = (SWINGING, *OTHERS)
WARM, COLD = -11.0, -14.0  # on either side of High (-12 °C) and its deadband (1 K), below the 5 K of a garbled jump

SETTINGS = """
site: {{id: heron-lane, name: Heron Lane, time_zone: Europe/London}}
freezers:
  shed-chest:
    name: Shed chest
    place: shed
    sensors: [shed-air]
    limits: {{high_on_delay: {delay}, off_delay: {delay}}}
    alarms: {{high: high, chattering: off}}  # here it comes and goes on purpose, and every spell must be told
  cellar-upright: {{name: Cellar upright, sensors: [cellar-1, cellar-2, cellar-3, cellar-4, cellar-5]}}
sensors:
{sensors}
brokers:
  shed: {{host: localhost, port: {port}, user: {user}, password: "${{BROKER_PASSWORD}}", window: {window}}}
telling: {{join_within: 0 s, note: off, test: off}}
people:
  ann: {{name: Ann, told_by: [ann-mail]}}
routes:
  ann-mail:
    ca: {ca}
    mail: {{host: localhost, port: {mail}, security: starttls, user: {mail_user}, password: "${{MAIL_PASSWORD}}",
           from: watch@heron.test, to: ann@heron.test}}
store: {{keep_every: 0, commit_every: {commit_every}}}
"""


class Post:
    """A real mail server over TLS, in a thread and loop of its own."""

    def __init__(self, folder: Path) -> None:
        """Make its papers."""
        self.papers = certs.make(folder)
        logging.getLogger("mail.log").setLevel(logging.ERROR)  # aiosmtpd warns of itself at every log-in
        self.server = MailServer()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="mail server")

    async def _serve(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        async with mail_server(self.papers.good) as self.server:
            self._ready.set()
            await self._stop.wait()

    def told(self) -> dict[int, list[bool]]:
        """Return what arrived: the number of the event -> for each copy in order, whether it says "sent again"."""
        found: dict[int, list[bool]] = defaultdict(list)
        for mail in self.server.mails:
            body = str(mail.get_content()).replace("\r\n", "\n")
            parts = re.split(r"\n\n(?=\d+\. )", body) if re.search(r"^1\. ", body, re.MULTILINE) else ["", body]
            for part in parts[1:]:
                number = re.search(r"^Message (\d+)\.", part, re.MULTILINE)
                found[int(number[1]) if number else 0].append(SENT_AGAIN in part)
        return dict(found)

    def __enter__(self) -> Self:
        """Start."""
        self._thread.start()
        self._ready.wait(10)
        return self

    def __exit__(self, *exc: object) -> None:
        """Stop."""
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(10)


class Household:
    """The daemon's settings, its process, its door and its file."""

    def __init__(self, folder: Path, broker: Mosquitto, post: Post, **more: object) -> None:
        """Write the settings; `more` changes delay, window and commit_every."""
        self.folder, self.settings = folder, folder / "gatewayd.yaml"
        self.door, self.database = folder / "door.sock", folder / "state" / "house.db"
        values: dict[str, object] = {"delay": "0.4 s", "window": 20, "commit_every": "1 s"} | more
        sensors = "\n".join(
            f"  {name}: {{broker: shed, topic: house/{name}, payload: json, value: /c, time: /t}}" for name in SENSORS
        )
        self.settings.write_text(
            SETTINGS.format(
                sensors=sensors, port=broker.port, user=KEEPER, ca=post.papers.ca, mail=post.server.port,
                mail_user=USER, **values,
            )
        )  # fmt: skip
        self.env = os.environ | {
            "STATE_DIRECTORY": str(folder / "state"), "RUNTIME_DIRECTORY": str(folder), "PYTHONUNBUFFERED": "1",
            "BROKER_PASSWORD": KEEPER_PASSWORD, "MAIL_PASSWORD": PASSWORD,
        }  # fmt: skip
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, before: Sequence[str] = ()) -> None:
        """Start the daemon and do not wait; `before` is a program that is to run it."""
        command = [*before, sys.executable, "-c", RUN, "run", "--settings", str(self.settings)]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(command, env=self.env, stdout=log, stderr=log)

    def up(self, before: Sequence[str] = ()) -> Self:
        """Start the daemon and wait until its broker is connected."""
        self.start(before)
        return self.up_again()

    def up_again(self) -> Self:
        """Wait until its broker is connected."""
        self.until(lambda: [s["up"] for s in self.status().get("sources", [])] == [True], "the daemon is connected")
        return self

    def until(self, condition: Any, what: str, seconds: float = 60.0) -> float:
        """Wait for a condition while the daemon lives; return how long (s)."""
        try:
            return until(lambda: condition() or not self._lives(), what, seconds)
        except TimeoutError as late:
            raise TimeoutError(f"{late}\n{self.log()[-3000:]}") from None

    def _lives(self) -> bool:
        if self.process is None or self.process.poll() is not None:
            raise RuntimeError(f"the daemon is not there\n{self.log()[-3000:]}")
        return True

    def status(self) -> dict[str, Any]:
        """Ask at the door, {} when nobody answers."""
        return next(iter(self.ask({"ask": "status"})), {})

    def ask(self, request: Mapping[str, Any]) -> list[dict[str, Any]]:
        """Ask at the door and return the answers, [] when nobody answers to the end."""
        with contextlib.suppress(NotRunning, OSError, ValueError):
            return list(ask(self.door, request, patience=10.0))
        return []

    def memory(self) -> float:
        """Return the most memory (MB) the daemon has had in the machine so far."""
        if self.process is None:
            raise RuntimeError("the daemon does not run")
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) / 1000

    def signal(self, number: signal.Signals) -> None:
        """Send the daemon a signal."""
        if self.process is None:
            raise RuntimeError("the daemon does not run")
        self.process.send_signal(number)

    def kill(self) -> None:
        """End the daemon as a power cut would end it, but for the disk."""
        self.signal(signal.SIGKILL)
        self._gone()

    def down(self) -> int:
        """Stop the daemon in order and return its exit code."""
        self.signal(signal.SIGTERM)
        return self._gone()

    def _gone(self) -> int:
        if self.process is None:
            raise RuntimeError("the daemon does not run")
        code = self.process.wait(20)
        self.process = None
        return code

    def log(self) -> str:
        """Return what the daemon wrote."""
        path = self.folder / "log"
        return path.read_text() if path.exists() else ""

    def look(self, query: str, *values: object) -> list[Any]:
        """Read the daemon's file, which a running daemon goes on writing."""
        conn = sqlite3.connect(f"file:{self.database}?mode=ro", uri=True, timeout=10)
        try:
            return conn.execute(query, values).fetchall()
        finally:
            conn.close()

    def copy_of_file(self) -> sqlite3.Connection:
        """Open a copy of the file as it lies there, log and all: what a look repairs must not help the daemon."""
        with tempfile.TemporaryDirectory(prefix="kill-") as folder:
            for path in (self.database, self.database.with_name("house.db-wal")):
                if path.exists():
                    shutil.copyfile(path, Path(folder) / path.name)
            with contextlib.closing(sqlite3.connect(Path(folder) / "house.db")) as there:
                copy = sqlite3.connect(":memory:")
                found = there.execute("PRAGMA integrity_check").fetchone()[0]
                if found != "ok":
                    raise sqlite3.DatabaseError(found)
                there.backup(copy)
                return copy

    def __enter__(self) -> Self:
        """Start it, connected."""
        return self.up()

    def __exit__(self, *exc: object) -> None:
        """End it whatever it does."""
        if self.process is not None:
            self.process.kill()
            self._gone()


@contextmanager
def household(extra: Sequence[str] = LOSSLESS, **more: object) -> Iterator[tuple[Mosquitto, Post, Household]]:
    """Give a broker and a mail server that run, and a household that does not yet; `more` as for Household."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="torture-")))
        broker, post = stack.enter_context(Mosquitto(extra=extra)), stack.enter_context(Post(folder))
        house = Household(folder, broker, post, **more)
        stack.callback(house.__exit__)
        yield broker, post, house


class Feed:
    """Sensors that publish numbered readings with stamps of their own, in a thread.

    `sent` is sensor -> stamp -> thousandths of a degree. `swing` lets the first sensor swing across its limit; else it
    stands at `celsius`.
    """

    def __init__(
        self,
        broker: Mosquitto,
        rng: random.Random,
        *,
        every: float = 0.1,
        turn: tuple[float, float] = (0.8, 2.0),
        keeps: int = 0,
    ) -> None:
        """Publish from each sensor every so many seconds, and turn from cold to warm and back after `turn` seconds."""
        self.sent: dict[str, dict[int, int]] = {name: {} for name in SENSORS}
        self.swing = True
        self.celsius = COLD
        self._rng, self._every, self._span = rng, every, turn
        self._publishers = {name: Publisher(broker, f"sensor-{name}", keeps=keeps) for name in SENSORS}
        self._end = threading.Event()
        self._turn, self._latest = 0.0, 0
        self._thread = threading.Thread(target=self._run, name="sensors")

    @property
    def total(self) -> int:
        """Return how many were published."""
        return sum(len(those) for those in self.sent.values())

    def send(self, name: str, celsius: float) -> int:
        """Publish one reading and return its stamp (wall ms)."""
        mine = self.sent[name]
        stamp = self._latest = max(time.time_ns() // 1_000_000, self._latest + 1)  # no two readings share one
        mine[stamp] = round(celsius * 1000)
        payload = json.dumps({"n": len(mine), "c": round(celsius, 3), "t": stamp})
        self._publishers[name].send(f"house/{name}", payload)
        return stamp

    def _run(self) -> None:
        while not self._end.wait(self._every):
            if self.swing and time.monotonic() > self._turn:
                self._turn = time.monotonic() + self._rng.uniform(*self._span)
                self.celsius = COLD if self.celsius == WARM else WARM
            self.send(SWINGING, self.celsius + self._rng.randrange(400) / 1000)
            for name in OTHERS:
                self.send(name, -22 + len(self.sent[name]) % 4000 / 1000)

    def cool(self) -> None:
        """Let the swinging freezer be cold from now on."""
        self.swing, self.celsius = False, COLD

    def stop(self) -> None:
        """Publish no more and wait until the broker has everything."""
        self._end.set()
        self._thread.join()
        for publisher in self._publishers.values():
            publisher.wait(60)

    def __enter__(self) -> Self:
        """Start."""
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Stop whatever stands open."""
        self._end.set()
        self._thread.join()
        for publisher in self._publishers.values():
            publisher.__exit__()


STORED = """SELECT s.sensor, r.t, r.value FROM {} r JOIN series s ON s.id = r.series WHERE s.quantity = 'temperature'"""
LATE = "SELECT s.sensor, r.last, r.value FROM late r JOIN series s ON s.id = r.series WHERE s.quantity = 'temperature'"


def stored(house: Household) -> Counter[tuple[str, int, int]]:
    """Return (sensor, stamp, thousandths) of all that is stored, each with how often."""
    queries = (STORED.format("log"), STORED.format("reading"), LATE)
    return Counter((str(row[0]), int(row[1]), int(row[2])) for query in queries for row in house.look(query))


def check_readings(result: Result, house: Household, feed: Feed) -> None:
    """Hold that each published reading is stored once."""
    found = stored(house)
    wanted = {(name, stamp, value) for name, those in feed.sent.items() for stamp, value in those.items()}
    lost, double = wanted - found.keys(), [row for row, n in found.items() if n > 1]
    result.hold(not lost, f"{len(lost)} readings are lost, one is {min(lost, default=None)}")
    result.hold(not double, f"{len(double)} readings are stored twice, one is {min(double, default=None)}")
    result.hold(found.keys() <= wanted, f"{len(found.keys() - wanted)} readings are stored that nobody sent")
    result.figures |= {"readings published": len(wanted), "lost": len(lost), "stored twice": len(double)}


def check_told(result: Result, house: Household, post: Post, caught: Mapping[int, int]) -> None:
    """Hold that events have no holes, that each to be told was told, once, or again after a crash and saying so.

    `caught` counts, by event, how many kills found its message under way: each of them may repeat it once. One that is
    caught again while it is sent again may come a third time; nobody can know that the second had arrived.
    """
    events = house.look("SELECT number, kind, what FROM event ORDER BY number")
    result.hold([e[0] for e in events] == list(range(1, len(events) + 1)), "the numbers of the events have holes")
    alarms = {number for number, kind, what in events if kind == "high" and what in ("raised", "over")}
    noticed = {row[0] for row in house.look("SELECT event FROM notice")}
    told = post.told()
    result.hold(alarms <= noticed, f"events without a notice: {sorted(alarms - noticed)[:9]}")
    result.hold(noticed <= told.keys(), f"notices without a mail: {sorted(noticed - told.keys())[:9]}")
    result.hold(told.keys() <= noticed, f"mails without a notice: {sorted(told.keys() - noticed)[:9]}")
    for number, copies in told.items():
        most = 1 + caught.get(number, 0)
        result.hold(len(copies) <= most, f"event {number} was mailed {len(copies)} times, crashes explain {most}")
        result.hold(copies.count(False) <= 1, f"event {number} was mailed again without saying so: {copies}")
    repeats = [len(copies) - 1 for copies in told.values()]
    result.figures |= {
        "events": len(events), "alarms raised and over": len(alarms), "mails": sum(map(len, told.values())),
        "messages repeated": sum(n > 0 for n in repeats),
        "of them repeated more than once, by a kill each time": sum(n > 1 for n in repeats),
    }  # fmt: skip


def last_alarm(house: Household) -> str | None:
    """Return what happened last to the swinging freezer's alarm: raised, over, or None for nothing yet."""
    query = "SELECT what FROM event WHERE kind = 'high' AND what IN ('raised', 'over') ORDER BY number DESC LIMIT 1"
    return next((str(row[0]) for row in house.look(query)), None)


def all_sent(house: Household) -> bool:
    """Return whether no message waits or is under way."""
    return not house.look("SELECT 1 FROM delivery WHERE progress IN ('waiting', 'sending') LIMIT 1")


def settle(house: Household, feed: Feed, *, hurry: bool = False) -> None:
    """Cool down, stop publishing, and wait until all is stored, over and told.

    `hurry` gives orders meanwhile, each of which is committed at once with all that waits.
    """

    def all_stored() -> bool:
        if hurry:
            house.ask({"ask": "order", "verb": "acknowledge", "alarm": 0, "key": f"hurry-{time.monotonic_ns()}"})
        return len(stored(house)) >= feed.total

    feed.cool()
    house.until(lambda: last_alarm(house) != "raised", "every alarm is over", 90)
    feed.stop()
    house.until(all_stored, "every reading is stored", 90)
    house.until(lambda: all_sent(house), "every message is sent", 120)
