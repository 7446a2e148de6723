"""Faults: what is wrong in a settings file, and where. All of them are reported at once.

SettingsError        the settings cannot be used; it carries every Fault found
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

HIDDEN = "…"  # stands wherever a secret, or what might be one, would stand
_SHOWN = 60  # characters of a value that are shown: enough to find it by, short enough for one line


@dataclass(frozen=True, slots=True)
class Spot:
    """Name a place in a settings file: `line` counts from 1 (0 = the whole file), `key` is the path of keys."""

    file: Path
    line: int
    key: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """Hold one mistake. `value` is as written in the file and never a secret; `allowed` may be empty.

    `words` say all of it without keys of the file, for the pages; empty where `problem` has none.
    """

    file: Path
    line: int
    key: str
    value: str
    problem: str
    allowed: str = ""
    words: str = ""

    def __str__(self) -> str:
        """Write the fault as one line for the keeper: where, what, what is allowed."""
        where = str(self.file) + (f", line {self.line}" if self.line else "")
        value = f"{self.value!r} " if self.value and repr(self.value) not in self.problem else ""
        said = f"{where}: " + (f"{self.key}: " if self.key else "") + value + self.problem
        return f"{said}. Allowed: {self.allowed}." if self.allowed else f"{said}."


class Said(str):
    """Say a fault in words, and know of which setting it is: `key` is its path, empty where it is of none.

    `short` are the words beside its field on a page: without the file and the line of what was only tried.
    """

    __slots__ = ("key", "short")
    key: str
    short: str

    @classmethod
    def of(cls, found: Fault, called: str = "") -> "Said":
        """Make one of a fault; what is `called` so by people is not named by file and line."""
        value = f"{found.value!r} " if found.value and repr(found.value) not in found.problem else ""
        short = found.words or f"{value}{found.problem}." + (
            f" Allowed: {found.allowed}{'' if found.allowed.endswith('?') else '.'}" if found.allowed else ""
        )
        said = cls(f"{called}: {short}" if called else found)
        said.key, said.short = found.key, short
        return said


class Warned(str):
    """Say what is allowed and hardly meant. `words` say it for the pages: with names instead of ids and keys."""

    __slots__ = ("words",)
    words: str

    @classmethod
    def of(cls, text: str, words: str) -> "Warned":
        """Make one."""
        said = cls(text)
        said.words = words
        return said


def words_of(warning: str) -> str:
    """Return a warning in the words of the pages."""
    return warning.words if isinstance(warning, Warned) else warning


class SettingsError(Exception):
    """Say that the settings cannot be used. `faults` holds all of them, sorted by file and line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        """Sort the faults by file and line."""
        self.faults = tuple(sorted(faults, key=lambda fault: (str(fault.file), fault.line)))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def shorten(text: str) -> str:
    """Return a value as a fault shows it: one line of printable characters, 60 at most."""
    line = "".join(letter if letter.isprintable() else "\ufffd" for letter in " ".join(text.split()))
    return line if len(line) <= _SHOWN else line[: _SHOWN - 1] + HIDDEN


def fault(spot: Spot, problem: str, allowed: str = "", value: str = "") -> Fault:
    """Make a fault at a spot."""
    return Fault(spot.file, spot.line, spot.key, shorten(value), problem, allowed)
