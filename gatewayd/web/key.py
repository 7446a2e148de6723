"""Keep the key that signs the links in messages: made once, readable by gatewayd's own user alone."""

import logging
import os
import secrets
from pathlib import Path

from gatewayd.message.token import KEY

log = logging.getLogger(__name__)

FILE = "link.key"
PRIVATE = 0o600


def link_key(folder: Path) -> bytes:
    """Return the key kept in `folder`, made when there is none. It blocks for a few milliseconds.

    A file that cannot be used is replaced, and where none can be written the key lasts until the next start: the links
    sent before then no longer count, and the page that they lead to says so. No alarm waits for that.
    """
    path = folder / FILE
    kept = _kept(path)
    if kept is not None:
        return kept
    key = secrets.token_bytes(KEY)
    part = path.with_name(f".{FILE}.part")
    try:
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE)
        try:
            os.write(handle, key)
            os.fsync(handle)
        finally:
            os.close(handle)
        part.replace(path)
    except OSError as error:
        log.warning("%s cannot be written (%s); links sent now end with the next restart", path, error.strerror)
    return key


def _kept(path: Path) -> bytes | None:
    try:
        key = path.read_bytes()
        if path.stat().st_mode & 0o077:
            path.chmod(PRIVATE)
            log.warning("%s could be read by others; it is private now", path)
    except FileNotFoundError:
        return None
    except OSError as error:
        log.warning("%s cannot be read (%s); a new key is made, and links sent before are void", path, error.strerror)
        return None
    if len(key) == KEY:
        return key
    log.warning("%s has %s bytes instead of %s; a new key is made, and links sent before are void", path, len(key), KEY)
    return None
