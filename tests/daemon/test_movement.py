"""How the parts of a real gateway are seen to move."""

from dataclasses import replace

import pytest

from gatewayd.daemon.lifesign import standstill
from gatewayd.daemon.movement import Movement, overdue
from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Heard
from tests.daemon.test_gateway import FULL, Bench
from tests.days.player import BROKER
from tests.fakes.clock import START

NOW = Moment(START, HOUR, "boot-a")


async def live(bench: Bench, movement: Movement, minutes: int, *, hear: bool = True) -> str:
    """Live for some minutes with a commit in each; return what stands still at the end, as seen every five."""
    still = ""
    for minute in range(minutes):
        if hear:
            bench.gateway.hear(Heard(BROKER, "shed-chest-air", f"-18.{minute % 7}".encode(), bench.clock.now()), None)
        await bench.gateway.commit()
        for waiting in await bench.mailbag.pending():
            await bench.mailbag.finished(waiting, Progress.SENT, bench.clock.now(), 0, "", False)
        await bench.clock.advance(MINUTE)
        if minute % 5 == 4:
            still = standstill(await movement.motion())
    return still


async def test_all_moves() -> None:
    """A gateway that hears and stores moves; before it has heard anything it does not."""
    bench = Bench()
    movement = Movement(bench.gateway, bench.clock)
    assert "no sensor" in standstill(await movement.motion())
    assert await live(bench, movement, 30) == ""


async def test_nothing_heard() -> None:
    """When no sensor is heard live any more it stands still, whatever the broker had kept."""
    bench = Bench()
    movement = Movement(bench.gateway, bench.clock)
    await live(bench, movement, 10)
    for arrival in (Arrival.RETAINED, Arrival.LATE):
        await live(bench, movement, 10, hear=False)
        bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-18.9", bench.clock.now(), arrival), None)
    assert "no sensor has been heard for 21 min" in standstill(await movement.motion())


async def test_store_that_takes_nothing() -> None:
    """When the store takes nothing any more it stands still although readings come, and moves again with a commit."""
    bench = Bench()
    movement = Movement(bench.gateway, bench.clock)
    await live(bench, movement, 10)
    bench.store.trouble = FULL
    assert await live(bench, movement, 10) == ""
    assert "disk" in await live(bench, movement, 10)
    bench.store.trouble = None
    assert "disk" not in await live(bench, movement, 5)


@pytest.mark.parametrize("step", [-10 * HOUR, 10 * HOUR])
async def test_clock_that_is_set(step: int) -> None:
    """A clock that is set does not make a store that works look still, nor one that does not look well."""
    bench = Bench()
    movement = Movement(bench.gateway, bench.clock)
    await live(bench, movement, 20)
    bench.clock.set_wall(bench.clock.now().wall + step)
    assert "disk" not in standstill(await movement.motion())
    bench.store.trouble = FULL
    assert "disk" in await live(bench, movement, 25)


def delivery(age: int, **changes: object) -> Delivery:
    """Hold a message made `age` ago whose first try was due at once."""
    made = NOW.later(-age)
    notice = Notice(17, "ann", Stage.NEW, Priority.HIGH, "t", "b", made, ("mail", "chat"))
    return replace(Delivery(1, notice, "mail", 0, next_try=made.wall), **changes)


@pytest.mark.parametrize(
    ("waiting", "late"),
    [
        ([], 0),
        ([delivery(0)], 0),
        ([delivery(11 * MINUTE)], 11 * MINUTE),
        ([delivery(11 * MINUTE, attempts=6, next_try=NOW.wall + MINUTE, error="No answer.")], 11 * MINUTE),
        ([delivery(HOUR, rank=1, next_try=NOW.wall + MINUTE)], 0),
        ([delivery(HOUR, rank=1, next_try=NOW.wall - 2 * MINUTE)], 2 * MINUTE),
        ([delivery(MINUTE), delivery(20 * MINUTE, attempts=1), delivery(5 * MINUTE)], 20 * MINUTE),
    ],
)
def test_overdue(waiting: list[Delivery], late: int) -> None:
    """The most belated message counts: a failed one by its age, a due one by how long, a later way not yet."""
    assert overdue(waiting, NOW) == late
