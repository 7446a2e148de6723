"""The tree of a settings file: groups, lists and texts with their lines, before anybody gives them a type.

Scalars stay text: YAML itself would read 22:30 as 1350, an all-digit address as a number and `no` as false.
Aliases, anchors and tags are refused: nobody needs them here, and a few lines of aliases can stand for gigabytes.
"""

import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import yaml

from gatewayd.settings.faults import Fault, Spot, fault

LARGEST = 1 << 20  # bytes; a large house has some kB, so more is the wrong file
DEEPEST = 10  # levels; the schema has four (freezers, an id, limits, high)


@dataclass(frozen=True, slots=True)
class Text:
    """Hold a scalar as written. `plain` says that it stood without quotes."""

    text: str
    line: int
    plain: bool = True

    @property
    def empty(self) -> bool:
        """Say whether nothing at all was written."""
        return self.plain and self.text == ""


@dataclass(frozen=True, slots=True)
class Items:
    """Hold a list."""

    items: list["Node"]
    line: int


@dataclass(frozen=True, slots=True)
class Branch:
    """Hold a group: (key, line of the key, node) in the order written, duplicates included."""

    entries: list[tuple[str, int, "Node"]]
    line: int


Node: TypeAlias = Text | Items | Branch


class _Refused(Exception):
    """Carry a sentence and a line out of the builder; never leaves this module."""

    def __init__(self, line: int, problem: str) -> None:
        super().__init__(problem)
        self.line = line


# What PyYAML says, in the keeper's words. Its own text is never passed on: it may quote a piece of a password.
# The last column: take the line where the thing began (its "context"), not where the reader gave up.
_SENTENCES = (
    (r"found character '\t'", "a tab stands where spaces belong; indent with spaces", False),
    ("that cannot start any token", "a text begins with a sign that YAML keeps for itself; put it in quotes", False),
    (
        "mapping values are not allowed",
        "a colon stands where none fits: the indentation, a colon missing above, or ': ' in a text without quotes",
        False,
    ),
    ("could not find expected ':'", "a key has no colon; write it like key: value, with a space after it", True),
    ("expected <block end>", "the indentation does not fit the lines above it", False),
    ("unexpected end of stream", "a quote or bracket is opened here and never closed", True),
    ("expected ',' or", "a bracket is opened here and not closed, or a comma is missing", True),
    ("unknown escape character", "a backslash in double quotes has a meaning of its own; use single quotes", False),
)


def read(path: Path, faults: list[Fault]) -> Branch | None:
    """Read a file as a tree; on trouble add the fault and return None."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            faults.append(fault(Spot(path, 0), "this is not a file", "a text file in YAML"))
            return None
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except OSError as error:
        problem = f"the file cannot be read ({error.strerror})"
        faults.append(fault(Spot(path, 0), problem, "a file that exists and that gatewayd may read"))
        return None
    return parse(raw, path, faults)


def parse(raw: bytes, path: Path, faults: list[Fault]) -> Branch | None:
    """Turn the bytes of the file `path` into a tree; on trouble add the fault and return None."""
    if len(raw) > LARGEST:
        faults.append(fault(Spot(path, 0), "the file is larger than 1 MiB; this is no settings file"))
        return None
    try:
        text = raw.decode("utf-8-sig")
        return _Builder().build(text)
    except UnicodeDecodeError as error:
        line, problem = raw.count(b"\n", 0, error.start) + 1, "the file is not UTF-8 text; save it as UTF-8"
    except yaml.reader.ReaderError as error:
        line, problem = text.count("\n", 0, int(error.position)) + 1, "a control character stands in the file"
    except yaml.MarkedYAMLError as error:
        line, problem = _translate(error)
    except _Refused as refused:
        line, problem = refused.line, str(refused)
    except (ValueError, OverflowError):  # PyYAML on "\UFFFFFFFF" and on a version number of 5 000 digits
        line, problem = 0, "the file holds an escape or number that YAML does not know"
    faults.append(fault(Spot(path, line), problem))
    return None


def _translate(error: yaml.MarkedYAMLError) -> tuple[int, str]:
    said = error.problem or ""
    mark, problem = error.problem_mark, "this is not YAML; compare it with config/example.yaml"
    for key, sentence, at_start in _SENTENCES:
        if key in said:
            mark, problem = (error.context_mark if at_start else None) or mark, sentence
            break
    return (mark.line + 1 if mark else 0), problem


@dataclass(slots=True)
class _Open:
    """A list or group that is being filled; `key` waits for its value."""

    node: Items | Branch
    key: tuple[str, int] | None = None


@dataclass(slots=True)
class _Builder:
    """Build the tree from PyYAML's events, without recursion, so that no nesting can exhaust the stack."""

    stack: list[_Open] = field(default_factory=list)
    root: Node | None = None
    documents: int = 0

    def build(self, text: str) -> Branch:
        """Return the tree of a whole file."""
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            self._take(event, event.start_mark.line + 1 if event.start_mark else 0)
        if self.root is None or (isinstance(self.root, Text) and self.root.empty):
            raise _Refused(0, "the file is empty; config/one-freezer.yaml is a small one to start from")
        if not isinstance(self.root, Branch):
            raise _Refused(self.root.line, "the file must be a group of keys like `site:`, not a list or a bare text")
        return self.root

    def _take(self, event: yaml.Event, line: int) -> None:
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None) is not None:
            raise _Refused(line, "& and * (anchors and aliases) are not used in these settings; put the text in quotes")
        if getattr(event, "tag", None) is not None:
            raise _Refused(line, "! (a YAML tag) is not used in these settings; put the text in quotes")
        match event:
            case yaml.DocumentStartEvent():
                self.documents += 1
                if self.documents > 1:
                    raise _Refused(line, "a second document begins here (---); settings are one document per file")
            case yaml.ScalarEvent():
                self._add(Text(event.value, line, event.style is None), line)
            case yaml.SequenceStartEvent():
                self._open(Items([], line), line)
            case yaml.MappingStartEvent():
                self._open(Branch([], line), line)
            case yaml.SequenceEndEvent() | yaml.MappingEndEvent():
                self.stack.pop()

    def _open(self, node: Items | Branch, line: int) -> None:
        if len(self.stack) >= DEEPEST:
            raise _Refused(line, f"groups and lists are nested more than {DEEPEST} deep; settings need four levels")
        self._add(node, line)
        self.stack.append(_Open(node))

    def _add(self, node: Node, line: int) -> None:
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        match top.node:
            case Items():
                top.node.items.append(node)
            case Branch() if top.key is None:
                if not isinstance(node, Text):
                    raise _Refused(line, "a list or group stands where a key belongs")
                top.key = (node.text, line)
            case Branch():
                top.node.entries.append((*top.key, node))
                top.key = None
