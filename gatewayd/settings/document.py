"""A settings file as plain data that can be changed and written anew: the pure part of editing house.yaml.

Texts stand in it as they stand in the file, so `${NAME}` is a secret; `plain` makes a text that only looks like one
mean itself. Comments and quotes are not kept: what is written so was written by gatewayd.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TypeAlias

import yaml

from gatewayd.settings import schema
from gatewayd.settings.faults import Fault, Spot, fault
from gatewayd.settings.keys import Group, Key
from gatewayd.settings.secrets import placeholders
from gatewayd.settings.tree import Branch, Items, Text, parse

Content: TypeAlias = "str | Sequence[Content] | Mapping[str, Content]"
Document: TypeAlias = Mapping[str, Content]

HEADING = """\
# Written by gatewayd, which writes it anew with every change: comments of yours would be lost.
# Your own settings file stays as it is; both count together. The version before this one is house.yaml.before.
"""


_ONE = {schema.PEOPLE.name: "person"}  # where it is not the plural without its s


class _Dumper(yaml.SafeDumper):
    """Write no anchors, which the reader of the settings refuses."""

    def ignore_aliases(self, data: object) -> bool:  # noqa: ARG002 - the signature of the base class
        """Say that nothing is ever written as a reference to what was written before."""
        return True


def written(document: Document) -> str:
    """Write a document as the text of a settings file."""
    lines = yaml.dump(_copy(document), Dumper=_Dumper, allow_unicode=True, sort_keys=False, width=2**20)
    return HEADING + lines


def read_document(raw: bytes, path: Path, faults: list[Fault]) -> Document:
    """Return the document in the bytes of the file `path`; on trouble add the faults and return what there is."""
    tree = parse(raw, path, faults)
    return {} if tree is None else _branch(tree, Spot(path, 0), faults)


def with_sensor(document: Document, id_: str, entry: Document) -> Document:
    """Return a document that has the sensor `id_` too; raise ValueError if it has one of that id already.

    `entry` holds its settings by name. `freezer` among them puts it into a freezer, in whichever file that stands.
    """
    return _with_entry(document, schema.SENSORS, id_, entry)


def with_radio(document: Document, id_: str, entry: Document) -> Document:
    """Return a document that has the radio `id_` too; raise ValueError if it has one of that id already."""
    return _with_entry(document, schema.RADIOS, id_, entry)


def with_freezer(document: Document, id_: str, entry: Document) -> Document:
    """Return a document that has the freezer `id_` too; raise ValueError if it has one of that id already."""
    return _with_entry(document, schema.FREEZERS, id_, entry)


def with_person(document: Document, id_: str, entry: Document) -> Document:
    """Return a document that has the person `id_` too, told last; raise ValueError if that id is taken."""
    return _with_entry(document, schema.PEOPLE, id_, entry)


def with_route(document: Document, id_: str, entry: Document) -> Document:
    """Return a document that has the route `id_` too; raise ValueError if it has one of that id already."""
    return _with_entry(document, schema.ROUTES, id_, entry)


def at(document: Document, *path: str) -> "Content | None":
    """Return what stands at a path of keys, None where nothing does."""
    here: Content | None = document
    for name in path:
        here = here.get(name) if isinstance(here, Mapping) else None
    return here


def with_setting(document: Document, path: Sequence[str], content: "Content | None") -> Document:
    """Return a document that says `content` at a path of keys, nothing there for None; groups left empty go away.

    An entry under an id stays even when it is empty: with it the freezer or person would go.
    """
    return _with_setting(document, schema.ROOT, path, content)


def with_order(document: Document, section: str, ids: Sequence[str]) -> Document:
    """Return a document with the entries of a section in another order. Raise ValueError if they are others."""
    there = document.get(section, {})
    if not isinstance(there, Mapping) or sorted(there) != sorted(ids):
        raise ValueError(f"the entries under {section} have changed meanwhile; load the page anew")
    return {**document, section: {id_: there[id_] for id_ in ids}}


def plain(text: str) -> str:
    """Return a text, such as a name that came by radio, so that it stands for itself and for no secret."""
    return text.replace("${", "$${")


def holds_secret(document: Document) -> bool:
    """Say whether a secret is written out in a document, so that only its owner may read the file."""
    return _secret(document, schema.ROOT)


def _with_setting(document: Document, group: Group, path: Sequence[str], content: "Content | None") -> Document:
    name, rest = path[0], path[1:]
    if not rest:
        kept = {**document, name: content or ""} if content is not None else dict(document)
        if content is None:
            kept.pop(name, None)
        return kept
    below = next((inner for inner in group.groups if inner.name == name), Group(name, ""))
    if group.by_id:
        below = Group("", "", group.keys, group.groups)
    there = document.get(name, {})
    if not isinstance(there, Mapping):
        problem = f"{name} in house.yaml is not a group of settings; correct it there"
        raise ValueError(problem)  # noqa: TRY004 - what stands in a file is at fault, not the caller
    inner = _with_setting(there, below, rest, content)
    if inner or group.by_id:
        return {**document, name: inner}
    return {key: value for key, value in document.items() if key != name}


def _with_entry(document: Document, section: Group, id_: str, entry: Document) -> Document:
    there = document.get(section.name, {})
    if not isinstance(there, Mapping):
        problem = f"{section.name} in house.yaml is not a group of entries; correct it there"
        raise ValueError(problem)  # noqa: TRY004 - what stands in a file is at fault, not the caller
    if id_ in there:
        raise ValueError(
            f"there is already a {_ONE.get(section.name, section.name.removesuffix('s'))} {id_!r}; choose another id"
        )
    return {**document, section.name: {**there, id_: entry}}


def _secret(document: Document, group: Group) -> bool:
    names = {inner.name: inner for inner in group.groups}
    secret = {key.name for key in group.keys if isinstance(key, Key) and key.secret}
    for name, content in document.items():
        if name in secret and isinstance(content, str) and content and _written_out(content):
            return True
        below = names.get(name)
        if below is None or not isinstance(content, Mapping):
            continue
        entry = Group(below.name, "", below.keys, below.groups)
        parts = content.values() if below.by_id else (content,)
        if any(isinstance(part, Mapping) and _secret(part, entry) for part in parts):
            return True
    return False


def _written_out(text: str) -> bool:
    """Say whether a secret stands in a text itself; one with an escaped `$${` does not come from elsewhere."""
    return not placeholders(text) or "$${" in text


def _copy(content: Content) -> object:
    """Return the content in the types that YAML writes without a tag."""
    if isinstance(content, str):
        return content
    if isinstance(content, Mapping):
        return {name: _copy(inner) for name, inner in content.items()}
    return [_copy(inner) for inner in content]


def _branch(branch: Branch, spot: Spot, faults: list[Fault]) -> dict[str, Content]:
    found: dict[str, Content] = {}
    for name, line, node in branch.entries:
        here = Spot(spot.file, line, f"{spot.key}.{name}" if spot.key else name)
        if name in found:
            faults.append(fault(here, "stands here twice"))
        if not (isinstance(node, Text) and node.empty):  # a heading with nothing under it says nothing
            found[name] = _content(node, here, faults)
    return found


def _content(node: Text | Items | Branch, spot: Spot, faults: list[Fault]) -> Content:
    match node:
        case Text():
            return node.text
        case Items():
            return [_content(item, spot, faults) for item in node.items]
        case Branch():
            return _branch(node, spot, faults)
