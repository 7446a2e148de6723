"""The pump over the real store: what a crash leaves is taken up, marked, and told once more at most."""

import asyncio
import contextlib
import random
from datetime import UTC
from pathlib import Path

from gatewayd.message.join import SENT_AGAIN
from gatewayd.message.retry import first_try
from gatewayd.model.delivery import Delivery
from gatewayd.model.event import Event, Notice, What
from gatewayd.model.priority import Priority
from gatewayd.model.route import Route, Secret, UrlRoute
from gatewayd.notify.letter import Outcome
from gatewayd.notify.pump import Pump
from gatewayd.store.batch import Batch
from gatewayd.store.store import Store
from tests.fakes.clock import FakeClock
from tests.fakes.sender import FakeSender
from tests.notify.outbox import notice

ROUTES = {name: Route(name, UrlRoute(Secret(f"json://{name}.test"))) for name in ("mail", "chat")}


async def tell(store: Store, clock: FakeClock, event: int) -> Notice:
    """Commit an event with its notice by both routes, as the daemon does."""
    now = clock.now()
    told = notice(event, now, "mail", "chat")
    batch = Batch(now)
    batch.events = [Event(event, now, "shed", "high", What.RAISED, Priority.HIGH, 1, event)]
    batch.deliveries = [
        Delivery(0, told, route, rank, next_try=first_try(told.priority, rank, now.wall))
        for rank, route in enumerate(told.routes)
    ]
    await store.commit(batch)
    return told


async def until_empty(store: Store) -> None:
    """Wait until nothing is open; the caller sets the deadline."""
    while await store.pending():  # noqa: ASYNC110 - only the file knows
        await asyncio.sleep(0.01)


async def stop(task: asyncio.Task[None]) -> None:
    """Cancel a pump and wait for its end."""
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task


async def test_crash_in_the_middle_is_told_again(tmp_path: Path) -> None:
    """A message under way when the daemon stops goes out after the start, marked; one told before does not."""
    clock, sender = FakeClock(), FakeSender()
    path = tmp_path / "house.db"
    store = await Store.open(path, UTC)
    await tell(store, clock, 1)
    task = asyncio.create_task(Pump(store, sender, ROUTES, clock, random.Random(1)).run())
    async with asyncio.timeout(5):
        await until_empty(store)
    await stop(task)

    sender.hold("mail")
    sender.entered.clear()
    await tell(store, clock, 2)
    task = asyncio.create_task(Pump(store, sender, ROUTES, clock, random.Random(1)).run())
    async with asyncio.timeout(5):
        await sender.entered.wait()
    await stop(task)
    await store.close()

    sender.holds.clear()
    store = await Store.open(path, UTC)
    task = asyncio.create_task(Pump(store, sender, ROUTES, clock, random.Random(1)).run())
    async with asyncio.timeout(5):
        await until_empty(store)
    await stop(task)
    await store.close()

    assert [letter.body for _, letter in sender.sent] == ["body 1", f"{SENT_AGAIN}\nbody 2"]


async def test_next_route_spares_the_first(tmp_path: Path) -> None:
    """When the first route is hopeless the second carries the message, and the first is not tried again."""
    clock, sender = FakeClock(), FakeSender()
    sender.answers["mail"] = Outcome(ok=False, error="The mail server refused the password.", hopeless=True)
    store = await Store.open(tmp_path / "house.db", UTC)
    await tell(store, clock, 1)
    task = asyncio.create_task(Pump(store, sender, ROUTES, clock, random.Random(1)).run())
    async with asyncio.timeout(5):
        await until_empty(store)
    await clock.advance(3_600_000)
    await stop(task)
    await store.close()

    assert [route for route, _ in sender.tried] == ["mail", "chat"]
