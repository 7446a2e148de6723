"""Readings as bare rows in the order in which they were heard, for a rehearsal."""

from contextlib import closing
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.reading import Arrival
from gatewayd.store import stream
from gatewayd.store.file import open_reader
from gatewayd.store.store import Store
from tests.store.make import LONDON, T0, at, bad, batch, late, reading

AIR, PORCH = "shed-chest-air", "porch-air"


def heard(path: Path, since: int = 0, until: int = T0 + 400 * DAY, sensors: tuple[str, ...] = (AIR, PORCH)) -> list:
    """Return when each row was heard, in the order of the stream."""
    with closing(open_reader(path)) as conn:
        return [row[0] for _, rows in stream.live(conn, since, until, sensors) for row in rows]


async def test_in_the_order_heard(store: Store, path: Path) -> None:
    """A reading with a stamp of its own comes when it was heard, also across the end of a slice; late ones do not."""
    edge = T0 - 20 * MINUTE + DAY
    stamped = [reading(edge - 10 * MINUTE, heard=at(edge + n * MINUTE), sensor=PORCH) for n in range(1)]
    plain = [reading(edge + n * MINUTE) for n in range(-5, 5)]
    ahead = reading(edge + 30 * MINUTE, heard=at(edge + 29 * MINUTE), sensor=PORCH)
    await store.commit(batch(reading(T0), *stamped, *plain, ahead, late(T0, T0 + HOUR, T0 + HOUR)))
    await store.commit(batch(reading(T0 + 5, arrival=Arrival.LATE), wall=edge))
    await store.tidy(at(edge), 0)
    await store.commit(batch(reading(edge + HOUR), bad(edge + 2 * HOUR)))

    found = heard(path)
    assert found == sorted([T0, *(r.heard.wall for r in (*stamped, *plain, ahead)), edge + HOUR, edge + 2 * HOUR])
    assert heard(path, since=edge, until=edge + MINUTE) == [edge, edge]
    assert heard(path, sensors=(PORCH,)) == [edge, edge + 29 * MINUTE]
    assert heard(path, sensors=("nobody",)) == []


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    made=st.dictionaries(
        st.tuples(st.sampled_from([AIR, PORCH]), st.integers(0, 5 * 24 * 60)), st.integers(-2, 15), max_size=60
    ),
    since=st.integers(-60, 6 * 24 * 60),
    span=st.integers(1, 6 * 24 * 60),
)
async def test_each_once(tmp_path_factory, made, since, span) -> None:  # type: ignore[no-untyped-def]
    """Whatever the lags and the window: each row heard within it comes once, in order, and none after it is due."""
    path = tmp_path_factory.mktemp("s") / "s.db"
    store = await Store.open(path, LONDON)
    of = [
        reading(T0 + t * MINUTE, heard=at(T0 + (t + lag) * MINUTE), sensor=sensor) for (sensor, t), lag in made.items()
    ]
    await store.commit(batch(*of))
    await store.close()
    begin, end = T0 + since * MINUTE, T0 + (since + span) * MINUTE

    with closing(open_reader(path)) as conn:
        slices = list(stream.live(conn, begin, end, (AIR, PORCH)))
    found = [row[0] for _, rows in slices for row in rows]

    assert found == sorted(r.heard.wall for r in of if begin <= r.heard.wall < end)
    done = 0
    for upto, rows in slices:
        assert all(done <= row[0] < upto for row in rows)
        done = upto


async def test_oldest(store: Store, path: Path) -> None:
    """What is left when single readings have gone is told: the first of them, and the first sum."""
    await store.commit(batch(reading(T0), reading(T0 + 20 * DAY)))
    await store.tidy(at(T0 + 30 * DAY), 15 * DAY)
    await store.tidy(at(T0 + 30 * DAY), 15 * DAY)

    with closing(open_reader(path)) as conn:
        assert (stream.oldest(conn, (AIR,)), stream.oldest_sum(conn, (AIR,))) == (T0 + 20 * DAY, T0)
        assert (stream.oldest(conn, ("nobody",)), stream.oldest_sum(conn, ("nobody",))) == (None, None)
