"""Keys and groups: the words in which the schema declares each setting, once."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any, Generic, TypeVar

from gatewayd.settings.readers import Reader

T = TypeVar("T")


class Hold(Enum):
    """Say what a setting may hold of secrets."""

    PLAIN = auto()  # no ${NAME}; the value is shown
    FILLED = auto()  # ${NAME} is replaced; shown as written
    SECRET = auto()  # ${NAME} is replaced; never shown
    SECRET_URL = auto()  # as SECRET, and a secret inside the URL is percent-encoded


@dataclass(frozen=True, slots=True)
class Key(Generic[T]):
    """Declare one setting: its name, its reader, one line about it, its default.

    `default` is written as a keeper would write it and read by the same reader; None means there is none. Where it
    is None or empty, `otherwise` says in words what happens.
    """

    name: str
    reader: Reader[T]
    about: str
    default: str | None = None
    otherwise: str = ""
    required: bool = False
    hold: Hold = Hold.PLAIN

    @property
    def secret(self) -> bool:
        """Say whether the value must never be shown."""
        return self.hold in (Hold.SECRET, Hold.SECRET_URL)


@dataclass(frozen=True, slots=True)
class ListKey:
    """Declare a setting that is a list of texts, mostly ids. Left out it is empty; `otherwise` says what happens."""

    name: str
    reader: Reader[str]
    about: str
    allowed: str = "a list of ids in [ ], like [shed-air]"
    otherwise: str = "none"


@dataclass(frozen=True, slots=True)
class Group:
    """Declare a group of settings. With `by_id` it holds entries under ids of the keeper's choice, all alike.

    With `joined` an entry may stand in two files, some of its keys here and some there: what the keeper's own file does
    not say of a freezer, house.yaml may.
    """

    name: str
    about: str
    keys: tuple["Key[Any] | ListKey", ...] = ()  # Any: keys of all types stand side by side; `take` types them
    groups: tuple["Group", ...] = ()
    by_id: bool = False
    required: bool = False
    joined: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Return the keys that may stand in this group, in the order in which they are declared."""
        return (*(key.name for key in self.keys), *(group.name for group in self.groups))


def walk(group: Group, path: str = "") -> Iterator[tuple[str, "Key[Any] | ListKey | Group"]]:
    """Go through all settings and groups with their paths, `<id>` standing for the keeper's ids."""
    for key in group.keys:
        yield path + key.name, key
    for inner in group.groups:
        yield path + inner.name, inner
        yield from walk(inner, path + inner.name + (".<id>." if inner.by_id else "."))
