"""The healer on real files: what a start finds in whatever state the store is, and how each state is healed."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.daemon.healer import NUMBERS_LOST, NUMBERS_UNKNOWN, REOPEN_AFTER, Begun, Healed, Healer
from gatewayd.daemon.run import alone
from gatewayd.model.moment import MINUTE
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.fakes.clock import FakeClock
from tests.store.make import LONDON, T0, batch, deliveries, event, reading
from tests.store.test_mend import hurt, lived_in, pages_of

DAMAGED = StoreTrouble("damaged", damaged=True)


class Place:
    """A store that was lived in, its copies, and a healer for it."""

    def __init__(self, folder: Path) -> None:
        self.path, self.copies = folder / "house.db", folder / "copies"
        self.clock = FakeClock()
        self.store = Store(self.path, LONDON)
        self.healer = Healer(self.store, self.copies, self.clock, LONDON)

    async def begin(self) -> Begun:
        """Begin as a start does."""
        return await self.healer.begin()


@pytest.fixture
async def place(tmp_path: Path) -> Place:
    """Leave a house that was lived in."""
    place = Place(tmp_path)
    await lived_in(place.path, place.copies)
    return place


async def test_sound(place: Place) -> None:
    """A sound store is opened and remembered, and nothing is told."""
    begun = await place.begin()
    await place.store.close()

    assert (begun.kept.last_event, begun.kept.snapshot, len(begun.kept.pending)) == (7, "s", 2)
    assert (begun.text, begun.trouble) == ("", None)


async def test_locked(place: Place) -> None:
    """A locked store is only read: all is remembered, the trouble is handed on, and it is opened when the lock ends."""
    with closing(sqlite3.connect(place.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        begun = await place.begin()
        with pytest.raises(StoreTrouble):
            await place.healer.heal(begun.trouble or DAMAGED, 7)
    healed = await place.healer.heal(begun.trouble or DAMAGED, 7)
    await place.store.commit(batch(reading(T0 + 9)))
    await place.store.close()

    assert (begun.kept.last_event, begun.kept.snapshot, begun.kept.known) == (7, "s", True)
    assert begun.trouble is not None
    assert begun.trouble.busy
    assert healed == Healed(opened=True)


@pytest.mark.parametrize("copies", [True, False])
async def test_unreadable(place: Place, copies: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that cannot even be read blocks no start, and numbers people know are not given again."""
    if not copies:
        for copy in place.copies.iterdir():
            copy.unlink()
    monkeypatch.setattr("gatewayd.store.file.BUSY", 0.05)
    with closing(sqlite3.connect(place.path, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("CREATE TABLE mine (all_mine)")
        begun = await place.begin()

    assert begun.trouble is not None
    assert not begun.kept.known
    assert begun.kept.last_event == NUMBERS_UNKNOWN + (5 if copies else 0)
    assert begun.kept.pending == []


async def test_no_disk_yet(tmp_path: Path) -> None:
    """On a first start without its folder the watch begins with nothing, and the numbers begin with 1."""
    place = Place(tmp_path / "not mounted")
    begun = await place.begin()
    place.path.parent.mkdir()
    healed = await place.healer.heal(begun.trouble or DAMAGED, 0)
    await place.store.close()

    assert begun.trouble is not None
    assert begun.kept.last_event == 0
    assert healed.opened


async def test_destroyed(place: Place) -> None:
    """A destroyed file is kept, last night's copy takes its place, and the keeper is told what is missing."""
    place.path.write_bytes(b"\xa5" * 50_000)
    begun = await place.begin()
    await place.store.commit(batch(events=[event(begun.kept.last_event + 1)]))
    await place.store.close()
    (aside,) = place.path.parent.glob("house.db.*Z")

    assert begun.trouble is None
    assert begun.kept.last_event > 7
    assert aside.read_bytes() == b"\xa5" * 50_000
    assert "Missing are the single readings up to Wed 25 Nov 10:00" in begun.text
    assert str(aside) in begun.text


async def test_cold_damage(place: Place) -> None:
    """Damage in old readings costs those alone, and that is what the keeper is told."""
    await place.begin()
    leaves = pages_of(place.path, "reading")
    hurt(place.path, leaves[len(leaves) // 2])
    healed = await place.healer.heal(DAMAGED, 7)
    left = len(await place.store.since(0))
    await place.store.close()

    assert healed.replaced
    assert 5000 < left < 6000
    assert "could be brought over. Missing are the readings in its damaged part." in healed.text


async def test_damage_that_is_none(place: Place) -> None:
    """Damage that reading the file does not confirm is cured by opening it; met again soon, the copy is taken."""
    await place.begin()
    first = await place.healer.heal(DAMAGED, 7)
    untouched = not list(place.path.parent.glob("house.db.*Z"))
    second = await place.healer.heal(DAMAGED, 7)
    await place.store.close()

    assert first == Healed(opened=True)
    assert untouched
    assert second.replaced
    assert "nothing is missing" in second.text


async def test_vanished(place: Place) -> None:
    """A file deleted under the store is written anew, with nothing missing."""
    await place.begin()
    place.path.unlink()
    healed = await place.healer.heal(StoreTrouble("gone", gone=True), 7)
    found = (await place.store.last_event(), len(await place.store.since(0)))
    await place.store.close()

    assert healed.replaced
    assert "nothing is missing" in healed.text
    assert found == (7, 6000)


async def test_put_back_by_hand(place: Place) -> None:
    """A file that is moved away and back again before anybody looked is gone on with, and nothing is told."""
    await place.begin()
    healed = await place.healer.heal(StoreTrouble("gone", gone=True), 7)
    await place.store.commit(batch(events=[event(8)]))
    await place.store.close()

    assert healed == Healed(opened=True)


async def test_dead_connection_is_opened_anew(place: Place) -> None:
    """A disk that failed for half a minute is opened anew, for a connection to a disk that was away stays dead."""
    await place.begin()
    failing = StoreTrouble("the disk does not work as it should", passes=True)
    at_once = await place.healer.heal(failing, 7)
    await place.clock.advance(REOPEN_AFTER)
    later = await place.healer.heal(failing, 7)
    await place.store.close()

    assert (at_once.opened, later.opened) == (False, True)


async def test_damaged_log(place: Place) -> None:
    """Commits lost from a damaged log are told, and numbers that were in them are not given again."""
    await place.begin()
    for n in range(8, 30):
        await place.store.commit(batch(reading(T0 - n * MINUTE), events=[event(n)], deliveries=deliveries(n)))
    log = place.path.with_name("house.db-wal")
    crashed = Place(place.path.parent / "crashed")
    crashed.path.parent.mkdir()
    crashed.path.write_bytes(place.path.read_bytes())
    raw = bytearray(log.read_bytes())
    raw[len(raw) // 2 : len(raw) // 2 + 8] = b"\xa5" * 8
    crashed.path.with_name("house.db-wal").write_bytes(raw)
    begun = await crashed.begin()
    await crashed.store.close()
    await place.store.close()

    assert "is missing" in begun.text
    assert begun.kept.last_event >= 29 - 22 + NUMBERS_LOST
    assert begun.trouble is None


async def test_what_does_not_pass_is_refused(tmp_path: Path) -> None:
    """Another program's file under the store's name is a mistake of the settings: the start is refused with a word."""
    with closing(sqlite3.connect(tmp_path / "house.db")) as conn:
        conn.execute("CREATE TABLE song (title)")

    with pytest.raises(StoreTrouble, match="belongs to another program"):
        await Place(tmp_path).begin()


async def test_alone(tmp_path: Path) -> None:
    """Where nobody answers at the door a start goes on, whatever lies there."""
    await alone(tmp_path / "nothing.sock")
    (tmp_path / "left.sock").touch()
    await alone(tmp_path / "left.sock")


async def test_no_copy_is_told(place: Place) -> None:
    """With no copy at all a new file is begun, and the keeper is told so in plain words."""
    for copy in place.copies.iterdir():
        copy.unlink()
    place.path.write_bytes(b"\xa5" * 50_000)
    begun = await place.begin()
    await place.store.close()

    assert (
        "There was no good nightly copy, so a new file was begun. Missing is everything from before now." in begun.text
    )
