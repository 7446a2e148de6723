"""Edit house.yaml: the settings that gatewayd writes itself, beside the keeper's own file, which it never touches.

A change is tried first: all files are read with the changed one among them, and only if nothing is at fault does it
take the place of house.yaml, in one step that a power cut cannot halve. The version before is kept for one undo.

A key that is written out makes the file private (mode 0600) instead of going into a file of its own: one file, one
step, one undo. Without a secret in it the group may read it (0640).
"""

import fcntl
import os
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from gatewayd.settings import places
from gatewayd.settings.document import Document, holds_secret, read_document, written
from gatewayd.settings.faults import Fault, SettingsError
from gatewayd.settings.load import load
from gatewayd.settings.typed import Settings

NEW = "." + places.HOUSE_FILE + ".new"
BEFORE = places.HOUSE_FILE + ".before"  # of no bytes if there was no house.yaml before
PRIVATE, SHARED = 0o600, 0o640


Agree = Callable[[Settings], None]  # raises where something speaks against settings that are right in themselves


class Disagreed(Exception):
    """Somebody who looked at the new settings speaks against them; `faults` say why in words."""

    def __init__(self, faults: Sequence[str]) -> None:
        """Take why."""
        super().__init__(" ".join(faults))
        self.faults = list(faults)


def _agreed(settings: Settings) -> None:
    """Have nothing against any settings."""


def change(
    edit: Callable[[Document], Document],
    files: Sequence[Path],
    *,
    env: Mapping[str, str],
    state_dir: Path,
    agree: Agree = _agreed,
) -> Settings:
    """Let `edit` change what stands in house.yaml, and return the settings as they are then.

    `files`, `env` and `state_dir` as for `load`. Raise SettingsError if the changed settings would be at fault,
    ValueError if `edit` does or if another command is changing them right now, and what `agree` raises, which looks at
    the new settings before they count: then nothing is written. Raise OSError if the disk refuses.
    """
    with _locked(state_dir):
        house_file, new = state_dir / places.HOUSE_FILE, state_dir / NEW
        old, faults = _old(house_file), list[Fault]()
        document = read_document(old[0], house_file, faults) if old else {}
        if faults:
            raise SettingsError(faults)
        changed = edit(document)
        try:
            _write(new, written(changed).encode(), PRIVATE if holds_secret(changed) else SHARED)
            settings = _try(new, files, env, state_dir)
            agree(settings)
            _keep(state_dir, old)
            new.replace(house_file)
        finally:
            new.unlink(missing_ok=True)
        _sync_folder(state_dir)
    return settings


def undo(files: Sequence[Path], *, env: Mapping[str, str], state_dir: Path, agree: Agree = _agreed) -> Settings:
    """Put the version before the last change back, once, and return the settings as they are then.

    Raise ValueError if there is none, SettingsError if the settings would be at fault with it (the keeper's own file
    may have come to need what was added), what `agree` raises, OSError if the disk refuses; then nothing is changed.
    """
    with _locked(state_dir):
        house_file, before = state_dir / places.HOUSE_FILE, state_dir / BEFORE
        if not before.exists():
            raise ValueError("there is no change to take back; only the last one can be, and only once")
        if before.stat().st_size:
            settings = _try(before, files, env, state_dir)
            agree(settings)
            before.replace(house_file)
        else:
            settings = _try(state_dir / NEW, files, env, state_dir)  # which is not there
            agree(settings)
            house_file.unlink(missing_ok=True)
            before.unlink()
        _sync_folder(state_dir)
    return settings


def copy_out(state_dir: Path, target: Path) -> bool:
    """Copy house.yaml with its mode to a file that does not exist yet; return whether there is one to copy.

    Raise OSError if it cannot be read or written.
    """
    house_file = state_dir / places.HOUSE_FILE
    try:
        content, mode = house_file.read_bytes(), stat.S_IMODE(house_file.stat().st_mode)
    except FileNotFoundError:
        return False
    with os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE), "wb") as file:
        os.fchmod(file.fileno(), mode)
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return True


def read_copy(copy: Path, *, for_others: bool = False) -> Document:
    """Return what stands in a copy of house.yaml, for `change`. Raise SettingsError for one at fault, or OSError.

    `for_others` is for the daemon, which reads it for whoever asks at the door: they may give orders and must not
    change the settings, nor be told what stands in other files. So the file must be one that only root or the daemon's
    own user could have put there; raise ValueError for any other.
    """
    with copy.open("rb") as file:
        status = os.fstat(file.fileno())
        mine = status.st_uid in (0, os.geteuid()) and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
        if for_others and not (mine and copy.name.endswith(f".{places.HOUSE_FILE}") and stat.S_ISREG(status.st_mode)):
            raise ValueError(f"{copy} must belong to gatewayd, and nobody else may write it; see Backup in the README")
        raw = file.read()
    faults: list[Fault] = []
    document = read_document(raw, copy, faults)
    if faults:
        raise SettingsError(faults)
    return document


@contextmanager
def _locked(state_dir: Path) -> Iterator[None]:
    """Keep other commands from changing the settings meanwhile; the kernel lets go if we die."""
    state_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    folder = os.open(state_dir, os.O_RDONLY | os.O_DIRECTORY)
    try:
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise ValueError("another command is changing the settings right now; try again in a moment") from None
        (state_dir / NEW).unlink(missing_ok=True)  # left over from a power cut
        yield
    finally:
        os.close(folder)


def _old(path: Path) -> tuple[bytes, int] | None:
    """Return what stands in house.yaml and its mode, None if there is none; what is no file is refused."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise ValueError(f"{path} is not a file; take it away")
        return path.read_bytes(), stat.S_IMODE(status.st_mode)
    except FileNotFoundError:
        return None


def _write(path: Path, content: bytes, mode: int) -> None:
    """Write a new file, whole and on the disk when this returns.

    It belongs to whom the folder belongs: written with root's rights, the service could not read it.
    """
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE), "wb") as file:
        owner = path.parent.stat()
        if os.geteuid() == 0:
            os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
        os.fchmod(file.fileno(), mode)
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _keep(state_dir: Path, old: tuple[bytes, int] | None) -> None:
    """Keep what stood in house.yaml, with its mode, for one undo."""
    aside = state_dir / (NEW + ".before")
    aside.unlink(missing_ok=True)
    content, mode = old or (b"", PRIVATE)
    _write(aside, content, mode)
    aside.replace(state_dir / BEFORE)


def _try(candidate: Path, files: Sequence[Path], env: Mapping[str, str], state_dir: Path) -> Settings:
    """Load all settings with `candidate` in place of house.yaml, named as house.yaml in all that is said."""
    house_file = state_dir / places.HOUSE_FILE
    if house_file in files:
        raise ValueError(f"{house_file} belongs to gatewayd and cannot be the settings file as well")
    try:
        settings = load(files, env=env, state_dir=state_dir, house_file=candidate)
    except SettingsError as error:
        named = [replace(found, file=house_file) if found.file == candidate else found for found in error.faults]
        raise SettingsError(named) from None
    read = tuple(house_file if path == candidate else path for path in settings.files)
    return replace(settings, files=read, house_file=house_file)


def _sync_folder(state_dir: Path) -> None:
    """Make the new names last through a power cut (open(2): a directory is synced for itself)."""
    folder = os.open(state_dir, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
