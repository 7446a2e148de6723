"""The outbox: a crash repeats a message, it never loses one."""

from pathlib import Path

import pytest

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.store.store import Store
from tests.store.make import LONDON, T0, at, batch, deliveries, event, rows

NOW = at(T0 + MINUTE)


async def states(path: Path) -> list[tuple]:
    """Return route and progress of every delivery."""
    return rows(path, "SELECT route, progress FROM delivery ORDER BY id")


@pytest.fixture
async def pair(store: Store) -> list[Delivery]:
    """Put one notice with two routes into the outbox."""
    return await store.commit(batch(events=[event(1)], deliveries=deliveries(1)))


async def test_order(store: Store) -> None:
    """What is pending comes the most urgent first, then the oldest, then by rank."""
    later, sooner = deliveries(2, wall=T0 + HOUR), deliveries(1)
    await store.commit(batch(deliveries=[*later, *sooner]))

    assert [(d.notice.event, d.rank) for d in await store.pending()] == [(1, 0), (1, 1), (2, 0), (2, 1)]


async def test_round_trip(store: Store, pair: list[Delivery]) -> None:
    """A delivery comes back as it was made, with an id."""
    assert await store.pending() == pair
    assert [d.notice for d in pair] == [d.notice for d in deliveries(1)]


async def test_sent(store: Store, path: Path, pair: list[Delivery]) -> None:
    """When one route has sent a notice the others of it are not needed, other people's are."""
    await store.commit(batch(deliveries=deliveries(1, person="ash")))
    await store.started(pair[0], NOW)
    await store.finished(pair[0], Progress.SENT, NOW, 0, "", False)

    assert await states(path) == [("mail", "sent"), ("chat", "not needed"), ("mail", "waiting"), ("chat", "waiting")]


async def test_failed(store: Store, pair: list[Delivery]) -> None:
    """A failed try is counted, with its error, its doubt and when to try again; the doubt stays."""
    for doubt in (True, False):
        await store.started(pair[0], NOW)
        await store.finished(pair[0], Progress.WAITING, NOW, T0 + HOUR, "no answer", doubt)

    found = next(d for d in await store.pending() if d.id == pair[0].id)
    assert (found.progress, found.attempts, found.next_try, found.error, found.maybe_sent) == (
        Progress.WAITING, 2, T0 + HOUR, "no answer", True,
    )  # fmt: skip


async def test_given_up(store: Store, pair: list[Delivery]) -> None:
    """When a route is given up the next one is due at once."""
    await store.finished(pair[0], Progress.GIVEN_UP, at(T0 + 1), 0, "refused", False)

    assert [(d.route, d.next_try) for d in await store.pending()] == [("chat", T0 + 1)]


async def test_other_route_was_faster(store: Store, path: Path, pair: list[Delivery]) -> None:
    """A try that fails after another route has sent the notice is not tried again."""
    await store.started(pair[0], NOW)
    await store.finished(pair[1], Progress.SENT, NOW, 0, "", False)
    await store.finished(pair[0], Progress.WAITING, NOW, T0 + HOUR, "timeout", True)

    assert await states(path) == [("mail", "not needed"), ("chat", "sent")]


async def test_crash_while_sending(path: Path) -> None:
    """A delivery that a crash caught under way waits again, and is marked as perhaps sent."""
    store = await Store.open(path, LONDON)
    pair = await store.commit(batch(deliveries=deliveries(1)))
    await store.started(pair[0], NOW)
    await store.close()

    store = await Store.open(path, LONDON)
    found = [(d.route, d.progress, d.maybe_sent, d.attempts) for d in await store.pending()]
    await store.close()

    assert found == [("mail", Progress.WAITING, True, 1), ("chat", Progress.WAITING, False, 0)]


async def test_dropped(store: Store, path: Path, pair: list[Delivery]) -> None:
    """When a freezer is removed the unsent notices of its alarm are void; one under way takes its course."""
    await store.commit(batch(events=[event(2, first=1)], deliveries=deliveries(2)))
    await store.commit(batch(events=[event(3)], deliveries=deliveries(3)))
    await store.started(pair[0], NOW)

    await store.commit(batch(dropped=[1]))

    found = rows(path, "SELECT n.event, d.progress FROM delivery d JOIN notice n ON n.id = d.notice ORDER BY d.id")
    assert found == [(1, "sending"), (1, "not needed"), *[(2, "not needed")] * 2, *[(3, "waiting")] * 2]


async def test_unknown(store: Store, path: Path, pair: list[Delivery]) -> None:
    """The end of a delivery that a restored file does not know changes nothing."""
    stranger = Delivery(99, pair[0].notice, "mail", 0)

    await store.finished(stranger, Progress.SENT, NOW, 0, "", False)

    assert await states(path) == [("mail", "waiting"), ("chat", "waiting")]
