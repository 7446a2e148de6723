"""A note beside the store of what it could not take, so that a stop or a crash during its trouble loses no event.

The file has its room on the disk from the start and is written in place: a full disk takes it too. Written after each
failed commit that holds something new, and at the stop, then with the rows of readings as far as there is room.
"""

import contextlib
import errno
import json
import logging
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from gatewayd.model.pack import pack, unpack
from gatewayd.store.batch import Batch

log = logging.getLogger(__name__)

# A snapshot of ten sensors takes 2 KB and more, an event with its message 1 KB, a row 240 bytes (measured): 4 000 rows,
# which a house of five sensors makes in a night. A note takes of it what it needs, so a write is no longer than that.
ROOM = 1 << 20
EMPTY = b"{}"


@dataclass(slots=True)
class Note:
    """Hold what is written. `orderly` says that it was the last word of a run: what waits in it was not sent."""

    orderly: bool
    batches: list[Batch]


class Unsaved:
    """Keep the note."""

    def __init__(self, store: Path) -> None:
        """Take the store's path; the note lies beside it."""
        self._path = store.with_name(f"{store.name}.unsaved")
        self._written = EMPTY

    def take(self) -> list[Batch]:
        """Return what a former run left; make room for a note where there is none."""
        try:
            with self._path.open("rb") as raw:
                found, size = raw.readline().rstrip(), raw.seek(0, os.SEEK_END)
        except OSError:
            found, size = b"", 0
        if size < ROOM:
            self._put(found.ljust(ROOM - 1))
        self._written = found or EMPTY
        if found in (b"", EMPTY):
            return []
        try:
            note: Note = unpack(Note, json.loads(found))
        except (ValueError, TypeError, KeyError, AttributeError) as wrong:
            log.warning("%s could not be read (%r) and is not used", self._path, wrong)
            return []
        for batch in note.batches:
            batch.stored = None
            if not note.orderly:  # it may have been sent after the note was written
                batch.deliveries = [replace(delivery, maybe_sent=True) for delivery in batch.deliveries]
        if note.orderly:  # only once: after a crash of this run its messages are in doubt too
            self._put(_text(Note(orderly=False, batches=note.batches)))
        return note.batches

    def keep(self, batches: Sequence[Batch], *, orderly: bool) -> bool:
        """Write what waits, with the rows if `orderly` and there is room; return whether all of it was written."""
        if orderly and self._put(_text(Note(orderly, list(batches)))):
            return True
        bare = [replace(batch, readings=[]) for batch in batches]
        return self._put(_text(Note(orderly, [batch for batch in bare if _tells(batch)])))

    def clear(self) -> None:
        """Empty the note: the store has everything."""
        if self._written != EMPTY:
            self._put(EMPTY)

    def _put(self, text: bytes) -> bool:
        """Write the text: in place where its room is enough, else as a new file, whole or not at all."""
        if text == self._written:
            return True
        temp = self._path.with_name(f".{self._path.name}.part")
        try:
            if len(text) < ROOM:
                _write(self._path, text + b"\n")
            else:
                _write(temp, text + b"\n")
                temp.replace(self._path)
        except OSError as error:
            log.warning("%s could not be written: %s", self._path, error.strerror)
            with contextlib.suppress(OSError):  # nor can anything be taken away from a read-only disk
                temp.unlink(missing_ok=True)
            return False
        self._written = text
        return True


def _write(path: Path, text: bytes) -> None:
    """Write over what is there and force it to the disk. Raise OSError if not all of it went."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)
    try:
        if os.pwrite(handle, text, 0) < len(text):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    finally:
        os.close(handle)


def _tells(batch: Batch) -> bool:
    return bool(batch.events or batch.deliveries or batch.decisions or batch.answers or batch.snapshot)


def _text(note: Note) -> bytes:
    return json.dumps(pack(note), separators=(",", ":")).encode()
