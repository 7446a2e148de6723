"""Let every route to people misbehave in turn, and see that each message arrives, once, or again and saying so.

Each round has two halves. First half an hour in which time runs 30 times faster, with the real pump, real sending
children and real servers: a mail server and a web hook that refuse, hang, ask to wait, lose the answer, are gone, have
an expired certificate or no name any more, as the seed wills; a third route always works. Then a day without any mail
at all, on a clock moved by hand, with a sender that is told what to answer.
"""

import asyncio
import contextlib
import json
import logging
import random
import re
import tempfile
import time
from collections import defaultdict
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from gatewayd.clock import SystemClock
from gatewayd.message.join import MOST_AT_ONCE, SENT_AGAIN
from gatewayd.model.delivery import Progress
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.route import MailRoute, Route, Secret, UrlRoute
from gatewayd.notify import pump as pumping
from gatewayd.notify.letter import Outcome
from gatewayd.notify.pump import Pump
from gatewayd.notify.sender import Sender
from tests.fakes.clock import FakeClock, settle
from tests.fakes.sender import FakeSender
from tests.notify.conftest import children
from tests.notify.outbox import MemoryOutbox, notice
from tests.rigs import certs
from tests.rigs.broker import free_port
from tests.rigs.hook import Answer, Hook, hook_server
from tests.rigs.mail import PASSWORD, USER, MailServer, mail_server
from tests.torture.result import Result

ROUNDS = 10
FASTER = 30  # so often real time
DEADLINE = 90 * SECOND  # 3 s of real time for a child: it starts in half a second on a PC
NOTICES = 24
BELL_WITHIN = 2 * MINUTE  # fast time from a notice to the ever good route: 4 s of real time

MAIL_MOODS = (
    "take", "take", "data:451", "rcpt:550", "silent", "hang", "lose", "drip", "expired", "gone", "no name",
)  # fmt: skip
HOOK_MOODS = ("200", "200", "403", "429", "500", "hang", "lost", "trickle", "gone", "no name")
DOUBTFUL = {"lose", "lost", "hang", "trickle", "drip"}  # what was taken, or may have been, without saying so


class FastClock(SystemClock):
    """The computer's clock, running faster."""

    def __init__(self) -> None:
        """Begin now."""
        super().__init__()
        self._start = super().now()

    def now(self) -> Moment:
        """Return the fast moment."""
        real = super().now()
        return self._start.later((real.steady - self._start.steady) * FASTER)

    async def sleep(self, ms: float) -> None:
        """Wait for `ms` of fast time."""
        await asyncio.sleep(max(0.0, ms / 1000 / FASTER))


class Taken(list[bytes]):
    """What a server took, each with its mood at that moment."""

    def __init__(self, mood: Callable[[], str]) -> None:
        """Take how to ask for the mood."""
        super().__init__()
        self.moods: list[str] = []
        self._mood = mood

    def append(self, raw: bytes) -> None:
        """Keep one."""
        super().append(raw)
        self.moods.append(self._mood())


class Servers:
    """Two servers that misbehave and one that does not, and the routes that lead to them."""

    def __init__(self, papers: certs.Certs, mail: MailServer, expired: MailServer, hook: Hook, bell: Hook) -> None:
        """Begin well."""
        self.mail, self.expired, self.hook, self.bell = mail, expired, hook, bell
        self.moods = {"mail": "take", "hook": "200"}
        self._papers, self._nobody = papers, free_port()
        mail.raw = self.mails = Taken(lambda: self.moods["mail"])
        self.hooked = Taken(lambda: self.moods["hook"])
        self.belled: list[tuple[str, float]] = []
        hook.answer = self._answer_hook  # type: ignore[method-assign]
        bell.answer = self._answer_bell  # type: ignore[method-assign]

    async def _answer_hook(self, method: str, target: str, headers: dict[str, str], raw: bytes) -> Answer | str:
        mood = self.moods["hook"]
        if mood == "200" or mood in DOUBTFUL:
            self.hooked.append(raw)
        if mood.isdigit():
            return int(mood), {"Retry-After": "60"} if mood == "429" else {}, b""
        return mood

    async def _answer_bell(self, method: str, target: str, headers: dict[str, str], raw: bytes) -> Answer | str:
        self.belled.append((raw.decode(), time.monotonic()))
        return 200, {}, b""

    def behave(self, **moods: str) -> None:
        """Set moods."""
        self.moods |= moods
        mood = self.moods["mail"]
        self.mail.behave = mood if mood not in {"expired", "gone", "no name"} else "take"

    def routes(self) -> dict[str, Route]:
        """Return the routes as they lead just now."""
        ca = str(self._papers.ca)
        mood = self.moods["mail"]
        host = "mail.heron-lane.invalid" if mood == "no name" else "localhost"
        port = {"expired": self.expired.port, "gone": self._nobody}.get(mood, self.mail.port)
        mail = MailRoute(host, port, "starttls", "watch@heron.test", "ann@heron.test", USER, Secret(PASSWORD), ca)
        mood = self.moods["hook"]
        host = "hook.heron-lane.invalid" if mood == "no name" else "localhost"
        port = self._nobody if mood == "gone" else self.hook.port
        hook, bell = f"json://{host}:{port}/in", f"json://localhost:{self.bell.port}/in"
        return {
            "mail": Route("mail", mail),
            "hook": Route("hook", UrlRoute(Secret(hook), None)),
            "bell": Route("bell", UrlRoute(Secret(bell), None)),
        }

    def told(self) -> dict[int, list[tuple[bool, bool]]]:
        """Return for each event its copies: (says "sent again", was taken by a server that then said so)."""
        found: dict[int, list[tuple[bool, bool]]] = defaultdict(list)
        texts = [(str(m.get_content()), mood) for m, mood in zip(self.mail.mails, self.mails.moods, strict=True)]
        texts += [(_text(raw), mood) for raw, mood in zip(self.hooked, self.hooked.moods, strict=True)]
        for text, mood in texts:
            for number, again in bodies(text):
                found[number].append((again, mood not in DOUBTFUL))
        return found


def _text(raw: bytes) -> str:
    return str(json.loads(raw)["message"])


def bodies(text: str) -> list[tuple[int, bool]]:
    """Return (event, says "sent again") of each message in a letter, which may hold several."""
    parts = re.split(r"\n\n(?=\d+\. )", text.replace("\r\n", "\n"))
    parts = parts[1:] if len(parts) > 1 else parts
    found = []
    for part in parts:
        number = re.search(r"(?:body|title) (\d+)", part)
        if number:
            found.append((int(number[1]), SENT_AGAIN in part))
    return found


@asynccontextmanager
async def servers(folder: Path) -> AsyncIterator[Servers]:
    """Run them."""
    papers = certs.make(folder)
    async with (
        mail_server(papers.good) as mail, mail_server(papers.expired) as expired,
        hook_server() as hook, hook_server() as bell,
    ):  # fmt: skip
        yield Servers(papers, mail, expired, hook, bell)


class Children:
    """Count the sending children all the time."""

    def __init__(self) -> None:
        """Begin with none seen."""
        self.most = 0
        self._task = asyncio.create_task(self._look())

    async def _look(self) -> None:
        while True:
            self.most = max(self.most, len(children()))
            await asyncio.sleep(0.05)

    async def stop(self) -> None:
        """Look no more."""
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)


async def run(seed: int, rounds: int, notices: int = NOTICES) -> Result:
    """Run so many rounds."""
    result, rng = Result("mail", seed, rounds), random.Random(seed)
    logs = [logging.getLogger(name) for name in ("gatewayd.notify", "mail.log")]  # every try of every bad route is told
    levels = [log.level for log in logs]
    for log in logs:
        log.setLevel(logging.CRITICAL)
    before, pumping.DEADLINE = pumping.DEADLINE, DEADLINE
    totals: dict[str, int] = defaultdict(int)
    try:
        for number in range(1, rounds + 1):
            begin = time.monotonic()
            fast = await _bad_half_hour(result, random.Random(rng.random()), notices)
            day = await day_without(result, random.Random(rng.random()))
            for what, n in (fast | day).items():
                totals[what] = max(totals[what], n) if what.startswith(("most", "slowest")) else totals[what] + n
            result.round(number, f"{_line(fast)}; a day without: {_line(day)}; {time.monotonic() - begin:.0f} s")
    finally:
        pumping.DEADLINE = before
        for log, level in zip(logs, levels, strict=True):
            log.setLevel(level)
    result.hold(not children(), "children are left at the end")
    result.figures |= dict(totals)
    return result


def _line(figures: dict[str, int]) -> str:
    return ", ".join(f"{n} {what}" for what, n in figures.items())


async def _bad_half_hour(result: Result, rng: random.Random, notices: int) -> dict[str, int]:
    clock, outbox = FastClock(), MemoryOutbox()
    with tempfile.TemporaryDirectory(prefix="mail-") as name:
        async with servers(Path(name)) as rig:
            sender = Sender(clock, "Heron Lane", Path(name))
            pump = Pump(outbox, sender, rig.routes(), clock, random.Random(rng.random()))
            task, counter = asyncio.create_task(pump.run()), Children()
            try:
                made = await _misbehave(rig, pump, outbox, clock, rng, notices)
                rig.behave(mail="take", hook="200")
                pump.take_routes(rig.routes())
                healed, before = time.monotonic(), len(rig.mails) + len(rig.hooked)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(60):
                        await outbox.until(lambda: not _open(outbox))
                took = time.monotonic() - healed
                letters = len(rig.mails) + len(rig.hooked) - before
                return _judge(result, rig, outbox, made, counter.most) | {
                    "slowest return in fast minutes": round(took * FASTER / 60), "most letters on return": letters,
                }  # fmt: skip
            finally:
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)
                await counter.stop()


def _open(outbox: MemoryOutbox) -> int:
    return sum(row.progress in (Progress.WAITING, Progress.SENDING) for row in outbox.rows.values())


async def _misbehave(
    rig: Servers, pump: Pump, outbox: MemoryOutbox, clock: FastClock, rng: random.Random, notices: int
) -> dict[int, float]:
    """Make notices while moods change; return when those for the ever good route were made."""
    made: dict[int, float] = {}
    for event in range(1, notices + 1):
        first = 2 if event > notices * 2 // 3 else 0  # in the last third nothing works
        rig.behave(mail=rng.choice(MAIL_MOODS[first:]), hook=rng.choice(HOOK_MOODS[first:]))
        pump.take_routes(rig.routes())
        routes = rng.choice((("mail", "hook"), ("hook", "mail")))
        outbox.add(notice(event, clock.now(), *routes, priority=rng.choice(list(Priority))))
        outbox.add(notice(1000 + event, clock.now(), "bell", person="ben"))
        made[1000 + event] = time.monotonic()
        pump.poke()
        await asyncio.sleep(rng.uniform(0.5, 4.0))
    return made


def _judge(result: Result, rig: Servers, outbox: MemoryOutbox, made: dict[int, float], most: int) -> dict[str, int]:
    told = rig.told()
    events = {row.notice.event for row in outbox.rows.values() if row.notice.event < 1000}
    progress = defaultdict(set)
    for row in outbox.rows.values():
        progress[row.notice.event].add(row.progress)
    result.hold(events <= told.keys(), f"never told: {sorted(events - told.keys())}")
    unsent = [event for event in events if Progress.SENT not in progress[event]]
    result.hold(not unsent, f"not known to be sent at the end: {unsent}")
    for event in sorted(events):
        copies = told[event]
        sure = sum(good for _, good in copies)
        result.hold(sure <= 1, f"event {event} was sent again although the answer had come: {copies}")
        result.hold(sum(not again for again, _ in copies) <= 1, f"event {event} came twice unmarked: {copies}")
    late = []
    for event, then in made.items():
        came = [at for text, at in rig.belled if f"body {event}" in text]
        result.hold(len(came) == 1, f"event {event} rang the good route {len(came)} times")
        late += [at - then for at in came]
    slowest = max(late, default=0.0)
    result.hold(slowest * FASTER * 1000 <= BELL_WITHIN, f"the good route had to wait {slowest:.1f} s of real time")
    result.hold(most <= MOST_AT_ONCE, f"{most} sending children lived at once")
    return {
        "messages": len(events), "told by a good answer": sum(any(good for _, good in told[e]) for e in events),
        "repeated, all marked": sum(len(told[e]) > 1 for e in events), "most children": most,
        "slowest on the good route in ms": round(slowest * 1000), "tries": _tries(outbox),
    }  # fmt: skip


def _tries(outbox: MemoryOutbox) -> int:
    return sum(row.attempts for row in outbox.rows.values())


async def day_without(result: Result, rng: random.Random) -> dict[str, int]:
    """Play a day in which the mail is gone and, for half of it, the chat too; then all come back at once."""
    clock, outbox, sender = FakeClock(), MemoryOutbox(), FakeSender()
    routes: dict[str, Any] = {n: Route(n, UrlRoute(Secret(f"json://{n}.test"), None)) for n in ("mail", "chat", "bell")}
    pump = Pump(outbox, sender, routes, clock, random.Random(rng.random()))
    task = asyncio.create_task(pump.run())
    down = [
        Outcome(ok=False, error="The mail server is not taking connections."),
        Outcome(ok=False, error="The name of the mail server could not be found."),
        Outcome(ok=False, error="The certificate has expired.", hopeless=True),
    ]
    sender.answers = {"mail": rng.choice(down), "chat": rng.choice(down)}
    event, chat_back = 0, rng.uniform(0.3, 0.7) * DAY
    ends = clock.now().steady + DAY
    start = clock.now().steady
    try:
        while clock.now().steady < ends:
            if clock.now().steady - start > chat_back:
                sender.answers.pop("chat", None)
            if rng.random() < 0.2:  # a notice every 25 min
                event += 1
                whom = rng.choice((("mail",), ("mail", "chat"), ("chat", "mail"), ("bell",)))
                outbox.add(notice(event, clock.now(), *whom, priority=rng.choice((Priority.MEDIUM, Priority.HIGH))))
                pump.poke()
            await _pass(clock, 5 * MINUTE)
        tried = len([r for r, _ in sender.tried if r == "mail"])
        before = len(sender.sent)
        sender.answers.clear()
        await _pass(clock, HOUR)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
    letters = len(sender.sent) - before
    left = _open(outbox)
    result.hold(not left, f"{left} messages wait an hour after the mail came back")
    result.hold(letters <= 3, f"{letters} letters came at once when the mail was back")
    # four an hour once it is known to be down, and the first quick ones of each new message
    most = 24 * 4 + 8 * event
    result.hold(tried <= most, f"the dead route was tried {tried} times in a day, at most {most} are wise")
    for number in range(1, event + 1):
        copies = [letter for _, letter in sender.sent if re.search(rf"(body|title) {number}\b", letter.body)]
        result.hold(len(copies) == 1, f"day without: event {number} was told {len(copies)} times")
    return {"messages of the day": event, "tries of the dead route": tried, "most letters when it is back": letters}


async def _pass(clock: FakeClock, ms: int) -> None:
    for _ in range(ms // (30 * SECOND)):
        await clock.advance(30 * SECOND)
        await settle()
