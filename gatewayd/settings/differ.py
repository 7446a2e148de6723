"""Differ: what two versions of house.yaml say otherwise, in sentences without a secret."""

from collections.abc import Iterator, Mapping

from gatewayd.settings import schema
from gatewayd.settings.document import Content, Document
from gatewayd.settings.faults import HIDDEN, shorten
from gatewayd.settings.keys import Group, Key
from gatewayd.settings.reasons import REASONS

MOST = 12  # sentences; a change by hand may be anything


def differences(before: Document, after: Document) -> list[str]:
    """Say what is otherwise `after`, a sentence each: `Too warm above (shed-chest) is -15 °C; it was -12 °C.`"""
    found = list(_compare(before, after, schema.ROOT, ""))
    return found if len(found) <= MOST else [*found[:MOST], f"And {len(found) - MOST} more."]


def _compare(before: Document, after: Document, group: Group, above: str) -> Iterator[str]:
    entry = Group("", "", group.keys, group.groups)
    groups = {inner.name: inner for inner in group.groups}
    keys = {key.name: key for key in group.keys}
    for name in dict.fromkeys((*before, *after)):
        old, new, path = before.get(name), after.get(name), f"{above}{name}"
        if old == new:
            if _order(old) != _order(new):
                yield f"The order under {path} is {', '.join(_order(new))}."
            continue
        below = entry if group.by_id else groups.get(name)
        if below is not None and (isinstance(old, Mapping) or isinstance(new, Mapping)):
            found = list(_compare(_group(old), _group(new), below, f"{path}."))
            if group.by_id and (old is None or new is None) and not (group.joined and found):
                found = [f"{path} is {'new' if old is None else 'gone'}."]
            yield from found
            if list(_group(old)) != list(_group(new)) and below.by_id and set(_group(old)) == set(_group(new)):
                yield f"The order under {path} is {', '.join(_group(new))}."
            continue
        key = keys.get(name)
        hidden = key is None or (isinstance(key, Key) and key.secret)
        yield _one(_called(path), old, new, hidden=hidden)


def _called(path: str) -> str:
    """Return what people read as a setting's name, its path where pages have no name for it."""
    parts = path.split(".")
    reason = REASONS.get(path) or REASONS.get(".".join((parts[0], "<id>", *parts[2:])))
    if reason is None:
        return path
    return f"{reason.label} ({parts[1]})" if len(parts) > 2 else reason.label


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
        return shorten(content)
    return HIDDEN if isinstance(content, Mapping) else ", ".join(shorten(str(one)) for one in content or ())
