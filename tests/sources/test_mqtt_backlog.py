"""What a broker kept while we were away is late, and what comes after it is live."""

import asyncio
from collections.abc import Iterator

import pytest

from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Arrival
from gatewayd.sources import marker
from tests.rigs.broker import NO_MARKER, Mosquitto
from tests.rigs.publisher import Publisher
from tests.sources.conftest import running
from tests.sources.intake import RememberingIntake, eventually

pytestmark = pytest.mark.rig


@pytest.fixture
def closed_broker() -> Iterator[Mosquitto]:
    """Run a broker whose rights forbid the marker."""
    with Mosquitto(rights=NO_MARKER) as rig:
        yield rig


async def leave_behind(broker: Mosquitto, count: int) -> None:
    """Let a session begin, end in order, and `count` messages be kept for it."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake):
        await eventually(lambda: intake.up, "up")
    with Publisher(broker) as publisher:
        publisher.send_all(("house/porch", f"kept {n}") for n in range(count))
        await asyncio.to_thread(publisher.wait)


async def test_backlog_then_live(broker: Mosquitto) -> None:
    """The whole backlog is late and no older than the last commit; the first message after it is live."""
    await leave_behind(broker, 500)
    intake = RememberingIntake(last_commit=1_700_000_000_000)
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: len(intake.heard) == 500, "the backlog")
        await eventually(lambda: not source._lateness.late, "the marker")
        with Publisher(broker) as publisher:
            publisher.send("house/cellar", "fresh")
            await eventually(lambda: b"fresh" in intake.payloads, "a fresh one")

    assert {(heard.arrival, heard.not_before) for heard in intake.heard[:500]} == {(Arrival.LATE, 1_700_000_000_000)}
    assert (intake.heard[500].arrival, intake.heard[500].not_before) == (Arrival.LIVE, None)
    assert intake.remarks == []


async def test_mixed_with_live(broker: Mosquitto) -> None:
    """With sensors publishing all the while, late messages come first and live ones last, without a mix."""
    await leave_behind(broker, 300)
    intake = RememberingIntake()
    with Publisher(broker) as publisher:
        async with running(broker.settings(), intake):
            for n in range(100):
                publisher.send("house/cellar", f"new {n}")
                await asyncio.sleep(0.002)
            await eventually(lambda: len(intake.heard) == 400, "all")
    order = [heard.arrival is Arrival.LATE for heard in intake.heard]

    assert order == sorted(order, reverse=True)
    assert all(order[:300])
    assert not order[-1]


async def test_small_queue(broker: Mosquitto) -> None:
    """A full queue at the broker drops the marker; it is sent again, and the backlog still ends."""
    with Mosquitto(extra=("max_queued_messages 50",)) as small:
        await leave_behind(small, 200)
        intake = RememberingIntake(commits=False)
        async with running(small.settings(), intake) as source:
            await eventually(lambda: intake.up, "up")
            await asyncio.sleep(0.2)  # the marker has met the full queue by now
            intake.commits = True
            intake.commit()
            await eventually(lambda: not source._lateness.late, "the marker, sent again")
        late = {heard.arrival for heard in intake.heard}

    assert late == {Arrival.LATE}
    assert intake.remarks == []


async def test_bound_after_loss(broker: Mosquitto) -> None:
    """After a lost link late messages may be as old as that loss, although commits went on meanwhile."""
    intake = RememberingIntake()
    async with running(broker.settings(), intake) as source:
        await eventually(lambda: intake.up, "up")
        await eventually(lambda: source._lateness.settled, "the first marker")
        intake.committed = source._clock.now().wall - 2 * MINUTE
        lost = intake.committed
        with Publisher(broker) as publisher:
            publisher.send("house/porch", "again")
            await eventually(lambda: intake.heard, "a live one, not acknowledged")
            broker.down()
            await eventually(lambda: not intake.up, "down")
            intake.committed = source._clock.now().wall
            broker.up()
            await eventually(lambda: len(intake.heard) == 2, "the same again")
    again = intake.heard[1]

    assert again.arrival is Arrival.LATE
    assert again.not_before is not None
    assert abs(again.not_before - lost) < 1_000


async def test_marker_forbidden(closed_broker: Mosquitto) -> None:
    """Where the rights forbid the marker it is said once, and what comes in the first half minute is late."""
    await leave_behind(closed_broker, 10)
    intake = RememberingIntake()
    async with running(closed_broker.settings(), intake):
        await eventually(lambda: len(intake.heard) == 10, "the backlog")
        await eventually(lambda: intake.remarks, "the remark")
        with Publisher(closed_broker) as publisher:
            publisher.send("house/cellar", "fresh, but who knows")
            await eventually(lambda: len(intake.heard) == 11, "one more")

    assert {heard.arrival for heard in intake.heard} == {Arrival.LATE}
    assert len(intake.remarks) == 1
    assert '"gatewayd/heron-lane/marker"' in intake.remarks[0]


async def test_believed_after_a_while(closed_broker: Mosquitto, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the rights forbid the marker, messages are live again once the first look is over."""
    monkeypatch.setattr(marker, "FIRST_LOOK", 1_000)  # the rule itself is tested with its own figures
    await leave_behind(closed_broker, 10)
    intake = RememberingIntake()
    async with running(closed_broker.settings(), intake) as source:
        await eventually(lambda: len(intake.heard) == 10, "the backlog")
        await eventually(lambda: not source._lateness.late, "believed")
        with Publisher(closed_broker) as publisher:
            publisher.send("house/cellar", "fresh")
            await eventually(lambda: b"fresh" in intake.payloads, "a fresh one")

    assert intake.arrivals(b"fresh") == [Arrival.LIVE]
