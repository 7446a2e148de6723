"""A freezer's course out of the file, and where packages lay."""

from contextlib import closing
from dataclasses import replace

import pytest

from gatewayd.food.exposure import SLOT, SPREAD, step
from gatewayd.food.first import Stay, first
from gatewayd.model.excursion import Decision
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.stock import Box, Package, Turn
from gatewayd.store import stock
from gatewayd.store.exposure import begins, courses, kept
from gatewayd.store.file import open_reader, open_writer
from gatewayd.store.transaction import transaction
from tests.store.make import LONDON, T0, at, bad, batch, late, reading

AIR, DEEP = "shed-chest-air", "shed-chest-deep"
SENSORS = {"shed-chest": (AIR, DEEP), "porch-chest": ("porch-chest-air",)}
BEGIN = T0 // SLOT


def course_of(path, since=T0, now=T0 + 2 * HOUR):
    """Return the shed chest's course."""
    with closing(open_reader(path)) as conn:
        return courses(conn, SENSORS, {"shed-chest": since, "porch-chest": since}, now).get("shed-chest")


async def test_rolled_up(store, path):
    """The course is the same before and after the hourly move, the warmest probe's, bad readings left out."""
    air = [reading(T0 + minute * MINUTE, -18 - minute / 60) for minute in range(60)]
    deep = [reading(T0 + minute * MINUTE, -19.0, DEEP) for minute in range(30)]
    await store.commit(batch(*air, *deep, bad(T0 + 5 * MINUTE)))
    before = course_of(path, now=T0 + HOUR - 1)
    await store.tidy(at(T0), 0)
    after = course_of(path, now=T0 + HOUR - 1)
    assert before.begin == after.begin == BEGIN
    for quarter in range(4):
        mean = -18 - (quarter * 15 + 7) / 60
        taken = min(-18 - quarter / 4, mean + SPREAD * (14 / 60) ** 2)
        for one in (before, after):
            assert one.steps[quarter] / 100 - 24 == pytest.approx(taken, abs=0.008)
    assert all(abs(a - b) <= 1 for a, b in zip(before.steps, after.steps, strict=True))


async def test_half_moved(store, path):
    """A quarter of which one part is moved and one is not takes the warmer part."""
    await store.commit(batch(reading(T0, -18.0)))
    await store.tidy(at(T0), 0)
    await store.commit(batch(reading(T0 + MINUTE, -12.0)))
    assert course_of(path, now=T0).steps[0] == step(-12_000)


async def test_late(store, path):
    """Late rows count as warm as the warmest in all of their span, and that is marked."""
    end = T0 + 2 * HOUR
    await store.commit(batch(reading(T0, -18.0), reading(end, -18.0)))
    await store.commit(batch(late(T0 + HOUR, T0 + HOUR + 20 * MINUTE, end, -7.0), wall=end))
    one = course_of(path, now=end)
    assert [number // 100 - 24 for number in one.steps] == [-18] * 4 + [-7] * 2 + [-18] * 3
    assert list(one.guessed) == [0, *[1] * 7, 0]


async def test_since(store, path):
    """It is read from a week before it matters, and what was never heard has no course."""
    await store.commit(batch(*(reading(T0 - days * DAY, -18.0) for days in (20, 8, 6, 0))))
    await store.tidy(at(T0), 0)
    assert course_of(path).begin == (T0 - 6 * DAY) // SLOT
    with closing(open_reader(path)) as conn:
        assert set(courses(conn, SENSORS, {"shed-chest": T0, "porch-chest": T0}, T0 + HOUR)) == {"shed-chest"}
        assert courses(conn, {}, {"shed-chest": T0}, T0) == {}


@pytest.fixture
def filled(path):
    """Return a connection to a file with a box in the shed and one on the porch."""
    with closing(open_writer(path)) as conn:
        write(conn, T0, lambda pen: [pen.new_box(Box("fish", "Fish", "shed-chest")), pen.new_box(PORCH)])
        yield conn


PORCH = Box("porch", "Plums", "porch-chest")


def write(conn, now, what):
    """Write one order of Ann's."""
    with transaction(conn):
        return what(stock.pen(conn, now, "ann"))


def test_kept(filled):
    """A package that never moved has one stay, since when it came, in the freezer of its box."""
    write(filled, T0, lambda pen: pen.add(Package(0, "fish", "trout", frozen=T0 - DAY, since=T0)))
    (one,) = kept(filled)
    assert one.stays == (Stay("shed-chest", T0),)
    assert (one.box, one.refrozen) == ("Fish", False)
    assert begins([one]) == {"shed-chest": T0 - DAY}


def test_nothing(filled):
    """Without packages there is nothing to look at."""
    assert kept(filled) == []
    assert begins([]) == {}


def test_moved(filled):
    """A package that was moved, and a box that was, keep the stays before; what was undone is none."""
    one = write(filled, T0, lambda pen: pen.add(Package(0, "fish", "trout", since=T0)))
    there = replace(one, box="porch", since=T0 + DAY)
    write(filled, T0 + DAY, lambda pen: pen.change(one, there, Turn.MOVED))
    cellar = replace(PORCH, freezer="cellar-upright")
    write(filled, T0 + 2 * DAY, lambda pen: pen.change_box(PORCH, cellar, Turn.MOVED))
    stays = (Stay("shed-chest", T0), Stay("porch-chest", T0 + DAY), Stay("cellar-upright", T0 + 2 * DAY))
    (found,) = kept(filled)
    assert found.stays == stays
    assert begins([found]) == {"shed-chest": T0, "porch-chest": T0 + DAY, "cellar-upright": T0 + 2 * DAY}
    with transaction(filled):
        stock.undo(filled, T0 + 3 * DAY, "ann")
    assert kept(filled)[0].stays == stays[:2]


def test_box_before(filled):
    """Where its box stood before a package came into it does not matter."""
    cellar = replace(PORCH, freezer="cellar-upright")
    write(filled, T0, lambda pen: pen.change_box(PORCH, cellar, Turn.MOVED))
    write(filled, T0 + DAY, lambda pen: pen.add(Package(0, "porch", "plums", since=T0 + DAY)))
    assert kept(filled)[0].stays == (Stay("cellar-upright", T0 + DAY),)


def find(conn, decision, at, excursion=1, box=None, package=None):
    """Write a finding."""
    conn.execute(
        "INSERT INTO finding (excursion, box, package, decision, who, at) VALUES (?, ?, ?, ?, 'ann', ?)",
        (excursion, box, package, decision.value, at),
    )


def test_refrozen(filled):
    """What was frozen again is known by its own finding or its box's; the newest of a spell counts."""

    def add(pen):
        return [pen.add(Package(0, "fish", "trout", since=T0 + number * DAY)) for number in range(3)]

    first, second, third = write(filled, T0, add)
    find(filled, Decision.KEPT, T0 + DAY, box="fish")
    find(filled, Decision.REFROZEN, T0 + DAY, box="fish")
    find(filled, Decision.KEPT, T0 + DAY, package=second.id)
    assert [one.refrozen for one in kept(filled)] == [True, False, False]
    find(filled, Decision.REFROZEN, T0 + 3 * DAY, excursion=2, package=third.id)
    assert [one.refrozen for one in kept(filled)] == [True, False, True]
    find(filled, Decision.THROWN, T0 + 3 * DAY, excursion=2, package=third.id)
    assert [one.refrozen for one in kept(filled)] == [True, False, False]
    assert first.id == 1


def test_refrozen_undone(filled):
    """A decision whose move was undone does not stand."""
    one = write(filled, T0, lambda pen: pen.add(Package(0, "fish", "trout", since=T0)))
    write(filled, T0 + DAY, lambda pen: pen.change(one, replace(one, note="frozen again"), Turn.KEPT))
    find(filled, Decision.REFROZEN, T0 + DAY, package=one.id)
    assert kept(filled)[0].refrozen
    with transaction(filled):
        stock.undo(filled, T0 + 2 * DAY, "ann")
    assert not kept(filled)[0].refrozen


def test_part(filled):
    """A part that was moved elsewhere remembers where the whole was, that it came in fresh and was frozen again."""
    whole = write(filled, T0, lambda pen: pen.add(Package(0, "fish", "trout", count=5, since=T0, fresh=True)))
    find(filled, Decision.REFROZEN, T0 + HOUR, package=whole.id)

    def split(pen):
        pen.change(whole, replace(whole, count=3), Turn.MOVED)
        return pen.add(replace(whole, box="porch", count=2, since=T0 + DAY, fresh=False), "moved from number 1")

    part = write(filled, T0 + DAY, split)
    rest, moved = kept(filled)
    assert rest.stays == (Stay("shed-chest", T0),)
    assert moved.package == part
    assert moved.stays == (Stay("shed-chest", T0), Stay("porch-chest", T0 + DAY))
    assert moved.fresh
    assert moved.refrozen
    write(filled, T0 + 2 * DAY, lambda pen: pen.change(part, replace(part, box="fish", since=T0 + 2 * DAY), Turn.MOVED))
    assert kept(filled)[1].stays[-1] == Stay("shed-chest", T0 + 2 * DAY)
    assert len(kept(filled)[1].stays) == 3


def test_box_moved_with_packages(filled):
    """Packages written anew when their box is carried elsewhere keep when they came in first."""
    one = write(filled, T0, lambda pen: pen.add(Package(0, "porch", "plums", since=T0, fresh=True)))

    def carry(pen):
        pen.change_box(PORCH, replace(PORCH, freezer="shed-chest"), Turn.MOVED)
        pen.change(one, replace(one, since=T0 + DAY, fresh=False), Turn.MOVED)

    write(filled, T0 + DAY, carry)
    (found,) = kept(filled)
    assert found.stays == (Stay("porch-chest", T0), Stay("shed-chest", T0 + DAY))
    assert found.fresh


DATED = Package(0, "fish", "trout", frozen=T0 - 90 * DAY)  # put on the list with an old date


def dated(conn, how):
    """Put the dated trout into the shed, and return what carries it, or its box, to a freezer."""
    one = write(conn, T0, lambda pen: pen.add(DATED))

    def carry(at, box, freezer):
        (now,) = stock.packages(conn)
        if how == "package":
            write(conn, at, lambda pen: pen.change(now, replace(now, box=box, since=at), Turn.MOVED))
            return

        def both(pen):
            fish = next(each for each in stock.boxes(conn) if each.id == "fish")
            pen.change_box(fish, replace(fish, freezer=freezer), Turn.MOVED)
            pen.change(now, replace(now, since=at), Turn.MOVED)

        write(conn, at, both)

    assert one.since is None
    return carry


@pytest.mark.parametrize("how", ["package", "box"])
def test_dated_and_moved(filled, how):
    """Food that was put on the list with an old date has lain there since, also when it or its box is carried away."""
    carry = dated(filled, how)
    write(filled, T0, lambda pen: pen.new_box(Box("shelf", "Shelf", "cellar-upright")))
    (before,) = kept(filled)
    carry(T0 + DAY, "porch", "porch-chest")
    (once,) = kept(filled)
    carry(T0 + 2 * DAY, "shelf", "cellar-upright")
    (twice,) = kept(filled)
    assert before.stays == (Stay("shed-chest", None),)
    assert once.stays == (*before.stays, Stay("porch-chest", T0 + DAY))
    assert twice.stays == (*once.stays, Stay("cellar-upright", T0 + 2 * DAY))
    assert begins([twice])["shed-chest"] == begins([before])["shed-chest"] == DATED.frozen
    with transaction(filled):
        stock.undo(filled, T0 + 3 * DAY, "ann")
    assert kept(filled)[0].stays == once.stays


@pytest.mark.parametrize("how", ["package", "box"])
async def test_dated_past_goes_along(store, path, how):
    """What dated food has used and when it was warm is the same right before and right after a move."""
    hours = range(-80 * 24, 10 * 24)
    warm = [reading(T0 + hour * HOUR, 2.0 if -480 <= hour < -456 else -18.0) for hour in hours]
    await store.commit(batch(*warm, *(reading(T0 + hour * HOUR, -18.0, "porch-chest-air") for hour in hours)))
    with closing(open_writer(path)) as conn:
        write(conn, T0, lambda pen: [pen.new_box(Box("fish", "Fish", "shed-chest")), pen.new_box(PORCH)])
        carry = dated(conn, how)

        def listed(now):
            found = kept(conn)
            return first(found, courses(conn, SENSORS, begins(found), now), now, LONDON)[0]

        before = [listed(T0 + days * DAY) for days in (1, 2)]
        carry(T0 + DAY, "porch", "porch-chest")
        once = listed(T0 + DAY)
        carry(T0 + 2 * DAY, "fish", "shed-chest")
        twice = listed(T0 + 2 * DAY)
    for was, now in zip(before, (once, twice), strict=True):
        assert "warmed once" in was.reason
        assert (now.reason, now.doubts) == (was.reason, was.doubts)
        assert now.used == pytest.approx(was.used, rel=1e-3)


def test_stamp_taken_back(filled):
    """A stamp that a file gave to dated food before it was moved stays the beginning of what is known of it."""
    one = write(filled, T0, lambda pen: pen.add(DATED))
    stamped = replace(one, since=T0 - 9 * DAY)
    write(filled, T0, lambda pen: pen.change(one, stamped, Turn.CHANGED))
    write(filled, T0 + DAY, lambda pen: pen.change(stamped, replace(one, box="porch", since=T0 + DAY), Turn.MOVED))
    assert kept(filled)[0].stays == (Stay("shed-chest", T0 - 9 * DAY), Stay("porch-chest", T0 + DAY))


def test_part_of_dated(filled):
    """A part of dated food, split off into a box that was carried about before, begins where it was split off."""
    write(filled, T0, lambda pen: pen.change_box(PORCH, replace(PORCH, freezer="cellar-upright"), Turn.MOVED))
    home = replace(PORCH, freezer="shed-chest")
    write(filled, T0 + HOUR, lambda pen: pen.change_box(replace(PORCH, freezer="cellar-upright"), home, Turn.MOVED))
    whole = write(filled, T0, lambda pen: pen.add(replace(DATED, count=5)))

    def split(pen):
        pen.change(whole, replace(whole, count=3), Turn.MOVED)
        return pen.add(replace(whole, box="porch", count=2), "moved from number 1")

    write(filled, T0 + DAY, split)
    assert kept(filled)[1].stays == (Stay("shed-chest", None), Stay("shed-chest", T0 + DAY))
