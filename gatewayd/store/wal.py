"""Look into the log beside the file after a crash: SQLite drops what follows a damaged place in it without a word.

Format: sqlite.org/fileformat2.html#the_write_ahead_log. A frame counts when its salts are those of the log's header and
its checksum holds, which runs over all frames before it; the first bad one ends the log.
"""

import shutil
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

from gatewayd.store.duplicate import sync

_HEADER, _FRAME = struct.Struct(">IIIIIIII"), struct.Struct(">IIIIII")
_MAGIC = {0x377F0682: "<", 0x377F0683: ">"}  # in which byte order checksums are made
_MASK = 0xFFFFFFFF


def frames(log: Path) -> list[bool]:
    """Return, for each frame in the log, whether it ends a commit that was made since the log was last begun."""
    try:
        raw = log.open("rb")
    except OSError:
        return []
    with raw:
        header = raw.read(_HEADER.size)
        if len(header) < _HEADER.size:
            return []
        magic, _, page, _, *salts, one, two = _HEADER.unpack(header)
        sound = magic in _MAGIC and (one, two) == _checksum(header[:24], _MAGIC[magic])
        if not 512 <= page <= 65536:
            return []
        found: list[bool] = []
        while len(head := raw.read(_FRAME.size)) == _FRAME.size:
            _, commit, *its, _, _ = _FRAME.unpack(head)
            if not sound and not found:
                salts = its  # the header is what is damaged
            found.append(its == salts and commit != 0)  # others are of an earlier turn of the log, or damaged
            raw.seek(page, 1)
        return found


def _checksum(data: bytes, order: str) -> tuple[int, int]:
    one = two = 0
    for first, second in struct.iter_unpack(f"{order}II", data):
        one = (one + first + two) & _MASK
        two = (two + second + one) & _MASK
    return one, two


def keep_damaged(store: Path) -> int:
    """Return how many commits in the log SQLite passes over for damage; the log is then kept beside.

    To be called before the file is opened to write. One commit at the end may be what a power cut tore, which nobody
    was ever told is safe: it does not count. A second one is only begun when the first is on the disk.
    """
    log = store.with_name(store.name + "-wal")
    written = frames(log)
    if not written:
        return 0
    with closing(sqlite3.connect(store, timeout=0, isolation_level=None)) as conn:
        conn.execute("PRAGMA schema_version").fetchone()  # opens the log, and takes what is sound of it
        busy, taken, _ = conn.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        lost = 0 if busy or taken < 0 else sum(written[taken:]) - 1
        if lost > 0:
            number = next(n for n in range(1, 10_000) if not _kept(store, n).exists())
            shutil.copyfile(log, _kept(store, number))
            sync(_kept(store, number))
    return max(0, lost)


def _kept(store: Path, number: int) -> Path:
    return store.with_name(f"{store.name}.damaged-{number}-wal")
