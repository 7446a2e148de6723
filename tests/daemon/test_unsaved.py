"""The note beside the store: what it could not take outlives a stop and a crash."""

import errno
import os
from pathlib import Path

import pytest

from gatewayd.daemon.unsaved import ROOM, Unsaved
from gatewayd.model.delivery import Progress
from gatewayd.store.batch import Batch
from tests.store.make import T0, at, bad, deliveries, event, late, reading


def batch(rows: int = 2) -> Batch:
    """Return a batch with everything in it."""
    rows_ = [reading(T0 + n) for n in range(rows)]
    return Batch(
        at(T0), [*rows_, late(T0, T0 + 5, T0 + 5), bad(T0 + 9)], [event(7)], deliveries(7), "snap",
        ("v1", "{}"), [("key", "done")], dropped=[3], counters={"porch": 9},
    )  # fmt: skip


def test_comes_back_as_it_was(tmp_path: Path) -> None:
    """An orderly last word comes back whole, rows included, and is empty once the store has it."""
    note = Unsaved(tmp_path / "house.db")
    fresh = note.take()
    kept = note.keep([batch()], orderly=True)
    back = Unsaved(tmp_path / "house.db")
    found = back.take()
    back.clear()
    after = Unsaved(tmp_path / "house.db").take()

    assert (fresh, kept, found, after) == ([], True, [batch()], [])


def test_after_a_crash_messages_are_in_doubt(tmp_path: Path) -> None:
    """A note that was not the last word has no rows, and what waits in it may have been sent since."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    note.keep([batch()], orderly=False)
    (found,) = Unsaved(tmp_path / "house.db").take()

    assert found.readings == []
    assert found.events == batch().events
    assert [d.maybe_sent for d in found.deliveries] == [True, True]
    assert {d.progress for d in found.deliveries} == {Progress.WAITING}


def test_taken_once_without_doubt(tmp_path: Path) -> None:
    """A last word that was taken and not stored before the next crash is in doubt then."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    note.keep([batch()], orderly=True)
    (first,) = Unsaved(tmp_path / "house.db").take()
    (second,) = Unsaved(tmp_path / "house.db").take()

    assert [d.maybe_sent for d in first.deliveries] == [False, False]
    assert [d.maybe_sent for d in second.deliveries] == [True, True]
    assert second.readings == first.readings


def test_room_is_there_from_the_start(tmp_path: Path) -> None:
    """The note has its room before anything is wrong, and a short one writes no more than it needs."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    path = tmp_path / "house.db.unsaved"
    before = path.stat()
    note.keep([batch()], orderly=False)
    after = path.stat()

    assert before.st_size == ROOM
    assert before.st_blocks * 512 >= ROOM
    assert (after.st_size, after.st_blocks, after.st_ino) == (before.st_size, before.st_blocks, before.st_ino)


def test_too_much_for_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What does not fit on a full disk is written without its rows; events and messages are."""
    note = Unsaved(tmp_path / "house.db")
    note.take()
    whole = os.pwrite

    def full(handle: int, text: bytes, place: int) -> int:
        return whole(handle, text[:ROOM], place)

    monkeypatch.setattr(os, "pwrite", full)
    kept = note.keep([batch(rows=6_000)], orderly=True)
    (found,) = Unsaved(tmp_path / "house.db").take()

    assert kept
    assert found.readings == []
    assert found.deliveries == deliveries(7)
    assert [path.name for path in tmp_path.iterdir()] == ["house.db.unsaved"]


def test_read_only_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a disk where nothing can be written or taken away the note says so and ends nothing."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    note = Unsaved(tmp_path / "house.db")
    note.take()
    monkeypatch.setattr(os, "open", refuse)
    monkeypatch.setattr(Path, "unlink", refuse)

    assert not note.keep([batch()], orderly=True)
    assert not note.keep([batch()], orderly=False)


@pytest.mark.parametrize("text", [b"\xff\xfe", b"[1]", b'{"batches": 3}', b'{"orderly":true,"batches":[{}]}'])
def test_garbage_is_no_note(tmp_path: Path, text: bytes) -> None:
    """A note that cannot be read is passed over with a line in the log; the start goes on."""
    (tmp_path / "house.db.unsaved").write_bytes(text)

    assert Unsaved(tmp_path / "house.db").take() == []
