"""Keep the lock of the pages: the household's password as a hash, the key that signs cookies, the links to look.

One small file in the state folder, readable by gatewayd's own user alone, written whole or not at all.
"""

import contextlib
import hashlib
import hmac
import json
import logging
import os
import secrets
import threading
from dataclasses import dataclass, field, replace
from pathlib import Path

from gatewayd.model.pack import pack, unpack

log = logging.getLogger(__name__)

FILE = "pages.lock"
PRIVATE = 0o600
# OWASP Password Storage Cheat Sheet (from memory): of its equal choices for scrypt the one that takes least memory,
# 16 MiB; 0.3 s on the build machine.
COST, BLOCK, TURNS = 1 << 14, 8, 5
MEMORY = 64 << 20  # bytes scrypt may take; it needs 128 x COST x BLOCK = 16 MiB and a little
KEY = 32  # bytes, as long as what SHA-256 gives
LEAST, MOST = 8, 200  # characters of a password; NIST SP 800-63B asks for 8 at least, and the hash takes any length
LEFT = 500  # ended sign-ins that are remembered; a household ends a few a month
LINKS = 20  # links to look; a household has a tablet on the wall and an aunt


@dataclass(frozen=True, slots=True)
class Link:
    """Hold a link with which somebody may look and change nothing. The word in it is kept as a hash."""

    id: str
    name: str
    hash: str
    made: int  # wall ms
    by: str


@dataclass(frozen=True, slots=True)
class Kept:
    """Hold what stands in the file, bytes as hex; `hash` is empty until a password was set."""

    key: str
    salt: str = ""
    hash: str = ""
    links: list[Link] = field(default_factory=list)
    left: dict[str, int] = field(default_factory=dict)  # sign-ins that were ended, and when (wall ms)


class Lock:
    """Check the password and the links. What writes or hashes blocks: call it in a thread."""

    def __init__(self, folder: Path) -> None:
        """Read the lock in `folder`; one that cannot be read is set aside and made anew, without a password."""
        self._path = folder / FILE
        self._kept = _read(self._path) or Kept(secrets.token_hex(KEY))
        self._writing = threading.Lock()

    @property
    def is_set(self) -> bool:
        """Return whether there is a password."""
        return bool(self._kept.hash)

    @property
    def key(self) -> bytes:
        """Return the key that signs cookies; another password makes another key, and all sign-ins end."""
        return bytes.fromhex(self._kept.key)

    @property
    def links(self) -> tuple[Link, ...]:
        """Return the links to look that count."""
        return tuple(self._kept.links)

    def set(self, password: str) -> None:
        """Take a new password and end all sign-ins. Raise ValueError for one too short or long, OSError by the disk."""
        if not LEAST <= len(password) <= MOST:
            raise ValueError(f"The password must have {LEAST} to {MOST} characters; this one has {len(password)}.")
        salt = secrets.token_bytes(16)
        hashed, key = _hash(password, salt).hex(), secrets.token_hex(KEY)
        with self._writing:
            self._write(replace(self._kept, key=key, salt=salt.hex(), hash=hashed, left={}))

    def opens(self, password: str) -> bool:
        """Return whether this is the password, in a time that does not tell how near it is."""
        if not self._kept.hash or len(password) > MOST:
            return False
        return hmac.compare_digest(_hash(password, bytes.fromhex(self._kept.salt)), bytes.fromhex(self._kept.hash))

    def add_link(self, name: str, by: str, now: int) -> str:
        """Make a link to look called `name` and return its word, which is not kept. Raise ValueError for too many."""
        word = secrets.token_urlsafe(24)
        link = Link(secrets.token_hex(4), name, _digest(word), now, by)
        with self._writing:
            if len(self._kept.links) >= LINKS:
                raise ValueError(f"There are {LINKS} links already; take one back first.")
            self._write(replace(self._kept, links=[*self._kept.links, link]))
        return word

    def drop_link(self, id_: str) -> Link | None:
        """Take a link back, and with it all sign-ins by it; None if there was none of that id."""
        with self._writing:
            gone = next((link for link in self._kept.links if link.id == id_), None)
            if gone is not None:
                self._write(replace(self._kept, links=[link for link in self._kept.links if link.id != id_]))
        return gone

    def end(self, session: str, now: int, lasts: int) -> None:
        """Let a sign-in count no more, whatever copies of its cookie there are; remember it for `lasts` ms.

        Raise OSError by the disk; it counts no more until the next start even so.
        """
        with self._writing:
            left = {one: ended for one, ended in self._kept.left.items() if now - ended < lasts}
            left.pop(session, None)
            newest = [*left.items(), (session, now)][-LEFT:]
            self._kept = replace(self._kept, left=dict(newest))
            self._write(self._kept)

    def ended(self, session: str) -> bool:
        """Return whether a sign-in was ended by its owner."""
        return session in self._kept.left

    def link(self, word: str) -> Link | None:
        """Return the link whose word this is."""
        wanted = _digest(word[:200])
        return next((link for link in self._kept.links if hmac.compare_digest(link.hash, wanted)), None)

    def _write(self, kept: Kept) -> None:
        part = self._path.with_name(f".{FILE}.part")
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE)
        with os.fdopen(handle, "w") as file:
            json.dump(pack(kept), file)
            file.flush()
            os.fsync(file.fileno())
        part.replace(self._path)
        folder = os.open(self._path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
        self._kept = kept


def _read(path: Path) -> Kept | None:
    try:
        text = path.read_text()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        log.warning("%s cannot be read (%s); the pages ask for a new password", path, error)
        return None
    try:
        kept = unpack(Kept, json.loads(text))
        if not isinstance(kept, Kept) or len(bytes.fromhex(kept.key)) != KEY:
            raise ValueError("its key is not one")
        bytes.fromhex(kept.salt + kept.hash + "".join(link.hash for link in kept.links))
    except (ValueError, TypeError, KeyError, RecursionError) as wrong:
        aside = path.with_name(f"{FILE}.damaged")
        with contextlib.suppress(OSError):  # a card that takes no writes: the lock is made anew all the same
            path.replace(aside)
        log.warning("%s is damaged (%s); it is kept as %s, and the pages ask for a new password", path, wrong, aside)
        return None
    return kept


def _hash(password: str, salt: bytes) -> bytes:
    return hashlib.scrypt(
        password.encode("utf-8", "surrogatepass"), salt=salt, n=COST, r=BLOCK, p=TURNS, maxmem=MEMORY, dklen=KEY
    )


def _digest(word: str) -> str:
    """Return the hash of a word of 24 random bytes; such a word cannot be guessed, so a quick hash will do."""
    return hashlib.sha256(word.encode("utf-8", "replace")).hexdigest()
