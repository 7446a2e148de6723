"""Take the disk away in every way there is, under load, and see that alarms are told and all goes on by itself.

Each round is one bad day of a fresh house: the trouble begins, a freezer warms, its mail must come; the trouble ends,
and everything must be as ever: readings stored, nothing doubled, the keeper told once, the file sound.
"""

import contextlib
import os
import random
import resource
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.rigs.broker import Mosquitto
from tests.torture.house import COLD, SENSORS, WARM, Feed, Household, Post, check_readings, household, stored
from tests.torture.loop import Loop, able
from tests.torture.result import Result, until

# s from the first warm reading to the mail. Under this load the broker's window of 20 is used up in a third of a second
# of trouble, and only the gateway's patience of 10 s lets it go on.
TOLD_WITHIN = 20.0
AGAIN_WITHIN = 90.0  # s from the end of the trouble to all as ever: the daemon tries at least once a minute
ENDS_WITHIN = 5.0  # s, the promise of an orderly end
GROWS_MOST = 30.0  # MB of memory above that before the trouble


@dataclass
class Bad:
    """Hold one round: the house, its disk, and the seeded choices."""

    result: Result
    broker: Mosquitto
    post: Post
    house: Household
    feed: Feed
    disk: Loop | None
    rng: random.Random
    lasts: float
    day: str = ""
    speed: float = 0.0  # bytes a second that went to the disk before the trouble
    forgets: bool = False  # what was told from memory could not be noted down anywhere, and is told again
    loses: bool = False  # readings may be missing: part of the file was destroyed

    @property
    def state(self) -> Path:
        """Return the folder of the store."""
        return self.house.database.parent

    def hold(self, true: object, what: str) -> None:
        """Note that something must hold on this day."""
        self.result.hold(true, f"{self.day}: {what}")

    def subjects(self, part: str) -> int:
        """Return how many mails have it in the subject, or in the body of a joined one."""
        mails = self.post.server.mails
        return sum(part in f"{mail['Subject']} {mail.get_content()}" for mail in mails)

    def warm_is_told(self) -> None:
        """Let the freezer warm and hold that its mail comes."""
        before = self.subjects("Shed chest is too warm")
        self.feed.celsius = WARM
        took = self.house.until(lambda: self.subjects("Shed chest is too warm") > before, "the alarm's mail", 60)
        self.hold(took <= TOLD_WITHIN, f"the alarm was told after {took:.0f} s only")
        longest = max(took, float(str(self.result.figures.get("s to the slowest alarm", 0))))
        self.result.figures["s to the slowest alarm"] = round(longest, 1)

    def cold_again(self) -> None:
        """Let it be cold and hold that this is told too."""
        before = self.subjects("Shed chest is cold again")
        self.feed.celsius = COLD
        self.house.until(lambda: self.subjects("Shed chest is cold again") > before, "the mail that it is over", 60)

    def as_ever(self) -> None:
        """Hold that readings are stored again by itself."""
        fresh = self.feed.send(SENSORS[1], -20.0)

        def is_stored() -> bool:
            with contextlib.suppress(sqlite3.Error):
                return any(stamp >= fresh for _, stamp, _ in stored(self.house))
            return False

        took = self.house.until(is_stored, "readings are stored again", AGAIN_WITHIN + 30)
        self.hold(took <= AGAIN_WITHIN, f"readings were stored again after {took:.0f} s only")
        longest = max(took, float(str(self.result.figures.get("s to the slowest return", 0))))
        self.result.figures["s to the slowest return"] = round(longest, 1)

    def last(self) -> None:
        """Let the trouble last."""
        time.sleep(self.lasts)

    def stop(self) -> None:
        """Hold that the daemon ends in time, in order."""
        begin = time.monotonic()
        code = self.house.down()
        took = time.monotonic() - begin
        self.hold(code == 0, f"the daemon ended with {code}")
        self.hold(took <= ENDS_WITHIN, f"the daemon took {took:.1f} s to end")
        longest = max(took, float(str(self.result.figures.get("s to the slowest end", 0))))
        self.result.figures["s to the slowest end"] = round(longest, 1)

    def crash(self) -> None:
        """Kill the daemon."""
        self.house.kill()

    def start(self) -> None:
        """Start it and wait for the broker."""
        self.house.start()
        self.house.up_again()

    def wrote(self) -> int:
        """Return the bytes that went to the disk of its own, else those the daemon has sent to any."""
        if self.disk is not None:
            return self.disk.written()
        process = self.house.process
        if process is None:
            raise RuntimeError("the daemon does not run")
        return int(Path(f"/proc/{process.pid}/io").read_text().split("write_bytes: ")[1].split()[0])


# -- the days ------------------------------------------------------------------------------------------------------


def full(bad: Bad) -> None:
    """Fill the disk, under the daemon."""
    with _full(bad):
        bad.warm_is_told()
        wrote, begin = bad.wrote(), time.monotonic()
        bad.last()
        speed = (bad.wrote() - wrote) / (time.monotonic() - begin)
        bad.hold(speed < bad.speed, f"{speed:.0f} bytes a second were written to a full disk, {bad.speed:.0f} before")
        bad.result.figures["bytes/s of tries on a full disk"] = round(speed)
        bad.result.figures["bytes/s before it was full"] = round(bad.speed)


@contextmanager
def _full(bad: Bad) -> Iterator[None]:
    """Take all room, or where that is not allowed, the right to make any file longer."""
    if bad.disk is not None:
        bad.disk.fill(left=bad.rng.choice((0, 0, 4096, 40_960)))
        yield
        bad.disk.free()
        return
    process = bad.house.process
    if process is None:
        raise RuntimeError("the daemon does not run")
    before = resource.prlimit(process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (8192, before[1]))
    yield
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, before)


def full_at_stop(bad: Bad) -> None:
    """Stop while the disk is full; what was not stored must come again from the broker."""
    with _full(bad):
        bad.warm_is_told()
        bad.stop()
    bad.start()


def full_at_start(bad: Bad) -> None:
    """Start on a full disk."""
    bad.stop()
    if bad.disk is None:
        raise RuntimeError("needs a disk of its own")
    bad.disk.fill()
    bad.start()
    bad.warm_is_told()
    bad.last()
    bad.disk.free()


def read_only(bad: Bad) -> None:
    """Let the files refuse to be written, under the daemon."""
    parts = [str(path) for path in (bad.house.database, bad.house.database.with_name("house.db-wal"), bad.state)]
    subprocess.run(["chattr", "+i", *parts], check=True)
    try:
        bad.warm_is_told()
        bad.last()
    finally:
        subprocess.run(["chattr", "-i", *reversed(parts)], check=True)


def read_only_at_start(bad: Bad) -> None:
    """Start on a disk that is mounted read-only, after a stop or a crash."""
    bad.rng.choice((bad.stop, bad.crash))()
    if bad.disk is None:
        raise RuntimeError("needs a disk of its own")
    bad.disk.remount("ro")
    bad.start()
    bad.warm_is_told()
    bad.last()
    bad.disk.remount("rw")


def card_fails(bad: Bad) -> None:
    """Let the file system turn read-only for good; somebody mends it later and mounts it anew."""
    if bad.disk is None:
        raise RuntimeError("needs a disk of its own")
    subprocess.run(["sync", "-f", str(bad.state)], check=True)  # so that the log's index is clean and must be dirtied
    bad.disk.break_down()
    with contextlib.suppress(RuntimeError):  # the kernel may kill it: the index of the log is memory on that disk
        bad.warm_is_told()
        bad.last()
    if bad.house.process is not None and bad.house.process.poll() is None:
        bad.stop()
    else:
        bad.result.figures["killed by a failing card"] = (
            int(str(bad.result.figures.get("killed by a failing card", 0))) + 1
        )
        bad.house.process = None
        bad.start()  # as the service manager does
        bad.warm_is_told()
        bad.stop()
    bad.disk.unmount()
    bad.disk.mount()
    bad.start()
    bad.warm_is_told()
    bad.forgets = True
    bad.loses = True  # a disk that is gone for longer than the patience with it costs what was not redelivered


def card_kills(bad: Bad) -> None:
    """Let a failing card take the daemon with it, and start it while nothing on that disk can be written.

    The index of the log is memory that lies on the disk: where the kernel cannot make it writable it sends SIGBUS. When
    that happens is chance, so it is sent here.
    """
    parts = [str(path) for path in (*sorted(bad.state.glob("house.db*")), bad.state)]
    subprocess.run(["chattr", "+i", *parts], check=True)
    try:
        bad.house.signal(signal.SIGBUS)
        until(lambda: bad.house.process is None or bad.house.process.poll() is not None, "it is gone", 10)
        bad.house.process = None
        bad.start()
        bad.warm_is_told()
        bad.last()
    finally:
        subprocess.run(["chattr", "-i", *reversed(parts)], check=True)


def frozen(bad: Bad) -> None:
    """Let every write hang."""
    if bad.disk is None:
        raise RuntimeError("needs a disk of its own")
    bad.disk.freeze(on=True)
    try:
        bad.warm_is_told()
        bad.last()
    finally:
        bad.disk.freeze(on=False)


def locked(bad: Bad) -> None:
    """Let another process hold a write transaction."""
    with contextlib.closing(sqlite3.connect(bad.house.database, isolation_level=None, timeout=10)) as other:
        other.execute("BEGIN IMMEDIATE")
        bad.warm_is_told()
        bad.last()
        other.execute("ROLLBACK")


def locked_at_start(bad: Bad) -> None:
    """Start while another process holds a write transaction."""
    bad.rng.choice((bad.stop, bad.crash))()
    with contextlib.closing(sqlite3.connect(bad.house.database, isolation_level=None, timeout=10)) as other:
        other.execute("BEGIN IMMEDIATE")
        bad.start()
        bad.warm_is_told()
        bad.last()
        other.execute("ROLLBACK")


def locked_at_stop(bad: Bad) -> None:
    """Stop while another process holds a write transaction."""
    with contextlib.closing(sqlite3.connect(bad.house.database, isolation_level=None, timeout=10)) as other:
        other.execute("BEGIN IMMEDIATE")
        bad.warm_is_told()
        bad.stop()
        other.execute("ROLLBACK")
    bad.start()


def long_reader(bad: Bad) -> None:
    """Let another process read in one long transaction; nothing at all may be told of that."""
    with contextlib.closing(sqlite3.connect(bad.house.database, isolation_level=None, timeout=10)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM event").fetchone()
        bad.warm_is_told()
        bad.last()
        other.execute("ROLLBACK")
    bad.hold(bad.subjects("cannot be written") == 0, "a reader was told of as trouble")


def vanished(bad: Bad) -> None:
    """Delete the file, or move it away, under the daemon."""
    how = bad.rng.choice(("deleted", "all deleted", "moved"))
    if how == "moved":
        bad.house.database.rename(bad.state / "elsewhere.db")
    else:
        bad.house.database.unlink()
    if how == "all deleted":
        for path in bad.state.glob("house.db-*"):
            path.unlink()
    bad.warm_is_told()


def replaced(bad: Bad) -> None:
    """Put another file in its place, under the daemon."""
    other = bad.state / "other"
    other.write_bytes(b"plums and beans" * 1000)
    other.rename(bad.house.database)
    bad.warm_is_told()
    until(lambda: list(bad.state.glob("house.db.*Z")), "the stranger's file is set aside", 30)
    bad.hold(any(path.read_bytes()[:5] == b"plums" for path in bad.state.glob("house.db.*Z")), "it was thrown away")


def damaged_page(bad: Bad) -> None:
    """Overwrite pages in the middle of the file, under the daemon."""
    bad.loses = True
    subprocess.run(["sync", "-f", str(bad.state)], check=True)
    _hurt(bad, bad.house.database, bad.rng.randrange(1, 4))
    bad.warm_is_told()
    bad.last()


def damaged_log(bad: Bad) -> None:
    """Overwrite part of the log beside the file, under the daemon."""
    bad.loses = True
    _hurt(bad, bad.house.database.with_name("house.db-wal"), 1)
    bad.warm_is_told()
    bad.last()


def damaged_log_at_start(bad: Bad) -> None:
    """Find the log damaged after a crash."""
    bad.loses = True
    bad.crash()
    _hurt(bad, bad.house.database.with_name("house.db-wal"), 1, early=True)
    bad.start()
    bad.warm_is_told()
    until(lambda: bad.subjects("was put right") == 1, "the keeper is told", 30)
    bad.hold(list(bad.state.glob("house.db.damaged-*-wal")), "the damaged log was thrown away")


def damaged_at_start(bad: Bad) -> None:
    """Find the whole file or its first page destroyed at the start, with nothing left in the log."""
    bad.loses = True
    bad.stop()
    size = bad.house.database.stat().st_size
    with bad.house.database.open("r+b") as raw:
        raw.write(b"\xa5" * bad.rng.choice((4096, size)))
    bad.start()
    bad.warm_is_told()
    until(lambda: bad.subjects("was put right") == 1, "the keeper is told", 30)
    bad.hold(list(bad.state.glob("house.db.*Z")), "the damaged file was thrown away")


def _hurt(bad: Bad, path: Path, pages: int, *, early: bool = False) -> None:
    size = path.stat().st_size
    place = bad.rng.randrange(4096, max(4097, size // (3 if early else 1) - 4096))
    handle = os.open(path, os.O_WRONLY)
    try:
        os.pwrite(handle, bad.rng.randbytes(pages * 4096), place)
        os.fsync(handle)
    finally:
        os.close(handle)


ANYWHERE: tuple[Callable[[Bad], None], ...] = (
    full, full_at_stop, locked, locked_at_start, locked_at_stop, long_reader, vanished, replaced, damaged_page,
    damaged_log, damaged_log_at_start, damaged_at_start,
)  # fmt: skip
WITH_ROOT = (full_at_start, read_only, read_only_at_start, card_fails, card_kills, frozen)
ROUNDS = 3 * (len(ANYWHERE) + len(WITH_ROOT))
LASTS = (5.0, 60.0)  # s the trouble lasts


def run(seed: int, rounds: int, lasts: tuple[float, float] = LASTS, only: str = "", every: float = 0.1) -> Result:
    """Run so many days, each kind in turn; `only` names one kind, sensors publish `every` so many seconds."""
    result, rng = Result("disk", seed, rounds), random.Random(seed)
    rooted = able()
    if not rooted:
        print("not root: what needs a disk of its own is left out, and a full disk is played by a limit on file sizes")
    days = list(ANYWHERE) + list(WITH_ROOT if rooted else ())
    days = [day for day in days if only in {"", day.__name__}]
    for number in range(1, rounds + 1):
        if (number - 1) % len(days) == 0:
            rng.shuffle(days)
        day = days[(number - 1) % len(days)]
        begin = time.monotonic()
        try:
            line = _round(result, day, random.Random(rng.random()), lasts, every, rooted=rooted)
        except (TimeoutError, RuntimeError) as wrong:
            result.hold(False, f"{day.__name__}: {wrong}")
            line = "broken off"
        result.round(number, f"{day.__name__}: {line}, {time.monotonic() - begin:.0f} s")
    result.figures["kinds of days"] = len(days)
    return result


def _round(
    result: Result,
    day: Callable[[Bad], None],
    rng: random.Random,
    lasts: tuple[float, float],
    every: float,
    *,
    rooted: bool,
) -> str:
    with contextlib.ExitStack() as stack:
        broker, post, house = stack.enter_context(household(commit_every="1 s"))
        state = house.database.parent
        disk = stack.enter_context(Loop(state)) if rooted else None
        stack.callback(house.__exit__)
        house.up()
        feed = stack.enter_context(Feed(broker, random.Random(rng.random()), every=every))
        feed.swing = False
        bad = Bad(result, broker, post, house, feed, disk, rng, rng.uniform(*lasts), day.__name__)
        wrote, begin = bad.wrote(), time.monotonic()
        house.until(lambda: feed.total > 18, "some readings")
        bad.warm_is_told()
        bad.cold_again()
        _copy(bad)
        before, bad.speed = house.memory(), (bad.wrote() - wrote) / (time.monotonic() - begin)
        day(bad)
        grown = house.memory() - before
        bad.cold_again()
        bad.as_ever()
        feed.stop()
        _judge(bad, grown)
        return f"trouble for {bad.lasts:.0f} s, {feed.total} published, {len(post.server.raw)} mails, +{grown:.1f} MB"


def _copy(bad: Bad) -> None:
    """Make last night's copy."""
    folder = bad.state / "copies"
    folder.mkdir(exist_ok=True)
    bad.house.ask({"ask": "backup", "path": str(folder / "gatewayd-2026-01-01.db")})


def _judge(bad: Bad, grown: float) -> None:
    """Hold what must hold at the end of every day."""
    result, house = bad.result, bad.house
    bad.hold(bad.subjects("readings cannot be written") <= 1, "the trouble was told more than once")
    bad.hold(bad.subjects("was put right") <= 1, "the mending was told more than once")
    bad.hold(grown <= GROWS_MOST, f"memory grew by {grown:.0f} MB")
    most = max(grown, float(str(result.figures.get("MB grown at most", 0))))
    result.figures["MB grown at most"] = round(most, 1)
    if not bad.loses:
        faults = len(result.faults)
        until(lambda: len(stored(house)) >= bad.feed.total, "every reading is stored", 60)
        check_readings(result, house, bad.feed)
        bad.hold(len(result.faults) == faults, "readings are lost or doubled")
    bad.stop()
    with contextlib.closing(sqlite3.connect(house.database)) as conn:
        sound = conn.execute("PRAGMA integrity_check").fetchone()[0]
        numbers = [row[0] for row in conn.execute("SELECT number FROM event ORDER BY number")]
    bad.hold(sound == "ok", f"the file is not sound: {sound}")
    told = {number: copies for number, copies in bad.post.told().items() if copies.count(False) > 1}
    bad.hold(not told or bad.forgets, f"messages were repeated without saying so: {told}")
    if not bad.loses:
        bad.hold(numbers == list(range(1, len(numbers) + 1)), f"events are missing: {numbers}")
