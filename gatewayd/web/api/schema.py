"""Make JSON Schema (2020-12) of types: of the same ones by which what comes in is checked."""

import types
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum
from inspect import cleandoc
from typing import Any, Union, get_args, get_origin

from gatewayd.web.api.fit import hints
from gatewayd.web.api.says import Says, apart

Plain = dict[str, Any]
PLACE = "#/components/schemas/"
_SINGLE = {str: "string", int: "integer", float: "number", bool: "boolean"}


class Schemas:
    """Collect the schemas of types by name; one that holds others refers to them.

    A type is either one of what comes in or one of what goes out: in the former what has a default may be left out and
    nothing strange may stand there, in the latter every field is there, and more may come with time.
    """

    def __init__(self) -> None:
        """Begin with none."""
        self.all: dict[str, Plain] = {}
        self._is_in: dict[type, bool] = {}

    def of(self, hint: Any, *, comes_in: bool) -> Plain:
        """Return the schema of a type. Raise TypeError for one that JSON cannot say, or that is used both ways."""
        hint, says = apart(hint)
        origin, args = get_origin(hint), get_args(hint)
        if origin in (Union, types.UnionType):
            those = [self.of(arg, comes_in=comes_in) for arg in args if arg is not type(None)]
            if len(those) > 1:  # of plain values
                return {"type": [*(each["type"] for each in those), "null"]}
            one = those[0]
            if isinstance(one.get("type"), str) and "enum" not in one:
                return one | {"type": [one["type"], "null"]}
            return {"anyOf": [one, {"type": "null"}]}
        if origin is tuple:
            return _bounded({"type": "array", "items": self.of(args[0], comes_in=comes_in)}, says, "Items")
        if isinstance(origin, type) and issubclass(origin, dict):
            return _bounded({"type": "object", "additionalProperties": self.of(args[1], comes_in=comes_in)}, says, "")
        if isinstance(hint, type) and is_dataclass(hint):
            return self._object(hint, comes_in=comes_in)
        if isinstance(hint, type) and issubclass(hint, Enum):
            return {"type": "string", "enum": [each.value for each in hint]}
        if hint in _SINGLE:
            return _bounded({"type": _SINGLE[hint]}, says, "Length")
        raise TypeError(f"JSON Schema is not known of {hint!r}")

    def _object(self, shape: type, *, comes_in: bool) -> Plain:
        if self._is_in.setdefault(shape, comes_in) is not comes_in:
            raise TypeError(f"{shape.__name__} comes in and goes out; make two types of it")
        name = shape.__name__
        if name not in self.all:
            self.all[name] = {}  # one that holds itself ends here
            needed = [
                field.name
                for field in fields(shape)
                if not comes_in or (field.default is MISSING and field.default_factory is MISSING)
            ]
            made: Plain = {
                "type": "object",
                "description": " ".join(cleandoc(shape.__doc__ or "").split()),
                "properties": {each: self.of(hint, comes_in=comes_in) for each, hint in hints(shape).items()},
            }
            if needed:
                made["required"] = needed
            if comes_in:
                made["additionalProperties"] = False
            self.all[name] = made
        return {"$ref": f"{PLACE}{name}"}


def _bounded(schema: Plain, says: Says, of: str) -> Plain:
    """Add what is said of a value; `of` is what the bounds of its size count."""
    more: Plain = {
        "description": says.words,
        "minimum": says.least,
        "maximum": says.most,
        f"min{of}": says.shortest,
        f"max{of}": says.longest,
        "pattern": f"^(?:{says.pattern})$" if says.pattern else None,
        "format": says.format,
    }
    return schema | {name: value for name, value in more.items() if value not in (None, "")}
