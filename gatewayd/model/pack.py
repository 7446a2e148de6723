"""Pack dataclasses into plain JSON values and back, by their type hints."""

import types
from collections import deque
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import lru_cache
from typing import Any, Union, get_args, get_origin, get_type_hints

Plain = Any  # what json.dumps takes: dict, list, str, int, float, bool, None


def pack(thing: object) -> Plain:
    """Return `thing` as plain JSON values. Raise TypeError for what cannot be packed."""
    match thing:
        case Enum():
            return thing.value
        case None | bool() | int() | float() | str():
            return thing
        case dict():
            return {str(key): pack(value) for key, value in thing.items()}
        case list() | tuple() | deque():
            return [pack(value) for value in thing]
    if is_dataclass(thing):
        return {field.name: pack(getattr(thing, field.name)) for field in fields(thing)}
    raise TypeError(f"cannot pack {type(thing).__name__}")


@lru_cache(maxsize=128)  # a few dozen classes
def _hints(cls: type) -> dict[str, Any]:
    return get_type_hints(cls)


def unpack(hint: Any, plain: Plain) -> Any:
    """Return the value that `pack` made `plain` from, given its type.

    A field that `plain` lacks takes its default, and one the class no longer has is left out, so that a snapshot
    outlives a small change of the classes. Raise TypeError or ValueError for what does not fit.
    """
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        if plain is None:
            return None
        return unpack(next(arg for arg in args if arg is not type(None)), plain)
    if origin in (list, deque):
        return origin(unpack(args[0], value) for value in plain)
    if origin is tuple:
        kinds = [args[0]] * len(plain) if args[-1] is Ellipsis else args
        return tuple(unpack(kind, value) for kind, value in zip(kinds, plain, strict=True))
    if isinstance(origin, type) and issubclass(origin, dict):
        return {key: unpack(args[1], value) for key, value in plain.items()}
    if isinstance(hint, type) and is_dataclass(hint):
        hints = _hints(hint)
        found = {f.name: unpack(hints[f.name], plain[f.name]) for f in fields(hint) if f.name in plain}
        for field in fields(hint):
            if isinstance(found.get(field.name), deque) and callable(field.default_factory):
                found[field.name] = deque(found[field.name], field.default_factory().maxlen)  # its bound is no value
        return hint(**found)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(plain)
    return plain
