"""Check a tree against the schema: types, unknown, duplicate and missing keys. Nothing stops at the first fault."""

import difflib
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar, cast

from gatewayd.model.house import SLUG
from gatewayd.settings import readers, schema
from gatewayd.settings.faults import HIDDEN, Fault, Spot, fault
from gatewayd.settings.keys import Group, Hold, Key, ListKey, walk
from gatewayd.settings.secrets import Vault, placeholders, unescape
from gatewayd.settings.tree import Branch, Items, Node, Text

T = TypeVar("T")

_KEY_LIKE = re.compile(r"[\w .-]{1,40}")  # what else stands where a key belongs may be a slipped secret: not shown


@dataclass(frozen=True, slots=True)
class Found:
    """Hold the value of one setting (left out of the repr: it may be secret), its place and that of a list's items."""

    value: object = field(repr=False)
    spot: Spot
    written: str = ""
    lines: tuple[int, ...] = ()


@dataclass(slots=True)
class Checked:
    """Hold what was found in one group.

    `groups` are the groups inside, or the entries by id. `broken` are keys that were written and are at fault.
    """

    spot: Spot
    found: dict[str, Found] = field(default_factory=dict)
    groups: dict[str, "Checked"] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)

    def take(self, key: Key[T]) -> T:
        """Return the value of a required key, or of one with a default."""
        if key.name in self.found:
            return cast("T", self.found[key.name].value)
        if key.default is None:
            raise LookupError(f"{self.spot.key}.{key.name} was neither written nor has it a default")
        return key.reader.parse(key.default)

    def maybe(self, key: Key[T]) -> T | None:
        """Return the value of a key if it was written and is right, else None."""
        return cast("T", self.found[key.name].value) if key.name in self.found else None

    def ids(self, key: ListKey) -> tuple[str, ...]:
        """Return the ids or other texts of a list, empty if it was left out or is at fault."""
        return cast("tuple[str, ...]", self.found[key.name].value) if key.name in self.found else ()

    def group(self, group: Group) -> "Checked":
        """Return what was found in a group, or an empty one."""
        return self.groups.get(group.name) or Checked(Spot(self.spot.file, self.spot.line, _join(self, group.name)))

    def at(self, key: Key[Any] | ListKey) -> Spot:
        """Return where a key stands, or the group's place if it was left out."""
        found = self.found.get(key.name)
        return found.spot if found else Spot(self.spot.file, self.spot.line, _join(self, key.name))

    def written(self, key: Key[Any]) -> str:
        """Return a value as it was written, for a fault; never a secret."""
        return self.found[key.name].written if key.name in self.found else ""


def _join(checked: Checked, name: str) -> str:
    return f"{checked.spot.key}.{name}" if checked.spot.key else name


@dataclass(slots=True)
class Checker:
    """Check the trees of one load. Faults and warnings gather here."""

    vault: Vault
    faults: list[Fault]
    warnings: list[str]

    def check(self, tree: Branch, file: Path, *, others_read: bool) -> Checked:
        """Return what stands in one file's tree; `others_read` says that its mode lets others read it."""
        before = len(self.warnings)
        checked = self._group(tree, schema.ROOT, Spot(file, 0))
        if not others_read:
            del self.warnings[before:]
        return checked

    def _group(self, branch: Branch, group: Group, spot: Spot) -> Checked:
        checked = Checked(spot)
        lines: dict[str, int] = {}
        for name, line, node in branch.entries:
            here = Spot(spot.file, line, _join(checked, name if _KEY_LIKE.fullmatch(name) else HIDDEN))
            if name in lines:
                self.faults.append(fault(here, f"stands here twice; it already stands in line {lines[name]}"))
                continue
            lines[name] = line
            if group.by_id:
                self._entry(node, group, name, here, checked)
            else:
                self._member(node, group, name, here, checked)
        return checked

    def _entry(self, node: Node, group: Group, name: str, here: Spot, checked: Checked) -> None:
        if not SLUG.fullmatch(name):
            self.faults.append(fault(here, "is not an id", readers.identity.allowed))
        inner = Group(name, group.about, group.keys, group.groups)
        if isinstance(node, Branch):
            checked.groups[name] = self._group(node, inner, here)
            return
        checked.groups[name] = Checked(here, broken=set(inner.names))
        self._misplaced(node, inner, here)

    def _member(self, node: Node, group: Group, name: str, here: Spot, checked: Checked) -> None:
        inner = next((inner for inner in group.groups if inner.name == name), None)
        key = next((key for key in group.keys if key.name == name), None)
        if inner is not None:
            self._inner(node, inner, here, checked)
        elif key is None:
            self.faults.append(_unknown(name, here, group))
        else:
            found = self._list(node, key, here) if isinstance(key, ListKey) else self._value(node, key, here)
            if found is None:
                checked.broken.add(name)
            else:
                checked.found[name] = found

    def _inner(self, node: Node, inner: Group, here: Spot, checked: Checked) -> None:
        if isinstance(node, Branch):
            checked.groups[inner.name] = self._group(node, inner, here)
        elif not (isinstance(node, Text) and node.empty):  # a heading with all its lines commented out is no fault
            checked.broken.add(inner.name)
            self._misplaced(node, inner, here)

    def _misplaced(self, node: Node, group: Group, here: Spot) -> None:
        kinds = {Items: "a list stands", Text: "a bare text stands"}
        what = "nothing stands" if isinstance(node, Text) and node.empty else kinds[type(node)]
        allowed = "ids of your choice" if group.by_id else ", ".join(group.names)
        value = HIDDEN if isinstance(node, Text) and not node.empty else ""
        self.faults.append(fault(here, f"{what} where a group of keys belongs", allowed, value))

    def _list(self, node: Node, key: ListKey, here: Spot) -> Found | None:
        if not isinstance(node, Items):
            what = "a group stands" if isinstance(node, Branch) else "is no list"
            self.faults.append(fault(here, what, key.allowed))
            return None
        before = len(self.faults)
        values = []
        for item in node.items:
            spot = Spot(here.file, item.line, here.key)
            found = self._value(item, Key(key.name, key.reader, key.about), spot)
            if found is not None:
                values.append((str(found.value), item.line))
        if len(self.faults) > before:
            return None
        return Found(tuple(value for value, _ in values), here, lines=tuple(line for _, line in values))

    def _value(self, node: Node, key: Key[Any], here: Spot) -> Found | None:
        allowed = key.reader.allowed
        if not isinstance(node, Text):
            what = "a list" if isinstance(node, Items) else "a group"
            self.faults.append(fault(here, f"{what} stands where one value belongs", allowed))
            return None
        shown = HIDDEN if key.secret else node.text
        if node.empty:
            self.faults.append(fault(here, "has no value; write one, or take the line away", allowed))
            return None
        if len(node.text) > key.reader.longest:
            self.faults.append(fault(here, f"is longer than {key.reader.longest} characters", allowed, shown))
            return None
        try:
            text = self._fill(node.text, key)
        except ValueError as error:
            if str(error):
                self.faults.append(fault(here, str(error), value=shown))
            return None
        hidden = key.secret or text != node.text
        try:
            readers.check_characters(text)
            value = key.reader.parse(text)
        except ValueError as error:
            # a reader's own words may quote the value, so they are not passed on for a secret; `allowed` says the rest
            problem = "does not have the right form" if hidden else readers.without_advice(error)
            self.faults.append(fault(here, problem, allowed, shown))
            return None
        if key.secret and text and not placeholders(node.text):
            self.warnings.append(
                f"{here.file}, line {here.line}: {here.key} is written out in a file that others on this computer may "
                "read; use ${NAME}, or run chmod 600 on the file"
            )
        return Found(value, here, shown)

    def _fill(self, text: str, key: Key[Any]) -> str:
        """Replace `${NAME}`. Raise ValueError with the problem; an empty one was reported with the secrets file."""
        if key.hold is Hold.PLAIN:
            return unescape(text)
        try:
            return self.vault.fill(text, in_url=key.hold is Hold.SECRET_URL)
        except ValueError:
            if self.vault.partial:
                raise ValueError from None
            raise


def _unknown(name: str, here: Spot, group: Group) -> Fault:
    near = difflib.get_close_matches(name, group.names, n=1)
    if near:
        hint = f" (did you mean {near[0]}?)"
    else:
        homes = [path for path, _ in walk(schema.ROOT) if path.rpartition(".")[2] == name]
        hint = f" here; there is {homes[0]} (is the indentation right?)" if homes else ""
    if name == "<<":
        hint = "; a merge key (<<) is not used in these settings"
    return fault(here, f"is not a setting{hint}", ", ".join(group.names))


def merge(first: Checked, second: Checked, group: Group, faults: list[Fault]) -> None:
    """Put what stands in a second file into the first; what stands in both is a fault.

    An entry of a `joined` group is put together key by key, so that house.yaml may add to one that the keeper wrote.
    """
    for name, found in second.found.items():
        if name in first.found or name in first.broken:
            where = first.found[name].spot if name in first.found else first.spot
            line = f", line {where.line}" if name in first.found else ""
            problem = f"stands in two files, here and in {where.file}{line}; take it away in one of them"
            faults.append(fault(found.spot, problem, value=found.written))
        else:
            first.found[name] = found
    first.broken |= second.broken
    known = {inner.name: inner for inner in group.groups}
    entry = Group("", group.about, group.keys, group.groups)
    for name, inner in second.groups.items():
        mine = first.groups.get(name)
        if mine is None:
            first.groups[name] = inner
        elif group.by_id and not group.joined:
            problem = f"stands in two files, here and in {mine.spot.file}, line {mine.spot.line}"
            faults.append(fault(inner.spot, problem))
        else:
            merge(mine, inner, entry if group.by_id else known[name], faults)


def complete(checked: Checked, group: Group, faults: list[Fault]) -> None:
    """Add a fault for each required setting that was not written."""
    for key in group.keys:
        written = key.name in checked.found or key.name in checked.broken
        if isinstance(key, Key) and key.required and not written:
            faults.append(fault(checked.at(key), f"is missing ({key.about})", key.reader.allowed))
    for inner in group.groups:
        if inner.name in checked.groups or (inner.required and inner.name not in checked.broken):
            here = checked.group(inner)
            for part in here.groups.values() if inner.by_id else (here,):
                complete(part, inner if not inner.by_id else Group("", "", inner.keys, inner.groups), faults)
