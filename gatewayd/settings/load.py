"""Load: settings files in, typed settings out, or every fault of all files at once."""

import os
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from gatewayd.settings import build, places, schema
from gatewayd.settings.check import Checked, Checker, complete, merge
from gatewayd.settings.cross import cross, trust
from gatewayd.settings.faults import Fault, SettingsError, Spot, fault
from gatewayd.settings.keys import Key
from gatewayd.settings.readers import check_characters
from gatewayd.settings.redact import version
from gatewayd.settings.secrets import Unopened, Vault, read_file
from gatewayd.settings.tree import Branch, Text, parse, read
from gatewayd.settings.typed import Settings

_PEM = b"-----BEGIN "  # RFC 7468, section 2; OpenSSL also knows "TRUSTED CERTIFICATE"
_SECTION = re.compile(rb"^(?=[^\s#\-])", re.MULTILINE)  # what begins at the margin begins a section
_COMMENT = re.compile(rb"^[^\S\n]*#.*\n?", re.MULTILINE)
_LARGEST_CA = 4 << 20  # bytes; the bundle of all public authorities has a quarter of a MB


def load(
    files: Sequence[Path],
    *,
    env: Mapping[str, str],
    state_dir: Path,
    house_file: Path | None = None,
    secrets: bool = True,
) -> Settings:
    """Read the settings files, and house.yaml in `state_dir` if it is there, as one.

    Raise SettingsError with all faults of all files. Relative paths count from the file that names them, that of
    the database from `state_dir`; `~/` is $HOME. A `house_file` is read in place of house.yaml: that is how a change
    is tried before it is made. Without `secrets` none is looked up, and stand-ins take their place: for commands
    that only ask or order, and may be used by people who must not know them.
    """
    house_file = house_file or state_dir / places.HOUSE_FILE
    return _Load(env, state_dir, house_file, secrets=secrets).run(files)


def paths(files: Sequence[Path], *, env: Mapping[str, str], state_dir: Path) -> tuple[Path, Path]:
    """Return where the socket and the database are, from whatever can be read of the settings files.

    For commands that must reach a running daemon while its settings are half edited. Whatever is missing or at fault
    has its default; nothing is raised and no secret is looked up.
    """
    return _Load(env, state_dir, state_dir / places.HOUSE_FILE, secrets=False).paths(files)


def changes(before: Settings, after: Settings) -> list[str]:
    """Say in sentences what cannot change while gatewayd runs: empty if `after` can take the place of `before`."""
    found = []
    if before.house.id != after.house.id:
        found.append(
            f"site.id changed from {before.house.id} to {after.house.id}: all history hangs on it; change it back, or "
            "start gatewayd anew with another database"
        )
    for what, old, new in (
        ("store.path", before.storing.path, after.storing.path),
        ("socket", before.socket, after.socket),
    ):
        if old != new:
            found.append(f"{what} changed from {old} to {new}: that takes a restart of gatewayd")
    return found


class _Load:
    """One load: the faults and warnings gather here."""

    def __init__(self, env: Mapping[str, str], state_dir: Path, house_file: Path, *, secrets: bool) -> None:
        self._open = secrets
        self._env, self._state, self._house = env, state_dir, house_file
        self._faults: list[Fault] = []
        self._warnings: list[str] = []

    def run(self, files: Sequence[Path]) -> Settings:
        """Go through all steps; see `load`."""
        there = os.path.lexists(self._house) and self._house not in files
        # A house.yaml with a key in it is closed to all but the service. Who may not know secrets does without it: the
        # daemon knows what stands there, and answers for it.
        hidden = there and not self._open and not os.access(self._house, os.R_OK)
        listed = [*files, *([self._house] if there and not hidden else [])]
        if not files:
            raise SettingsError([self._nothing()])
        trees = [(path, tree) for path in listed if (tree := read(path, self._faults)) is not None]
        whole = len(trees) == len(listed) and not hidden
        root = self._check(trees)
        if whole:  # with a file missing, half the ids would be missing too
            complete(root, schema.ROOT, self._faults)
            cross(root, self._faults, self._warnings)
            trust(root, self._faults, self._authority)
        socket = self._file(root, schema.SOCKET) or places.socket(self._env, self._state)
        if _too_long(socket):
            problem = f"the path of the socket is longer than {places.SOCKET_BYTES} bytes, which Linux refuses"
            self._faults.append(fault(root.at(schema.SOCKET), problem, "a shorter path", str(socket)))
        if self._faults:
            raise SettingsError(self._faults)
        return self._build(root, socket, tuple(listed))

    def paths(self, files: Sequence[Path]) -> tuple[Path, Path]:
        """Return the socket and the database; see `paths`."""
        trees = []
        for path in dict.fromkeys((*files, self._house)):
            tree = read(path, self._faults)
            if tree is None and (parts := _whole_parts(path)):
                tree = parse(parts, path, self._faults)
            if tree is not None:
                trees.append((path, tree))
        root = self._check(trees)
        socket = self._file(root, schema.SOCKET)
        if socket is None or _too_long(socket):
            socket = places.socket(self._env, self._state)
        return socket, self._store(root)

    def _store(self, root: Checked) -> Path:
        written = root.group(schema.STORE).maybe(schema.STORE_PATH)
        return self._resolve(written or places.STORE, self._state)

    def _build(self, root: Checked, socket: Path, files: tuple[Path, ...]) -> Settings:
        zone, warning = places.local_zone()
        if warning and schema.TIME_ZONE.name not in root.group(schema.SITE).found:
            self._warnings.append(warning)
        settings = Settings(
            house=build.house(root, zone),
            brokers=build.brokers(root, self._file),
            radios=build.radios(root),
            keys=build.keys(root),
            routes=build.routes(root, self._file),
            storing=build.storing(root, self._store(root)),
            socket=socket,
            pages=build.pages(root, self._file),
            sign_of_life=build.sign_of_life(root),
            tokens=build.tokens(root),
            files=files,
            house_file=self._house,
            warnings=tuple(self._warnings),
        )
        return replace(settings, house=replace(settings.house, version=version(settings)))

    def _nothing(self) -> Fault:
        looked = places.candidates(self._env)
        return fault(
            Spot(looked[0], 0),
            "there is no settings file; copy config/one-freezer.yaml to one of the usual places and adapt it",
            "--settings FILE, or " + ", ".join(str(path) for path in looked),
        )

    def _check(self, trees: list[tuple[Path, Branch]]) -> Checked:
        vault = Vault(self._env) if self._open else Unopened(self._env)
        for path, tree in trees if self._open else ():
            self._open_vault(path, tree, vault)
        checker = Checker(vault, self._faults, self._warnings)
        root: Checked | None = None
        for path, tree in trees:
            checked = checker.check(tree, path, others_read=_others_read(path))
            if root is None:
                root = checked
            else:
                merge(root, checked, schema.ROOT, self._faults)
        return root or Checked(Spot(Path(), 0))

    def _open_vault(self, path: Path, tree: Branch, vault: Vault) -> None:
        """Read the secrets file first: the other values need it. Its own setting is checked with the others."""
        for name, line, node in tree.entries:
            if name != schema.SECRETS.name or not isinstance(node, Text) or node.empty:
                continue
            try:
                check_characters(node.text)
            except ValueError:
                vault.partial = True  # the checker reports the path itself
                continue
            read_file(self._resolve(node.text, path.parent), Spot(path, line, name), vault, self._faults)

    def _file(self, entry: Checked, key: Key[str]) -> Path | None:
        written = entry.maybe(key)
        return None if written is None else self._resolve(written, entry.at(key).file.parent)

    def _authority(self, entry: Checked, key: Key[str]) -> str | None:
        """Say what is wrong with a file of certificate authorities, or None."""
        path = self._file(entry, key)
        if path is None:
            return None
        try:
            with path.open("rb") as file:
                good = _PEM in file.read(_LARGEST_CA)
        except OSError as error:
            return f"cannot be read ({error.strerror})"
        return None if good else "holds no certificate"

    def _resolve(self, written: str, folder: Path) -> Path:
        if written.startswith("~/"):
            return places.home(self._env) / written[2:]
        return folder / written


def _whole_parts(path: Path) -> bytes:
    """Return the sections `socket` and `store` of a file alone, empty if it cannot be read.

    A slip in another section makes the whole file unreadable as YAML, and these two are wanted all the same. Comments
    are left out: they go on into what belongs to the next section, and a letter that is not UTF-8 may stand there.
    """
    try:
        raw = path.read_bytes() if path.is_file() else b""
    except OSError:
        return b""
    parts = _SECTION.split(_COMMENT.sub(b"", raw.removeprefix(b"\xef\xbb\xbf")))
    wanted = (f"{schema.SOCKET.name}:".encode(), f"{schema.STORE.name}:".encode())
    return b"".join(part for part in parts if part.startswith(wanted))


def _too_long(socket: Path) -> bool:
    return len(os.fsencode(socket)) > places.SOCKET_BYTES


def _others_read(path: Path) -> bool:
    try:
        return bool(path.stat().st_mode & (stat.S_IRGRP | stat.S_IROTH))
    except FileNotFoundError:
        return False  # taken away since it was read: nobody reads it now
