"""The gateway's order: store first, then acknowledge, answer and tell; and a store in trouble stops no alarm."""

import asyncio
from collections.abc import Sequence
from dataclasses import replace

from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import STORE_PATIENCE, Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.model.delivery import Progress
from gatewayd.model.given import Order, Start
from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.store.trouble import StoreTrouble
from gatewayd.watch.watch import Watch
from tests.days.player import BROKER, house
from tests.fakes.clock import FakeClock, settle
from tests.fakes.store import FakeStore

FULL = StoreTrouble("The disk that holds house.db is full.")


class Bench:
    """Join a gateway with fakes, and hear through it."""

    def __init__(self) -> None:
        """Begin with one freezer."""
        self.clock = FakeClock()
        self.store = FakeStore()
        self.mailbag = Mailbag(self.store)
        watch = Watch(house(1), self.clock.now())
        self.gateway = Gateway(watch, self.store, self.mailbag, self.clock, 30 * SECOND)  # type: ignore[arg-type]
        self.acknowledged: list[object] = []
        self.gateway.sources[BROKER] = self
        self.gateway.give(Start())

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Remember which receipts came back, and that the store was asked before."""
        self.store.asked.append("acknowledged")
        self.acknowledged += receipts

    async def warm(self, minutes: int = 50) -> None:
        """Hear a warm freezer for some minutes."""
        for n in range(minutes):
            self.gateway.hear(Heard(BROKER, "shed-chest-air", b"-9.0", self.clock.now()), n)
            await self.clock.advance(MINUTE)


def door(bench: Bench) -> Answers:
    """Return what answers at the door of a bench."""

    async def restored() -> None:
        """Do nothing: no copy is put back here."""

    return Answers(bench.gateway, bench.clock, restored)


async def test_acknowledged_only_after_commit() -> None:
    """A receipt goes back to its source after the commit that holds its reading, and not before."""
    bench = Bench()
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18", bench.clock.now()), "receipt")
    before = list(bench.acknowledged)
    await bench.gateway.commit()

    assert before == []
    assert bench.acknowledged == ["receipt"]
    assert bench.store.asked.index("commit") < bench.store.asked.index("acknowledged")


async def test_failed_commit_acknowledges_nothing() -> None:
    """When the store cannot write, nothing is acknowledged, and the next commit carries everything."""
    bench = Bench()
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18", bench.clock.now()), "receipt")
    bench.store.trouble = FULL
    took = await bench.gateway.commit()
    held = list(bench.acknowledged)
    bench.store.trouble = None
    await bench.gateway.commit()

    assert not took
    assert held == []
    assert bench.acknowledged == ["receipt"]
    assert [r.value for b in bench.store.batches for r in b.readings] == [-18.0]


async def test_alarm_is_told_although_the_disk_is_full() -> None:
    """With a full disk both the alarm and the trouble itself are told from memory, and written down later."""
    bench = Bench()
    await bench.gateway.commit()
    bench.store.trouble = FULL
    await bench.warm()
    await bench.gateway.commit()
    await bench.gateway.commit()
    waiting = await bench.mailbag.pending()
    for delivery in waiting:
        await bench.mailbag.started(delivery, bench.clock.now())
        await bench.mailbag.finished(delivery, Progress.SENT, bench.clock.now(), 0, "", False)
    bench.store.trouble = None
    await bench.gateway.commit()
    await bench.gateway.commit()

    titles = [d.notice.title for d in waiting]
    assert any("too warm" in title for title in titles)
    assert any("cannot be written" in title for title in titles)
    told = [d for d in bench.store.rows.values() if "written again" not in d.notice.title]
    assert {d.progress for d in told} == {Progress.SENT}


async def test_full_disk_does_not_stop_the_brokers() -> None:
    """After some patience receipts go back although the store cannot write: hearing matters more than rows."""
    bench = Bench()
    bench.store.trouble = FULL
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18", bench.clock.now()), "receipt")
    await bench.gateway.commit()
    await bench.clock.advance(STORE_PATIENCE + SECOND)
    await bench.gateway.commit()

    assert bench.acknowledged == ["receipt"]


async def test_trouble_is_told_once() -> None:
    """The same trouble of the store over hours is one message, and one when it is over."""
    bench = Bench()
    bench.store.trouble = FULL
    for _ in range(20):
        await bench.gateway.commit()
        await bench.clock.advance(5 * MINUTE)
    during = [d.notice.title for d in await bench.mailbag.pending()]
    bench.store.trouble = None
    await bench.gateway.commit()
    await bench.gateway.commit()
    after = [d.notice.title for d in await bench.mailbag.pending()]

    assert len([t for t in during if "cannot be written" in t]) == 1
    assert len([t for t in after if "written again" in t]) == 1


async def test_order_is_answered_after_commit() -> None:
    """An order's answer comes after the commit; the same order again changes nothing and gets the same answer."""
    bench = Bench()
    await bench.warm()
    number = next(a.first for a in bench.gateway.watch.alarms.listed())
    order = Order("acknowledge", number, "ann", key="k1")
    asking = asyncio.create_task(bench.gateway.order(order))
    await settle()
    early = asking.done()
    await bench.gateway.commit()
    first = await asking
    again = await bench.gateway.order(replace(order, who="ben"))

    assert not early
    assert first.done
    assert again.text == first.text


async def test_commit_is_due_after_the_first_row() -> None:
    """Rows wait for the commit interval; an idle gateway does not commit for ten minutes."""
    bench = Bench()
    task = asyncio.create_task(bench.gateway.run_commits())
    await bench.clock.advance(SECOND)
    begun = bench.store.asked.count("commit")
    await bench.clock.advance(5 * MINUTE)
    idle = bench.store.asked.count("commit")
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18", bench.clock.now()), None)
    await bench.clock.advance(29 * SECOND)
    waiting = bench.store.asked.count("commit")
    await bench.clock.advance(2 * SECOND)
    done = bench.store.asked.count("commit")
    task.cancel()

    assert (begun, idle, waiting, done) == (1, 1, 1, 2)


async def test_clock_step_stores_before_it_shifts() -> None:
    """What was stamped before a step is committed, then shifted, then what came after it is committed."""
    bench = Bench()
    bench.clock.trusted = False
    bench.gateway.tick()
    await bench.gateway.commit()
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18", bench.clock.now()), None)
    bench.clock.set_wall(bench.clock.now().wall + DAY)
    bench.gateway.tick()
    bench.store.asked.clear()
    await bench.gateway.commit()

    assert bench.store.asked[:3] == ["commit", "restamp", "commit"]
    assert [len(b.readings) for b in bench.store.batches[-2:]] == [1, 0]
