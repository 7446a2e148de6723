"""Standing: in which file and line each setting stands, so that a page can say what it may change and what not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from gatewayd.settings import schema
from gatewayd.settings.faults import HIDDEN, Fault, shorten
from gatewayd.settings.keys import Group, Key, ListKey
from gatewayd.settings.tree import Branch, Items, Node, Text, read


@dataclass(frozen=True, slots=True)
class Stands:
    """Hold where a setting stands and what is written there; a secret is shown as `…`.

    `text` is one short line to show, `written` the whole of it, empty for a secret, a list and a group.
    """

    file: Path
    line: int
    text: str
    written: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """Hold all that is written, by its path (`freezers.shed-chest.limits.high`), and what cannot be read.

    An entry under an id, such as `freezers.shed-chest`, and a group, such as `site`, have a place too; their text is
    empty. `house_file` is the one that gatewayd writes.
    """

    at: Mapping[str, Stands]
    faults: tuple[Fault, ...]
    house_file: Path

    def own(self, path: str) -> Stands | None:
        """Return where the keeper wrote a setting by hand, None if not."""
        found = self.at.get(path)
        return None if found is None or found.file == self.house_file else found


def standing(files: Sequence[Path], house_file: Path) -> Standing:
    """Read where everything stands in the keeper's files and in house.yaml; of two places the first counts."""
    found: dict[str, Stands] = {}
    faults: list[Fault] = []
    for path in (*files, *([house_file] if house_file.exists() else [])):
        tree = read(path, faults)
        if tree is not None:
            _note(tree, schema.ROOT, "", path, found)
    return Standing(found, tuple(faults), house_file)


def _note(branch: Branch, group: Group, above: str, file: Path, found: dict[str, Stands]) -> None:
    entry = Group("", "", group.keys, group.groups)
    groups = {inner.name: inner for inner in group.groups}
    keys = {key.name: key for key in group.keys}
    for name, line, node in branch.entries:
        path = f"{above}{name}"
        if isinstance(node, Text) and node.empty:
            continue
        below = entry if group.by_id else groups.get(name)
        if isinstance(node, Branch):
            found.setdefault(path, Stands(file, line, ""))
            if below is not None:
                _note(node, below, f"{path}.", file, found)
        else:
            text = _shown(node, keys.get(name))
            whole = node.text if isinstance(node, Text) and text != HIDDEN else ""
            found.setdefault(path, Stands(file, line, text, whole))


def _shown(node: Node, key: "Key[object] | ListKey | None") -> str:
    """Write what stands there; what is no known setting may be a slipped secret."""
    if key is None or (isinstance(key, Key) and key.secret):
        return HIDDEN
    if isinstance(node, Items):
        return ", ".join(_shown(item, key) for item in node.items)
    return shorten(node.text) if isinstance(node, Text) else ""
