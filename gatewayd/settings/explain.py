"""Explain: every setting with what it means, what is allowed and what happens without it, from the schema itself."""

from dataclasses import dataclass

from gatewayd.settings import schema
from gatewayd.settings.keys import Group, ListKey, walk


@dataclass(frozen=True, slots=True)
class Row:
    """Explain one setting; `key` has `<id>` where the keeper's ids stand, `default` is in words where there is none."""

    key: str
    about: str
    allowed: str
    default: str


def rows() -> tuple[Row, ...]:
    """Return all settings in the order of the schema."""
    found = []
    for path, key in walk(schema.ROOT):
        if isinstance(key, Group):
            continue
        if isinstance(key, ListKey):
            found.append(Row(path, key.about, key.allowed, key.otherwise))
            continue
        default = "must be written" if key.required else key.default or key.otherwise
        found.append(Row(path, key.about, key.reader.allowed, default))
    return tuple(found)


def text() -> str:
    """Return the explanation as text: the setting, then what it means, what is allowed, and its default."""
    return "\n".join(
        f"{row.key}\n    {row.about}\n    Allowed: {row.allowed}. Default: {row.default}." for row in rows()
    )
