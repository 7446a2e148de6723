"""house.yaml as plain data: what is written reads back, and nothing is changed that was not meant."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.settings.document import (
    Document,
    holds_secret,
    plain,
    read_document,
    with_radio,
    with_sensor,
    written,
)
from gatewayd.settings.faults import Fault
from gatewayd.settings.secrets import unescape

PLUMS: Document = {"radio": "hall", "address": "00:11:22:33:44:55", "format": "bthome", "freezer": "porch-chest"}

# what a setting may hold: no control characters, no halves of surrogate pairs
texts = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=40)
contents = st.recursive(
    texts, lambda inner: st.lists(texts, max_size=3) | st.dictionaries(texts, inner, max_size=3), max_leaves=8
)


def read_back(document: Document) -> Document:
    """Write a document and read it again, without a fault."""
    faults: list[Fault] = []
    again = read_document(written(document).encode(), Path("house.yaml"), faults)
    assert faults == []
    return again


@given(st.dictionaries(texts, contents, max_size=4))
def test_what_is_written_reads_back(document: Document) -> None:
    """Any document of texts, lists and groups reads back as it was: no text turns into a number, none is cut."""
    assert read_back(document) == document


@pytest.mark.parametrize(
    "text",
    ["00:11:22:33:44:55", "12" * 16, "no", "~", "", " x ", "22:30", "°C", "*x", "a: b #c", "x" * 3000, "'\"", "🧊"],
)
def test_awkward_text_reads_back(text: str) -> None:
    """What YAML would take for something else stays the text that it is."""
    assert read_back({"sensors": {"a": {"name": text}}}) == {"sensors": {"a": {"name": text}}}


def test_same_part_twice_is_written_twice() -> None:
    """A part that stands twice is written out twice: the reader of the settings knows no references."""
    part = {"maker": "1", "unknown": ["1"]}

    assert "&" not in written({"sensors": {"a": {"bytes": part}, "b": {"bytes": part}}})


def test_sensor_is_added_last() -> None:
    """A sensor comes after what stands there, in a new document; the old one stays as it was."""
    old: Document = {"site": {"units": "°F"}, "sensors": {"a": {"broker": "house"}}}
    new = with_sensor(old, "porch-plums", PLUMS)

    assert new == {"site": {"units": "°F"}, "sensors": {"a": {"broker": "house"}, "porch-plums": PLUMS}}
    assert old == {"site": {"units": "°F"}, "sensors": {"a": {"broker": "house"}}}


def test_first_entries() -> None:
    """In an empty document the section is made, for sensors and for radios."""
    new = with_radio(with_sensor({}, "porch-plums", PLUMS), "hall", {"adapter": "first"})

    assert new == {"sensors": {"porch-plums": PLUMS}, "radios": {"hall": {"adapter": "first"}}}


def test_id_is_taken_once() -> None:
    """An id that is there already is refused; nothing is overwritten."""
    with pytest.raises(ValueError, match="there is already a sensor 'porch-plums'; choose another id"):
        with_sensor({"sensors": {"porch-plums": {}}}, "porch-plums", PLUMS)


def test_broken_section_is_refused() -> None:
    """Where a text stands in place of the sensors, nothing is added to it."""
    with pytest.raises(ValueError, match="is not a group of entries"):
        with_sensor({"sensors": "none"}, "porch-plums", PLUMS)


@pytest.mark.parametrize(
    ("document", "held"),
    [
        ({}, False),
        ({"sensors": {"a": {"name": "x"}}}, False),
        ({"sensors": {"a": {"key": "12" * 16}}}, True),
        ({"sensors": {"a": {"key": "${PLUMS}"}}}, False),
        ({"brokers": {"b": {"password": "trout"}}}, True),
        ({"routes": {"r": {"mail": {"password": "trout"}}}}, True),
        ({"routes": {"r": {"url": "json://u:p@host"}}}, True),
        ({"sensors": "12" * 16, "routes": {"r": "x"}}, False),
    ],
)
def test_written_secret_is_known(document: Document, held: bool) -> None:
    """A secret that is written out is found wherever the schema has one; ${NAME} is none."""
    assert holds_secret(document) is held


@given(st.text("${A}", max_size=12))
def test_plain_text_means_itself(text: str) -> None:
    """A name from the air that looks like a secret's is written so that it means itself."""
    assert unescape(plain(text)) == text


def test_duplicate_is_a_fault() -> None:
    """A key that stands twice is a fault, since one of the two would be lost in writing."""
    faults: list[Fault] = []
    read_document(b"sensors:\n  a: {name: x}\n  a: {name: y}\n", Path("house.yaml"), faults)

    assert [(fault.line, fault.key) for fault in faults] == [(3, "sensors.a")]


def test_empty_heading_is_nothing() -> None:
    """A heading with nothing under it is left out."""
    assert read_document(b"sensors:\nsite: {units: C}\n", Path("house.yaml"), []) == {"site": {"units": "C"}}
