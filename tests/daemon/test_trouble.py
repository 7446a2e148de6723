"""A store in trouble: people are told and answered from memory, brokers go on, and all is written when it is over."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.daemon.chores import copy_nightly, tidy
from gatewayd.daemon.gateway import IN_MEMORY, LOCK_PATIENCE, RETRIES, STORE_PATIENCE, TELL_AFTER
from gatewayd.daemon.healer import Healed
from gatewayd.daemon.unsaved import Unsaved
from gatewayd.model.delivery import Progress
from gatewayd.model.given import Order
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Storing
from gatewayd.store.batch import Batch
from gatewayd.store.trouble import StoreTrouble
from tests.daemon.test_gateway import FULL, Bench
from tests.days.player import BROKER
from tests.fakes.clock import FakeClock, settle
from tests.store.make import LONDON

BUSY = StoreTrouble("The store is locked by another program.", busy=True)
DAMAGED = StoreTrouble("The store is damaged.", damaged=True)


class Healer:
    """Do what the test says, and remember what was asked."""

    def __init__(self, bench: Bench, answer: Healed | StoreTrouble) -> None:
        self.asked: list[StoreTrouble] = []
        self.answer = answer
        self._bench = bench

    async def heal(self, trouble: StoreTrouble, floor: int) -> Healed:
        """Heal the fake store, or fail."""
        self.asked.append(trouble)
        if isinstance(self.answer, StoreTrouble):
            raise self.answer
        self._bench.store.trouble = None
        return self.answer


def hear(bench: Bench, receipt: object = None, value: bytes = b"-18") -> None:
    """Hear one reading."""
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", value, bench.clock.now()), receipt)


def hang(bench: Bench) -> asyncio.Event:
    """Let the store hang in every commit until the returned event is set."""
    end, whole = asyncio.Event(), bench.store.commit

    async def slow(batch: Batch) -> object:
        await end.wait()
        return await whole(batch)

    bench.store.commit = slow  # type: ignore[method-assign,assignment]
    return end


async def titles(bench: Bench) -> list[str]:
    """Return the titles of what waits for the pump."""
    return [d.notice.title for d in await bench.mailbag.pending()]


async def test_alarm_in_trouble_is_told_at_once() -> None:
    """While the store is known to be in trouble an alarm does not wait for the next try."""
    bench = Bench()
    bench.store.trouble = FULL
    await bench.gateway.commit()
    bench.gateway.told.clear()
    tried = bench.store.asked.count("commit")
    await bench.warm()

    assert any("too warm" in title for title in await titles(bench))
    assert bench.gateway.told.is_set()
    assert bench.store.asked.count("commit") == tried


async def test_hanging_commit_holds_no_alarm_up() -> None:
    """An alarm in a commit that hangs is told after two seconds; when the commit ends it is not told twice."""
    bench = Bench()
    await bench.gateway.commit()
    await bench.warm()
    end = hang(bench)
    commit = asyncio.create_task(bench.gateway.commit())
    await bench.clock.advance(TELL_AFTER - 1)
    early = await titles(bench)
    await bench.clock.advance(SECOND)
    told = await bench.mailbag.pending()
    for delivery in told:
        await bench.mailbag.started(delivery, bench.clock.now())
        await bench.mailbag.finished(delivery, Progress.SENT, bench.clock.now(), 0, "", False)
    end.set()
    await commit

    assert early == []
    assert any("too warm" in d.notice.title for d in told)
    assert await titles(bench) == []
    assert Progress.WAITING not in {d.progress for d in bench.store.rows.values()}


async def test_hanging_commit_does_not_stop_the_brokers() -> None:
    """A commit that hangs keeps receipts back for some patience, and from then on they go back at once, each once."""
    bench = Bench()
    end = hang(bench)
    hear(bench, "in the commit")
    commit = asyncio.create_task(bench.gateway.commit())
    await bench.clock.advance(SECOND)
    hear(bench, "behind it")
    before = list(bench.acknowledged)
    await bench.clock.advance(STORE_PATIENCE)
    patient = list(bench.acknowledged)
    hear(bench, "late")
    late = list(bench.acknowledged)
    end.set()
    await commit
    hear(bench, "as ever")

    assert before == []
    assert patient == ["in the commit", "behind it"]
    assert late == ["in the commit", "behind it", "late"]
    assert bench.acknowledged == late


async def test_short_lock_is_not_told() -> None:
    """A lock that ends in seconds is no message; one that lasts is one message, and one when it is over."""
    bench = Bench()
    await bench.gateway.commit()
    bench.store.trouble = BUSY
    await bench.gateway.commit()
    await bench.clock.advance(LOCK_PATIENCE - SECOND)
    await bench.gateway.commit()
    short = await titles(bench)
    await bench.clock.advance(2 * SECOND)
    await bench.gateway.commit()
    await bench.gateway.commit()
    long = await titles(bench)

    assert short == []
    assert [t for t in long if "cannot be written" in t] == long
    assert len(long) == 1


async def test_tries_become_rare() -> None:
    """A full disk is tried quickly at first, then once a minute, and is written within a minute of its end."""
    bench = Bench()
    bench.store.trouble = FULL
    task = asyncio.create_task(bench.gateway.run_commits())
    hear(bench)
    await bench.clock.advance(HOUR)
    tries = bench.store.asked.count("commit")
    bench.store.trouble = None
    await bench.clock.advance(max(RETRIES))
    task.cancel()

    assert 55 <= tries <= 70
    assert bench.store.batches


async def test_order_in_trouble_is_answered_and_says_so() -> None:
    """An order is carried out and answered although nothing can be written, and says that it is only remembered."""
    bench = Bench()
    await bench.warm()
    await bench.gateway.commit()
    bench.store.trouble = FULL
    await bench.gateway.commit()
    number = next(a.first for a in bench.gateway.watch.alarms.listed())
    answer = await bench.gateway.order(Order("acknowledge", number, "ann", key="k1"))
    again = await bench.gateway.order(Order("acknowledge", number, "ann", key="k1"))
    bench.store.trouble = None
    await bench.gateway.commit()

    assert answer.done
    assert answer.text.endswith(IN_MEMORY)
    assert again.text + IN_MEMORY == answer.text
    assert "k1" in bench.store.answers


async def test_left_out_rows_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """When rows had to be left out, the message that it is over says how many."""
    monkeypatch.setattr("gatewayd.daemon.waiting.ROWS_MOST", 20)
    bench = Bench()
    bench.store.trouble = FULL
    await bench.gateway.commit()
    for n in range(60):
        hear(bench, None, f"-{18 + n % 3}".encode())
        await bench.clock.advance(MINUTE)
        await bench.gateway.commit()
    bench.store.trouble = None
    await bench.gateway.commit()
    await bench.gateway.commit()
    (over,) = [d for d in await bench.mailbag.pending() if "written again" in d.notice.title]

    assert "older ones are missing" in over.notice.body
    assert sum(len(b.readings) for b in bench.store.batches) <= 20


async def test_damaged_file_is_healed_and_told_once() -> None:
    """A damaged file is seen to within the commit: one message, and everything is written into the new file."""
    bench = Bench()
    await bench.gateway.commit()
    healer = bench.gateway.healer = Healer(bench, Healed(replaced=True, text="It was put aside."))
    bench.store.trouble = DAMAGED
    hear(bench, "receipt")
    took = await bench.gateway.commit()
    await bench.gateway.commit()

    assert took
    assert healer.asked == [DAMAGED]
    assert bench.acknowledged == ["receipt"]
    assert [t for t in await titles(bench) if "put right" in t] == await titles(bench)
    assert len(await titles(bench)) == 1
    assert any(b.snapshot for b in bench.store.batches[1:])


async def test_open_messages_move_into_the_new_file() -> None:
    """What waits to be sent is written into the file that takes a damaged one's place, and is still sent once."""
    bench = Bench()
    await bench.gateway.commit()
    await bench.warm()
    await bench.gateway.commit()
    waiting = len(await titles(bench))
    bench.store.rows.clear()  # the copy of last night knows nothing of it
    bench.gateway.healer = Healer(bench, Healed(replaced=True))
    bench.gateway.ail(DAMAGED)
    await bench.gateway.commit()
    stored = list(bench.store.rows.values())

    assert waiting > 0
    assert len(stored) == waiting
    assert {d.id for d in await bench.mailbag.pending()} == set(bench.store.rows)


async def test_settled_messages_of_a_copy_are_not_sent() -> None:
    """What last night's copy shows as waiting, and was sent since, is settled there and not sent again."""
    bench = Bench()
    await bench.gateway.commit()
    await bench.warm()
    await bench.gateway.commit()
    last_night = dict(bench.store.rows)
    for delivery in await bench.mailbag.pending():
        await bench.mailbag.finished(delivery, Progress.SENT, bench.clock.now(), 0, "", False)
    bench.store.rows = last_night
    bench.gateway.healer = Healer(bench, Healed(replaced=True))
    bench.gateway.ail(DAMAGED)
    await bench.gateway.commit()

    assert await titles(bench) == []
    assert {d.progress for d in bench.store.rows.values()} == {Progress.NOT_NEEDED}


async def test_healing_that_fails_is_tried_again() -> None:
    """Where the copy cannot be put in place yet, the watch goes on from memory and the file is seen to later."""
    bench = Bench()
    await bench.gateway.commit()
    healer = bench.gateway.healer = Healer(bench, FULL)
    bench.store.trouble = DAMAGED
    await bench.warm()
    first = await bench.gateway.commit()
    told = await titles(bench)
    healer.answer = Healed(replaced=True)
    second = await bench.gateway.commit()

    assert (first, second) == (False, True)
    assert any("too warm" in title for title in told)
    assert healer.asked == [DAMAGED, DAMAGED]


async def test_outcome_is_written_when_it_can_be() -> None:
    """What became of a message while nothing could be written is written afterwards: a restart sends none again."""
    bench = Bench()
    await bench.gateway.commit()
    await bench.warm()
    await bench.gateway.commit()
    bench.store.trouble = FULL
    await bench.gateway.commit()
    for delivery in [d for d in await bench.mailbag.pending() if d.id > 0]:
        await bench.mailbag.started(delivery, bench.clock.now())
        await bench.mailbag.finished(delivery, Progress.SENT, bench.clock.now(), 0, "", False)
    during = {d.progress for d in bench.store.rows.values()}
    bench.store.trouble = None
    await bench.gateway.commit()

    assert during == {Progress.WAITING}
    assert {d.progress for d in bench.store.rows.values() if "too warm" in d.notice.title} == {Progress.SENT}


async def test_stop_in_trouble_loses_nothing(tmp_path: Path) -> None:
    """What the store cannot take at the stop is noted down, taken up at the next start, stored, and told once."""
    bench = Bench()
    await bench.gateway.commit()
    bench.gateway.unsaved = Unsaved(tmp_path / "house.db")
    bench.gateway.unsaved.take()
    bench.store.trouble = FULL
    await bench.warm()
    await bench.gateway.commit()
    for delivery in await bench.mailbag.pending():
        await bench.mailbag.finished(delivery, Progress.SENT, bench.clock.now(), 0, "", False)
    await bench.gateway.note_down(orderly=True)
    next_run = Bench()
    next_run.gateway.unsaved = Unsaved(tmp_path / "house.db")
    next_run.gateway.take_up(next_run.gateway.unsaved.take())
    waiting = [t for t in await titles(next_run) if "too warm" in t]
    await next_run.gateway.commit()
    kinds = [e.kind for b in next_run.store.batches for e in b.events]

    assert waiting == []
    assert "high" in kinds
    assert sum(len(b.readings) for b in next_run.store.batches) > 0
    assert Unsaved(tmp_path / "house.db").take() == []


class Broken:
    """A store whose upkeep meets damage."""

    async def tidy(self, *_: object) -> None:
        """Meet it."""
        raise DAMAGED

    async def examine(self) -> None:
        """Meet it."""
        raise DAMAGED


@pytest.mark.parametrize("chore", ["tidy", "copy"])
async def test_damage_met_in_upkeep_is_reported(chore: str, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Damage that only the hourly or the nightly work meets is reported, so that it is healed."""
    caplog.set_level(logging.CRITICAL)
    clock, met = FakeClock(), []
    storing = replace(_storing(tmp_path), keep_raw=0)
    works: dict[str, Callable[[], Awaitable[None]]] = {
        "tidy": lambda: tidy(Broken(), storing, clock, met.append),  # type: ignore[arg-type]
        "copy": lambda: copy_nightly(Broken(), storing, clock, LONDON, met.append),  # type: ignore[arg-type]
    }
    task = asyncio.ensure_future(works[chore]())
    await settle()
    for _ in range(DAY // HOUR):
        await clock.advance(HOUR)
    task.cancel()

    assert met
    assert met[0] is DAMAGED


def _storing(folder: Path) -> Storing:
    return Storing(path=folder / "house.db")
