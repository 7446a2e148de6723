"""The outbox pump, with a clock that the test moves and a sender that it directs."""

import asyncio
import contextlib
import logging
import random
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.message.join import MOST_AT_ONCE, SENT_AGAIN
from gatewayd.model.delivery import Progress
from gatewayd.model.event import Stage
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.route import Route, Secret, UrlRoute
from gatewayd.notify.letter import Outcome
from gatewayd.notify.pump import DEADLINE, Pump
from gatewayd.notify.sender import Sender
from tests.fakes.clock import FakeClock, settle
from tests.fakes.sender import FakeSender
from tests.notify.conftest import mail_route
from tests.notify.outbox import MemoryOutbox, notice
from tests.rigs.certs import Certs
from tests.rigs.mail import mail_server

DOWN = Outcome(ok=False, error="The mail server is not taking connections.")
LOST = Outcome(ok=False, maybe_arrived=True, error="The mail server hung up before it answered.")
NO_WAY = Outcome(ok=False, error="The mail server refused the user name or the password.", hopeless=True)


class House:
    """Hold a pump with all its fakes."""

    def __init__(self, *routes: str) -> None:
        """Name the routes that exist."""
        self.clock = FakeClock()
        self.outbox = MemoryOutbox()
        self.sender = FakeSender()
        self.routes = {
            name: Route(name, UrlRoute(Secret(f"json://{name}.test"))) for name in routes or ("mail", "chat")
        }
        self.pump = Pump(self.outbox, self.sender, self.routes, self.clock, random.Random(3))

    @property
    def now(self) -> Moment:
        """Return this moment."""
        return self.clock.now()

    async def tell(self, event: int, *routes: str, priority: Priority = Priority.HIGH) -> None:
        """Put a notice in, as the daemon does, and let things run."""
        self.outbox.add(notice(event, self.now, *routes, priority=priority))
        self.pump.poke()
        await self.rest()

    async def rest(self) -> None:
        """Let everything that can run now run."""
        for _ in range(5):
            await settle()

    async def advance(self, ms: int, step: int = 10 * SECOND) -> None:
        """Let time pass."""
        while ms > 0:
            await self.clock.advance(min(ms, step))
            await self.rest()
            ms -= step


@asynccontextmanager
async def running(house: House) -> AsyncIterator[House]:
    """Run the pump inside the block."""
    task = asyncio.create_task(house.pump.run())
    await house.rest()
    try:
        yield house
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_new_notice_goes_at_once() -> None:
    """A notice goes out by the first route when it is made, recorded before and after, and the second is spared."""
    async with running(House()) as house:
        await house.tell(17, "mail", "chat")

        assert house.outbox.steps == ["started 1", "sent 1"]
        assert house.outbox.state() == ["sent", "not needed"]
        (route, letter), *more = house.sender.tried
        assert (route, letter.title, letter.body, more) == ("mail", "title 17", "body 17", [])
        assert letter.message_id == f"17-new-ann-{house.now.wall}"


async def test_nothing_waiting_wakes_nobody() -> None:
    """With an empty outbox a day passes without a single look at it."""
    async with running(House()) as house:
        before = house.outbox.reads
        await house.advance(DAY, HOUR)

        assert house.outbox.reads == before


async def test_back_off_then_sent() -> None:
    """A failing route is tried again at growing steps, and what waited is sent when it works."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        await house.tell(17)
        await house.advance(20 * MINUTE)
        tries = len(house.sender.tried)
        assert house.outbox.rows[1].error == DOWN.error
        house.sender.answers.clear()
        await house.advance(16 * MINUTE)

        assert 6 <= tries <= 8  # at 0, 10 s, 40 s, 1.7, 3.7, 8.7 and 18.7 min, give or take a tenth
        assert house.outbox.state() == ["sent"]
        assert [letter.message_id for _, letter in house.sender.tried] == [house.sender.tried[0][1].message_id] * (
            tries + 1
        )
        (_, letter), *_ = house.sender.sent
        assert letter.body.splitlines()[1:] == ["body 17"]  # it surely had not arrived: no "sent again"
        assert letter.body.startswith("(Written at ")


async def test_lost_answer_says_sent_again() -> None:
    """After an answer that was lost the next try says "sent again", and only then."""
    async with running(House()) as house:
        house.sender.answers["mail"] = LOST
        await house.tell(17)
        house.sender.answers.clear()
        await house.advance(12 * SECOND)

        assert [letter.body for _, letter in house.sender.tried] == ["body 17", f"{SENT_AGAIN}\nbody 17"]


async def test_next_route_also_says_sent_again() -> None:
    """When the answer of one route was lost, the next route of the person says so too."""
    async with running(House()) as house:
        house.sender.answers["mail"] = replace(LOST, hopeless=True)
        await house.tell(17, "mail", "chat")
        await house.rest()

        assert [(route, letter.body) for route, letter in house.sender.sent] == [("chat", f"{SENT_AGAIN}\nbody 17")]


async def test_row_left_by_a_crash_says_sent_again() -> None:
    """A row that was being sent when the daemon died goes out marked."""
    house = House()
    house.outbox.add(notice(17, house.now))
    house.outbox.rows[1] = replace(house.outbox.rows[1], progress=Progress.SENDING)

    async with running(house):
        assert [letter.body for _, letter in house.sender.sent] == [f"{SENT_AGAIN}\nbody 17"]


async def test_next_route_joins_in_time() -> None:
    """While the first route cannot, the second joins after two minutes for a high alarm, and then both rest."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        await house.tell(17, "mail", "chat")
        await house.advance(110 * SECOND)
        early = list(house.sender.sent)
        await house.advance(20 * SECOND)

        assert early == []
        assert [route for route, _ in house.sender.sent] == ["chat"]
        assert house.outbox.state() == ["not needed", "sent"]


async def test_hopeless_route_hands_over_at_once() -> None:
    """A refused password brings the next route in at once; the first is tried again all the same."""
    async with running(House()) as house:
        house.sender.answers["mail"] = NO_WAY
        house.sender.answers["chat"] = DOWN
        await house.tell(17, "mail", "chat")
        await house.advance(15 * SECOND)

        assert [route for route, _ in house.sender.tried[:2]] == ["mail", "chat"]
        assert sorted(route for route, _ in house.sender.tried[2:]) == ["chat", "mail"]


async def test_given_up_hands_over_and_says_so(caplog: pytest.LogCaptureFixture) -> None:
    """A message that fails for three days is given up, with the reason kept, and the next route tries."""
    async with running(House()) as house:
        house.sender.answers = {"mail": DOWN, "chat": DOWN}
        await house.tell(17, "mail", "chat")
        await house.advance(3 * DAY + HOUR, 15 * MINUTE)

        assert house.outbox.state() == ["given up", "given up"]
        assert house.outbox.rows[1].error.startswith("Given up after ")
        assert DOWN.error in house.outbox.rows[1].error
        assert "given up the message of event 17" in caplog.text
        before = len(house.sender.tried)
        await house.advance(DAY, HOUR)
        assert len(house.sender.tried) == before


async def test_hanging_route_starves_nobody() -> None:
    """While a route hangs, messages by others go at once, and its own wait one behind the other."""
    async with running(House()) as house:
        end = house.sender.hold("mail")
        await house.tell(1, "mail")
        await house.tell(2, "mail")
        await house.tell(3, "chat")
        during = list(house.sender.sent)
        tried = [route for route, _ in house.sender.tried]
        end.set()
        await house.rest()

        assert [route for route, _ in during] == ["chat"]
        assert tried == ["mail", "chat"]
        assert house.outbox.state() == ["sent", "sent", "sent"]


async def test_three_children_at_most() -> None:
    """However many routes hang, three children run; routes that failed leave one place to those that work."""
    names = [f"bad{n}" for n in range(5)]
    async with running(House(*names, "good")) as house:
        house.sender.answers = dict.fromkeys(names, LOST)
        for number, name in enumerate(names):
            await house.tell(number + 1, name)
        holds = [house.sender.hold(name) for name in names]
        await house.advance(30 * SECOND)
        hanging = house.sender.under_way
        await house.tell(9, "good", priority=Priority.LOW)

        assert hanging == MOST_AT_ONCE - 1
        assert [route for route, _ in house.sender.sent] == ["good"]
        assert house.sender.most == MOST_AT_ONCE
        for hold in holds:
            hold.set()
        await house.rest()
        assert house.sender.under_way == 0


async def test_no_storm_on_return() -> None:
    """After a day without a line ten messages come as one letter, oldest first, and all count as sent."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        for event in range(1, 11):
            await house.tell(event)
            await house.advance(2 * HOUR, 5 * MINUTE)
        failed = len(house.sender.tried)
        house.sender.answers.clear()
        await house.advance(20 * MINUTE)

        (_, letter), *more = house.sender.sent
        assert more == []
        assert letter.title == "10 messages that waited: title 10"
        assert [letter.body.index(f"body {n}\n") for n in range(1, 10)] == sorted(
            letter.body.index(f"body {n}\n") for n in range(1, 10)
        )
        assert house.outbox.state() == ["sent"] * 10
        # not once per waiting message: seven quick tries for each new one, then four an hour for all together
        assert failed <= 10 * 7 + 20 * 4


async def test_return_brings_the_rest_at_once() -> None:
    """When a route works again, what was waiting out its back-off by it comes along."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        await house.tell(1)
        await house.advance(10 * MINUTE)
        house.sender.answers.clear()
        await house.tell(2)
        await house.rest()

        (_, letter), *more = house.sender.sent
        assert (letter.title, more) == ("2 messages that waited: title 2", [])
        assert house.outbox.state() == ["sent", "sent"]


async def test_urgent_overtakes() -> None:
    """Of what waits for a busy route the urgent message stands first, whatever came first."""
    async with running(House()) as house:
        hold = house.sender.hold("mail")
        await house.tell(1)
        await house.tell(2, priority=Priority.LOW)
        await house.tell(3)
        hold.set()
        await house.rest()

        assert [letter.title for _, letter in house.sender.sent] == ["title 1", "title 3 (and 1 more)"]


async def test_waits_a_minute_for_what_happens_with_it() -> None:
    """What two alarms say within a minute is one letter, sent when the minute is over."""
    async with running(House()) as house:
        house.outbox.join_within = MINUTE
        await house.tell(1)
        await house.advance(40 * SECOND)
        await house.tell(2)
        await house.advance(10 * SECOND)
        early = len(house.sender.tried)
        await house.advance(2 * MINUTE)

        assert early == 0
        assert [letter.title for _, letter in house.sender.sent] == ["title 1 (and 1 more)"]


async def test_only_the_end_of_an_alarm_is_sent() -> None:
    """After a line that was down the end goes alone: what its beginning would have said is not needed."""
    async with running(House()) as house:
        house.sender.answers["mail"] = house.sender.answers["chat"] = DOWN
        begin = replace(notice(1, house.now, "mail", "chat"), subject="shed-chest", kind="high")
        house.outbox.add(begin)
        house.pump.poke()
        await house.advance(10 * MINUTE)
        house.outbox.add(replace(begin, event=2, stage=Stage.OVER, title="title 2", made=house.now))
        house.sender.answers.clear()
        house.pump.poke()
        await house.rest()

        assert [letter.title for _, letter in house.sender.sent] == ["title 2"]
        assert house.outbox.state() == ["not needed", "not needed", "sent", "not needed"]


async def test_full_disk_makes_no_endless_round() -> None:
    """What is not needed but cannot be written so is looked at like all the rest, and never sent."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        begin = replace(notice(1, house.now, "mail"), subject="shed-chest", kind="high")
        house.outbox.add(begin)
        house.pump.poke()
        await house.advance(MINUTE)
        house.outbox.broken = True
        house.outbox.add(replace(begin, event=2, stage=Stage.OVER, title="title 2", made=house.now))
        house.sender.answers.clear()
        before = house.outbox.reads
        house.pump.poke()
        await house.advance(MINUTE)

        assert house.outbox.reads - before < 20
        assert [letter.title for _, letter in house.sender.sent] == ["title 2"]


async def test_server_wait_is_kept() -> None:
    """A server that asks for seven minutes is left alone for seven minutes."""
    async with running(House()) as house:
        house.sender.answers["mail"] = replace(DOWN, server_wait=7 * MINUTE)
        await house.tell(17)
        await house.advance(7 * MINUTE - 10 * SECOND)
        early = len(house.sender.tried)
        await house.advance(20 * SECOND)

        assert (early, len(house.sender.tried)) == (1, 2)


async def test_route_that_fell_away() -> None:
    """After a reload without its route a message is given up there, with the reason, and goes by the next at once."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        await house.tell(17, "mail", "chat")
        house.pump.take_routes({"chat": house.routes["chat"]})
        await house.rest()

        assert house.outbox.state() == ["given up", "sent"]
        assert house.outbox.rows[1].error == "This route is no longer in the settings."


async def test_full_disk_does_not_silence() -> None:
    """When nothing can be written the message goes all the same, once, and is recorded when writing works again."""
    async with running(House()) as house:
        house.outbox.broken = True
        await house.tell(17, "mail", "chat")
        await house.advance(5 * MINUTE)
        during = len(house.sender.tried)
        house.outbox.broken = False
        await house.advance(30 * SECOND)

        assert (during, len(house.sender.tried)) == (1, 1)
        assert house.outbox.state() == ["sent", "not needed"]


async def test_unreadable_outbox_is_read_later(caplog: pytest.LogCaptureFixture) -> None:
    """An outbox that cannot be read is looked at again every ten seconds, and complained of once."""
    async with running(House()) as house:
        house.outbox.blind = True
        await house.tell(17)
        await house.advance(MINUTE)
        house.outbox.blind = False
        await house.advance(12 * SECOND)

        assert house.outbox.state() == ["sent"]
        assert caplog.text.count("cannot be read") == 1


async def test_mistake_in_sending_ends_one_try(caplog: pytest.LogCaptureFixture) -> None:
    """An unforeseen mistake counts as a failed try that may have arrived, its text is not logged."""
    caplog.set_level(logging.DEBUG)
    async with running(House()) as house:
        house.sender.answers["mail"] = RuntimeError("password Hunter-77")
        await house.tell(17)

        assert house.outbox.rows[1].maybe_sent
        assert "Hunter-77" not in caplog.text + house.outbox.rows[1].error


async def test_clock_set_back_delays_nothing() -> None:
    """A wall clock set back by a day does not make a waiting message wait a day."""
    async with running(House()) as house:
        house.sender.answers["mail"] = DOWN
        await house.tell(17)
        house.sender.answers.clear()
        house.clock.set_wall(house.now.wall - DAY)
        house.pump.poke()
        await house.rest()

        assert house.outbox.state() == ["sent"]


@pytest.mark.parametrize("seed", range(8))
async def test_nothing_lost_nothing_doubled(seed: int) -> None:
    """Whatever routes do for two hours, each notice is told, and twice only marked "sent again" after a lost answer."""
    rng = random.Random(seed)
    async with running(House()) as house:
        for event in range(1, 40):
            house.sender.answers = {
                name: rng.choice([Outcome(ok=True), DOWN, NO_WAY, LOST]) for name in ("mail", "chat")
            }
            routes = rng.choice([("mail",), ("chat", "mail"), ("mail", "chat")])
            await house.tell(event, *routes, priority=rng.choice(list(Priority)))
            await house.advance(rng.randrange(1, 6) * MINUTE, 30 * SECOND)
        house.sender.answers.clear()
        await house.advance(2 * HOUR, MINUTE)

        told = [letter for _, letter in house.sender.sent]
        for event in range(1, 40):
            holding = [letter for letter in told if f"body {event}\n" in f"{letter.body}\n"]
            assert len(holding) == 1
        assert set(house.outbox.state()) <= {"sent", "not needed"}
        assert house.sender.most <= MOST_AT_ONCE


@pytest.mark.rig
async def test_real_server_gone_and_back(certs: Certs, tmp_path: Path) -> None:
    """With a real mail server: an answer lost, then the same message again, marked, under the same id."""
    clock = SystemClock()
    outbox = MemoryOutbox()
    async with mail_server(certs.good) as rig:
        rig.behave = "lose"
        sender = Sender(clock, "Heron Lane", tmp_path)
        pump = Pump(outbox, sender, {"mail": mail_route(rig.port, certs.ca)}, clock, random.Random(1))
        outbox.add(notice(17, clock.now()))
        task = asyncio.create_task(pump.run())
        async with asyncio.timeout(DEADLINE / 1000):
            await outbox.until(lambda: outbox.rows[1].attempts == 1)
            rig.behave = "take"
            outbox.rows[1] = replace(outbox.rows[1], next_try=0)
            pump.poke()
            await outbox.until(lambda: outbox.rows[1].progress is Progress.SENT)
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task

    assert [mail.get_content().splitlines()[0] for mail in rig.mails] == ["body 17", SENT_AGAIN]
    assert len({mail["Message-ID"] for mail in rig.mails}) == 1


@pytest.mark.rig
async def test_stopping_kills_children(certs: Certs, tmp_path: Path) -> None:
    """Stopping the pump in the middle of a send ends the child within a second; the row stays to be taken up again."""
    clock, outbox = SystemClock(), MemoryOutbox()
    async with mail_server(certs.good) as rig:
        rig.behave = "hang"
        sender = Sender(clock, "Heron Lane", tmp_path)
        pump = Pump(outbox, sender, {"mail": mail_route(rig.port, certs.ca)}, clock, random.Random(1))
        outbox.add(notice(17, clock.now()))
        task = asyncio.create_task(pump.run())
        async with asyncio.timeout(10):
            await rig.seen.wait()
        task.cancel()
        async with asyncio.timeout(1):
            with contextlib.suppress(asyncio.CancelledError):
                await task

    assert outbox.state() == ["sending"]
