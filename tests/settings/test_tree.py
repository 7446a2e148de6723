"""Reading YAML: what stands where, and what is refused with a sentence and a line."""

import os
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.settings.faults import Fault
from gatewayd.settings.tree import Branch, Items, Text, parse, read
from tests.settings.conftest import SMALL, Faults, Load

HERE = Path("gatewayd.yaml")

BROKEN = [
    ("tab", b"site:\n\tid: x\n", 2, "a tab stands where spaces belong"),
    ("no colon", b"site:\n  id: x\n  name\nfreezers:\n", 3, "a key has no colon"),
    ("no colon above", b"site:\n  id heron\n  name: x\n", 3, "a colon missing above"),
    ("two colons", b"site: id: x\n", 1, "a colon stands where none fits"),
    ("open quote", b"site:\n  id: 'heron\n  name: x\n", 2, "never closed"),
    ("open bracket", b"a: [b, c\nd: e\n", 1, "a bracket is opened here"),
    ("indentation", b"site:\n    id: x\n  name: y\n", 3, "the indentation does not fit"),
    ("at sign", b"a: @b\n", 1, "put it in quotes"),
    ("backslash", b'a: "\\d"\n', 1, "use single quotes"),
    ("list", b"- site\n- freezers\n", 1, "not a list or a bare text"),
    ("bare text", b"hello\n", 1, "not a list or a bare text"),
    ("empty", b"", 0, "the file is empty"),
    ("only comments", b"# site:\n\n", 0, "the file is empty"),
    ("only a document mark", b"---\n", 0, "the file is empty"),
    ("two documents", b"a: b\n---\nc: d\n", 2, "a second document begins"),
    ("latin-1", b"a: b\nname: K\xfche\n", 2, "not UTF-8"),
    ("utf-16", "a: b\n".encode("utf-16"), 1, "not UTF-8"),
    ("control character", b"a: b\nc: \x07\n", 2, "a control character"),
    ("alias", b"a: &x b\nc: *x\n", 1, "anchors and aliases"),
    ("undefined alias", b"a: b\nc: *x\n", 2, "anchors and aliases"),
    ("merge key", b"a: b\nc:\n  <<: *x\n", 3, "anchors and aliases"),
    ("tag", b"a: b\nc: !!python/object:os.system x\n", 2, "a YAML tag"),
    ("list as key", b"a: b\n? [c]\n: d\n", 2, "where a key belongs"),
    ("deep nesting", b"a: " + b"[" * 10_000, 1, "nested more than"),
    ("escape beyond Unicode", b'a: "\\UFFFFFFFF"\n', 0, "escape or number"),
    ("version of 5 000 digits", b"%YAML 1." + b"1" * 5000 + b"\n---\na: b\n", 0, "escape or number"),
    ("large", b"# " + b"x" * (1 << 20), 0, "larger than 1 MiB"),
]


@pytest.mark.parametrize(("raw", "line", "said"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_broken_file_is_one_fault(raw: bytes, line: int, said: str) -> None:
    """A file that is no settings tree gives one fault with its line, in a sentence."""
    faults: list[Fault] = []

    assert parse(raw, HERE, faults) is None
    assert len(faults) == 1
    assert said in faults[0].problem
    assert faults[0].line == line


def test_scalars_stay_text() -> None:
    """A time, a number, a yes and a null stay the text that was written."""
    tree = parse(b"a: 22:30\nb: 0012\nc: no\nd: null\ne: 1e3\nf: 2024-01-01\n", HERE, [])

    assert tree is not None
    assert [node.text for _, _, node in tree.entries if isinstance(node, Text)] == [
        "22:30", "0012", "no", "null", "1e3", "2024-01-01",
    ]  # fmt: skip


def test_lines_are_kept() -> None:
    """Keys, values and list items know their lines, duplicates included."""
    tree = parse(b"a:\n  - b\n  - c\na: d\n", HERE, [])

    assert tree == Branch([("a", 1, Items([Text("b", 2), Text("c", 3)], 2)), ("a", 4, Text("d", 4))], 1)


def test_byte_order_mark_is_no_fault() -> None:
    """A file saved with a byte order mark is read like any other."""
    assert parse(b"\xef\xbb\xbfa: b\n", HERE, []) == Branch([("a", 1, Text("b", 1))], 1)


def test_laughs_cost_nothing(faults_of: Faults) -> None:
    """A file of nested aliases, gigabytes if expanded, is refused at its first anchor."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 12)]

    found = faults_of("\n".join(lines))

    assert [(fault.line, "anchors" in fault.problem) for fault in found] == [(1, True)]


@given(st.binary(max_size=200) | st.text(alphabet="ab:-[]{}&*!|>'\"%@`#,? \n\t\\0U", max_size=60).map(str.encode))
def test_any_bytes_give_tree_or_fault(raw: bytes) -> None:
    """Any bytes at all give either a tree or exactly one fault, never an exception."""
    faults: list[Fault] = []

    assert (parse(raw, HERE, faults) is None) == (len(faults) == 1)


@given(st.dictionaries(st.from_regex(r"[a-z][a-z0-9]{0,8}", fullmatch=True), st.text(min_size=1), min_size=1))
def test_written_texts_come_back(entries: dict[str, str]) -> None:
    """Whatever texts a YAML writer puts in quotes come back unchanged."""
    raw = yaml.safe_dump(entries, allow_unicode=True, default_style='"', sort_keys=False).encode("utf-8", "replace")
    tree = parse(raw, HERE, [])

    assert tree is not None
    assert {key: node.text for key, _, node in tree.entries if isinstance(node, Text)} == entries


@pytest.mark.parametrize("what", ["missing", "folder", "fifo"])
def test_no_file_is_a_fault(what: str, tmp_path: Path) -> None:
    """A missing file, a folder or a pipe in the place of a file is a fault, and never hangs."""
    path = tmp_path / "settings"
    if what == "folder":
        path.mkdir()
    elif what == "fifo":
        os.mkfifo(path)
    faults: list[Fault] = []

    assert read(path, faults) is None
    assert [fault.line for fault in faults] == [0]


def test_small_house_is_right(load_text: Load) -> None:
    """The house that the other tests break is right before they do."""
    assert load_text(SMALL).warnings == ()
