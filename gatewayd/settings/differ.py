"""Differ: what two versions of house.yaml say otherwise, in sentences without a secret."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gatewayd.settings import schema
from gatewayd.settings.document import Content, Document
from gatewayd.settings.faults import HIDDEN, shorten
from gatewayd.settings.keys import Group, Key
from gatewayd.settings.reasons import REASONS
from gatewayd.settings.secrets import unescape

MOST = 12  # sentences; a change by hand may be anything
_THINGS = {
    schema.FREEZERS.name: "the freezer",
    schema.SENSORS.name: "the sensor",
    schema.RADIOS.name: "the radio",
    schema.BROKERS.name: "the broker",
    schema.ROUTES.name: "the way",
    schema.NEIGHBOURS.name: "the neighbour",
    schema.PEOPLE.name: "",
}
_GROUPS = {schema.LIMITS.name: "Limits", schema.ALARMS.name: "Alarms", schema.CONTENTS.name: "What it holds"}
_WAYS = {schema.SENSOR_BROKER.name, schema.SENSOR_RADIO.name, schema.FILE.name}


class Difference(str):
    """Say in a sentence what is otherwise, and know of which setting or entry: `path` is its path."""

    __slots__ = ("path",)
    path: str

    @classmethod
    def of(cls, path: str, text: str) -> "Difference":
        """Make one."""
        said = cls(text)
        said.path = path
        return said


def differences(before: Document, after: Document, names: Mapping[str, str] | None = None) -> list[str]:
    """Say what is otherwise `after`, a sentence each: `Too warm above (Shed chest) is -15 °C; it was -12 °C.`

    `names` are what people call entries, by their path, such as `freezers.shed-chest`, where the documents do not say.
    """
    found: list[str] = []
    found += _Compare({**(names or {}), **_names(after), **_names(before)}).all(before, after, schema.ROOT, "")
    return found if len(found) <= MOST else [*found[:MOST], f"And {len(found) - MOST} more."]


def called(path: str, names: Mapping[str, str]) -> str:
    """Return what people read as the name of a setting or entry; `names` as for `differences`."""
    found = _Compare(names)
    section, *rest = path.split(".")
    return _capital(found.entry(path)) if section in _THINGS and len(rest) == 1 else found.called(path)


def touched(before: Document, after: Document) -> dict[str, str]:
    """Return what is otherwise `after`: what stands there then by the path of each setting, empty for nothing."""
    return dict(_touched(before, after, ""))


def _touched(old: "Content | None", new: "Content | None", path: str) -> Iterator[tuple[str, str]]:
    if isinstance(old, Mapping) or isinstance(new, Mapping):
        for name in dict.fromkeys((*_group(old), *_group(new))):
            yield from _touched(_group(old).get(name), _group(new).get(name), f"{path}.{name}" if path else name)
    elif old != new:
        yield path, new if isinstance(new, str) else ""


@dataclass(frozen=True, slots=True)
class _Compare:
    """Compare two documents; `names` are those of their entries by path."""

    names: Mapping[str, str]

    def all(self, before: Document, after: Document, group: Group, above: str) -> Iterator[Difference]:
        """Go through what is otherwise in a group."""
        groups = {inner.name: inner for inner in group.groups}
        keys = {key.name: key for key in group.keys}
        for name in dict.fromkeys((*before, *after)):
            old, new, path = before.get(name), after.get(name), f"{above}{name}"
            below = Group("", "", group.keys, group.groups) if group.by_id else groups.get(name)
            if old == new:
                if _order(old) != _order(new):
                    yield self._ordered(path, new)
            elif below is not None and (isinstance(old, Mapping) or isinstance(new, Mapping)):
                yield from self._group(path, old, new, below, named=group.by_id, joined=group.joined)
            else:
                key = keys.get(name)
                hidden = key is None or (isinstance(key, Key) and key.secret)
                yield Difference.of(path, _one(self.called(path), old, new, hidden=hidden))

    def _group(
        self, path: str, old: "Content | None", new: "Content | None", group: Group, *, named: bool, joined: bool
    ) -> Iterator[Difference]:
        found = list(self.all(_group(old), _group(new), group, f"{path}."))
        part = joined and found and not _whole(old or new)
        if named and (old is None or new is None) and not part:
            found = [Difference.of(path, f"{_capital(self.entry(path))} is {'new' if old is None else 'gone'}.")]
        yield from found
        if group.by_id and list(_group(old)) != list(_group(new)) and set(_group(old)) == set(_group(new)):
            yield self._ordered(path, new)

    def _ordered(self, path: str, new: "Content | None") -> Difference:
        order = ", ".join(self.names.get(f"{path}.{one}", one) for one in _order(new))
        return Difference.of(path, f"The order of {path} is {order}.")

    def entry(self, path: str) -> str:
        """Return what people call an entry: `the freezer Shed chest`, and a person by name."""
        section, id_ = path.split(".")[:2]
        return f"{_THINGS.get(section, section)} {self.names.get(f'{section}.{id_}', id_)}".strip()

    def called(self, path: str) -> str:
        """Return what people read as a setting's name, its path where pages have no name for it."""
        parts = path.split(".")
        reason = REASONS.get(path) or REASONS.get(".".join((parts[0], "<id>", *parts[2:])))
        if reason is not None and len(parts) > 2:
            return f"{reason.label} ({self.names.get('.'.join(parts[:2]), parts[1])})"
        if reason is not None or len(parts) < 3 or parts[0] not in _THINGS:
            return path if reason is None else reason.label
        if parts[-1] in _GROUPS:
            return f"{_GROUPS[parts[-1]]} ({self.names.get('.'.join(parts[:2]), parts[1])})"
        if parts[-1] == schema.TOLD_BY.name:
            return f"The list of ways to {self.entry(path)}"
        return f"The {parts[-1].replace('_', ' ')} of {self.entry(path)}"


def _names(document: Document) -> dict[str, str]:
    """Return what the entries of a document call themselves, by path."""
    found = {}
    for section in _THINGS:
        for id_, entry in _group(document.get(section)).items():
            name = _group(entry).get("name")
            if isinstance(name, str):
                found[f"{section}.{id_}"] = unescape(name)
    return found


def _whole(entry: "Content | None") -> bool:
    """Say whether an entry stands for itself and adds nothing to one in another file: how to get there is in it."""
    return not _WAYS.isdisjoint(_group(entry))


def _one(path: str, old: "Content | None", new: "Content | None", *, hidden: bool) -> str:
    was, is_ = (HIDDEN if hidden else _text(one) for one in (old, new))
    if new is None:
        return f"{path} is no longer set; it was {was}."
    if old is None:
        return f"{path} is {is_}; it was not set."
    return f"{path} is another." if hidden else f"{path} is {is_}; it was {was}."


def _order(content: "Content | None") -> list[str]:
    return list(content) if isinstance(content, Mapping) else []


def _group(content: "Content | None") -> Document:
    return content if isinstance(content, Mapping) else {}


def _text(content: "Content | None") -> str:
    if isinstance(content, str):
        return shorten(unescape(content))
    return HIDDEN if isinstance(content, Mapping) else ", ".join(shorten(str(one)) for one in content or ())


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
