"""Secrets: what `${NAME}` stands for, from the environment, a private file or the service manager."""

import difflib
import os
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from gatewayd.settings.faults import Fault, Spot, fault

NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,63}")
_PLACEHOLDER = re.compile(r"(?P<literal>\$\$\{)|\$\{(?P<name>[^}]*)\}?")
_LARGEST = 1 << 20  # bytes, of the secrets file or one credential; systemd itself allows 1 MiB per credential
_FORM = "lines like MAIL_PASSWORD=text, and lines that begin with #"


@dataclass
class Vault:
    """Know the secrets by name.

    They are looked up in this order: the environment, the secrets file, the systemd credentials directory.
    `partial` says that the file was refused: a name not known then is no second fault.
    """

    env: Mapping[str, str]
    lines: dict[str, str] = field(default_factory=dict)
    partial: bool = False

    def __repr__(self) -> str:
        """Show nothing of what is inside."""
        return "Vault(…)"

    def find(self, name: str) -> str:
        """Return the secret called `name`; raise ValueError, with what to do, if there is none."""
        found = self.env.get(name, self.lines.get(name))
        if found is None:
            found = self._credential(name)
        if found is None:
            raise ValueError(self._unknown(name))
        if not found:
            raise ValueError(f"${{{name}}} is known but empty")
        return found

    def fill(self, text: str, *, in_url: bool = False) -> str:
        """Replace each `${NAME}` in `text`; `$${` becomes `${`. Raise ValueError for an unknown name.

        With `in_url` a secret inside a longer text is percent-encoded (RFC 3986), since a `#` or `@` in a password
        would end the address; one that is the whole text is taken as it is.
        """

        def put(found: re.Match[str]) -> str:
            if found["literal"]:
                return "${"
            if not NAME.fullmatch(found["name"]) or not found[0].endswith("}"):
                raise ValueError("has ${ without a name; write it like ${MAIL_PASSWORD}, or $${ for a plain ${")
            secret = self.find(found["name"])
            return quote(secret, safe="") if in_url and found[0] != text else secret

        return _PLACEHOLDER.sub(put, text)

    def _credential(self, name: str) -> str | None:
        folder = self.env.get("CREDENTIALS_DIRECTORY")
        if not folder:
            return None
        try:
            with (Path(folder) / name).open("rb") as file:
                return file.read(_LARGEST).decode("utf-8").removesuffix("\n").removesuffix("\r")
        except FileNotFoundError:
            return None
        except OSError as error:
            raise ValueError(f"the credential {name} cannot be read ({error.strerror})") from None
        except UnicodeDecodeError:
            raise ValueError(f"the credential {name} is not UTF-8 text") from None

    def _unknown(self, name: str) -> str:
        near = difflib.get_close_matches(name, self.lines, n=1)
        hint = f" (did you mean ${{{near[0]}}}?)" if near else ""
        return (
            f"${{{name}}} is not known{hint}; set it in the environment, in the file that `secrets:` names, "
            "or as a systemd credential"
        )


NOWHERE = "json://unopened.invalid"  # RFC 2606, section 2: .invalid is nobody's


class Unopened(Vault):
    """Stand in where no secret is needed: a command that only asks or orders must not have to be trusted with them.

    Every name is taken as known. What is put in its place has the form a secret must have, and opens nothing.
    """

    def find(self, name: str) -> str:
        """Return 32 zeros: a password to the eye, and in form a key."""
        return "0" * 32 if name else ""

    def fill(self, text: str, *, in_url: bool = False) -> str:
        """Replace each `${NAME}`; a whole address becomes one that leads nowhere."""
        if in_url and (whole := _PLACEHOLDER.fullmatch(text)) and whole["name"]:
            return NOWHERE
        return super().fill(text, in_url=in_url)


def placeholders(text: str) -> bool:
    """Say whether `text` holds `${`, escaped or not."""
    return "${" in text


def unescape(text: str) -> str:
    """Turn each `$${` of a setting that takes no secret into `${`; raise ValueError for a bare `${`."""
    if re.search(r"(?<!\$)\$\{", text):
        raise ValueError("takes no secret; ${NAME} may stand in user, password and url, and $${ is a plain ${")
    return text.replace("$${", "${")


def read_file(path: Path, named: Spot, vault: Vault, faults: list[Fault]) -> None:
    """Read `NAME=value` lines into the vault, or add faults.

    The file must be ours or root's and closed to everybody else (mode 0600 or stricter), checked on the open file
    so that it cannot be changed in between. `named` is where the settings name it.
    """
    try:
        # O_NONBLOCK: a named pipe put there by mistake must not hang the start
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK), "rb") as file:
            status = os.fstat(file.fileno())
            raw = file.read(_LARGEST) if stat.S_ISREG(status.st_mode) else b""
    except OSError as error:
        problem = f"cannot be read ({error.strerror})"
        faults.append(fault(named, problem, "a file that exists and that gatewayd may read", str(path)))
        vault.partial = True
        return
    problem = ""
    if not stat.S_ISREG(status.st_mode):
        problem = "is not a file"
    elif status.st_mode & 0o077:
        problem = f"may be read by others (mode {stat.S_IMODE(status.st_mode):04o}); run chmod 600 on it"
    elif os.geteuid() and status.st_uid not in (os.geteuid(), 0):  # root reads everybody's
        problem = "belongs to somebody else; run chown on it"
    if problem:
        faults.append(fault(named, problem, "a file of mode 0600 that belongs to gatewayd's user or root", str(path)))
        vault.partial = True
        return
    _take_lines(raw, path, vault, faults)


def _take_lines(raw: bytes, path: Path, vault: Vault, faults: list[Fault]) -> None:
    for number, line in enumerate(raw.splitlines(), start=1):
        spot = Spot(path, number)
        try:
            text = line.decode("utf-8-sig" if number == 1 else "utf-8").strip()
        except UnicodeDecodeError:
            faults.append(fault(spot, "the line is not UTF-8 text; save the file as UTF-8"))
            vault.partial = True
            continue
        if not text or text.startswith("#"):
            continue
        name, equals, value = (part.strip() for part in text.partition("="))
        problem = ""
        if not equals or not NAME.fullmatch(name):
            problem, name = "the line is not NAME=value", ""
        elif name in vault.lines:
            problem = f"{name} stands here twice"
        elif len(value) > 1 and value[0] == value[-1] and value[0] in "\"'":
            problem = f"{name} has quotes round it, which would be part of the secret; leave them off"
        if problem:
            faults.append(fault(spot, problem, _FORM))
            vault.partial = True
            continue
        vault.lines[name] = value
