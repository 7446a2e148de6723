"""Look into the log beside the file after a crash: SQLite drops what follows a damaged place in it without a word.

Format: sqlite.org/fileformat2.html#the_write_ahead_log. A frame counts when its salts are those of the log's header and
its checksum holds, which runs over all frames before it; the first bad one ends the log.
"""

import shutil
import sqlite3
import struct
from pathlib import Path

from gatewayd.store.duplicate import sync

_HEADER, _FRAME = struct.Struct(">IIIIIIII"), struct.Struct(">IIIIII")
_MAGIC = {0x377F0682: "<", 0x377F0683: ">"}  # in which byte order checksums are made
_MASK = 0xFFFFFFFF


def frames(log: Path) -> list[bool]:
    """Return, for each frame in a row that was written since the log was last begun, whether it ends a commit."""
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
            if its != salts:
                break
            found.append(commit != 0)
            raw.seek(page, 1)
        return found


def _checksum(data: bytes, order: str) -> tuple[int, int]:
    one = two = 0
    for first, second in struct.iter_unpack(f"{order}II", data):
        one = (one + first + two) & _MASK
        two = (two + second + one) & _MASK
    return one, two


def keep_damaged(conn: sqlite3.Connection, store: Path, written: list[bool]) -> int:
    """Return how many commits in the log SQLite passed over for damage; the log is then kept beside.

    `written` are the log's frames as they stood before `conn` was opened; nothing may have been written since. One
    commit at the end may be what a power cut tore, which nobody was ever told is safe: it does not count. A second one
    is only begun when the first is on the disk.
    """
    if not written:
        return 0
    taken = int(conn.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[1])
    lost = sum(written[max(taken, 0) :]) - 1
    if lost <= 0:
        return 0
    log = store.with_name(store.name + "-wal")
    for number in range(1, 1000):
        kept = store.with_name(f"{store.name}.damaged-{number}-wal")
        if not kept.exists():
            shutil.copyfile(log, kept)
            sync(kept)
            break
    return lost
