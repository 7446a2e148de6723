"""Check what comes in against its type: every mistake a sentence, and a JSON Pointer (RFC 6901) to where it is."""

import json
import math
import re
import types
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum
from functools import lru_cache
from typing import Any, Union, get_args, get_origin, get_type_hints

from gatewayd.web.api.says import Says, apart

SHOWN = 60  # characters of what was sent that a sentence repeats


class Unfit(Exception):
    """Something that does not fit its type: the sentence, and `at`, the pointer to it ("" for all of it)."""

    def __init__(self, text: str, at: str = "") -> None:
        """Take the sentence and where it is."""
        super().__init__(text)
        self.at = at


class Garbled(ValueError):
    """Bytes that are no JSON, or JSON that says two things."""


def read(body: bytes) -> Any:
    """Return the JSON value in `body`. Raise Garbled for anything else, for a name given twice, and for NaN."""
    try:
        return json.loads(body.decode(), parse_constant=_no_number, object_pairs_hook=_once)
    except UnicodeDecodeError as wrong:
        raise Garbled(f"The JSON is not UTF-8: byte {wrong.start}.") from None
    except json.JSONDecodeError as wrong:
        raise Garbled(f"This is not JSON: {wrong.msg} in line {wrong.lineno}, column {wrong.colno}.") from None
    except RecursionError:
        raise Garbled("The JSON is nested too deeply.") from None
    except ValueError as wrong:
        if isinstance(wrong, Garbled):
            raise
        raise Garbled("A number in the JSON has too many digits.") from None  # Python refuses more than 4300


def _no_number(name: str) -> float:
    raise Garbled(f"{name} is not a number that JSON knows.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Garbled(f"{_shown(twice)} stands there twice.")
    return found


def fit(hint: Any, plain: Any, at: str = "") -> Any:
    """Return the value of type `hint` that `plain` (what json.loads gives) says. Raise Unfit."""
    hint, says = apart(hint)
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        if plain is None:
            return None
        return fit(next(arg for arg in args if arg is not type(None)), plain, at)
    if origin is tuple:
        return _list(args[0], says, plain, at)
    if isinstance(hint, type) and is_dataclass(hint):
        return _object(hint, plain, at)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return _choice(hint, plain, at)
    return _single(hint, says, plain, at)


@lru_cache(maxsize=256)  # some dozen types
def hints(shape: type) -> Mapping[str, Any]:
    """Return the types of the fields of a dataclass, with what they say."""
    return get_type_hints(shape, include_extras=True)


def _object(shape: type, plain: Any, at: str) -> Any:
    if not isinstance(plain, dict):
        raise Unfit(f"Here must be a JSON object, not {_kind(plain)}.", at)
    known = {field.name: field for field in fields(shape)}
    for name in plain:
        if name not in known:
            raise Unfit(
                f"There is no field {_shown(name)}; there are: {', '.join(known) or 'none'}.", f"{at}/{_step(name)}"
            )
    given = {}
    for name, field in known.items():
        if name in plain:
            given[name] = fit(hints(shape)[name], plain[name], f"{at}/{name}")
        elif field.default is MISSING and field.default_factory is MISSING:
            raise Unfit(f"{name} must be said.", f"{at}/{name}")
    return shape(**given)


def _list(hint: Any, says: Says, plain: Any, at: str) -> tuple[Any, ...]:
    if not isinstance(plain, list):
        raise Unfit(f"Here must be a list, not {_kind(plain)}.", at)
    _many(len(plain), says, "values", at)
    return tuple(fit(hint, value, f"{at}/{place}") for place, value in enumerate(plain))


def _choice(hint: type[Enum], plain: Any, at: str) -> Enum:
    for each in hint:
        if type(plain) is type(each.value) and plain == each.value:
            return each
    allowed = ", ".join(str(each.value) for each in hint)
    raise Unfit(f"{_shown(plain)} is not allowed; allowed are: {allowed}.", at)


def _single(hint: Any, says: Says, plain: Any, at: str) -> Any:
    if hint is bool:
        if not isinstance(plain, bool):
            raise Unfit(f"Here must be true or false, not {_kind(plain)}.", at)
        return plain
    if hint is str:
        return _text(says, plain, at)
    if hint in (int, float):
        return _number(hint, says, plain, at)
    raise TypeError(f"no check is known for {hint!r}")


def _text(says: Says, plain: Any, at: str) -> str:
    if not isinstance(plain, str):
        raise Unfit(f"Here must be a text, not {_kind(plain)}.", at)
    _many(len(plain), says, "characters", at)
    if says.pattern and not re.fullmatch(says.pattern, plain, re.DOTALL):
        raise Unfit(f"{_shown(plain)} does not fit. {says.words}".rstrip(), at)
    if any("\ud800" <= letter <= "\udfff" for letter in plain):
        raise Unfit("The text has half of a character (a lone surrogate).", at)
    return plain


def _many(many: int, says: Says, what: str, at: str) -> None:
    if says.longest is not None and many > says.longest:
        raise Unfit(f"There are {many} {what}; {says.longest} at most are allowed.", at)
    if says.shortest is not None and many < says.shortest:
        raise Unfit(f"There are {many} {what}; {says.shortest} at least are needed.", at)


def _number(hint: type, says: Says, plain: Any, at: str) -> float | int:
    if isinstance(plain, bool) or not isinstance(plain, int | float):
        raise Unfit(f"Here must be a number, not {_kind(plain)}.", at)
    if isinstance(plain, float) and not math.isfinite(plain):
        raise Unfit("The number is too large.", at)
    if hint is int and plain != int(plain):
        raise Unfit(f"Here must be a whole number, not {plain!r}.", at)
    least, most = says.least, says.most
    if (least is not None and plain < least) or (most is not None and plain > most):
        ends = [f"from {least:g}" if least is not None else "", f"to {most:g}" if most is not None else ""]
        raise Unfit(f"The number is out of range; {' '.join(end for end in ends if end)} is allowed.", at)
    try:
        return int(plain) if hint is int else float(plain)
    except OverflowError:
        raise Unfit("The number is too large.", at) from None


def from_query(shape: type, given: Mapping[str, list[str]]) -> Any:
    """Return the value of type `shape` that the texts of a query or path say. Raise Unfit."""
    plain: dict[str, Any] = {}
    for name, texts in given.items():
        hint = hints(shape).get(name)
        if hint is None:
            plain[name] = texts[0]  # refused by name below
        elif (item := item_of(hint)) is not None:
            plain[name] = [_from_text(item, text) for text in texts]
        elif len(texts) > 1:
            raise Unfit(f"{name} is said {len(texts)} times; once is allowed.", f"/{name}")
        else:
            plain[name] = _from_text(hint, texts[0])
    return fit(shape, plain)


def item_of(hint: Any) -> Any:
    """Return the type of what a list holds, None where `hint` is no list."""
    bare, _ = apart(hint)
    return get_args(bare)[0] if get_origin(bare) is tuple else None


def _from_text(hint: Any, text: str) -> Any:
    """Return what `text` says as JSON has it; what cannot be read stays a text and is refused by its type."""
    while get_origin(hint) is not None:
        hint = next(arg for arg in get_args(hint) if arg is not type(None))
    if hint is bool:
        return {"true": True, "false": False}.get(text, text)
    if hint is int and re.fullmatch(r"-?[0-9]{1,20}", text):
        return int(text)
    if hint is float and re.fullmatch(r"-?[0-9]{1,20}(\.[0-9]{1,20})?", text):
        return float(text)
    return text


def _kind(plain: Any) -> str:
    match plain:
        case None:
            return "null"
        case bool():
            return str(plain).lower()
        case str():
            return f"the text {_shown(plain)}"
        case list():
            return "a list"
        case dict():
            return "an object"
        case _:
            return "a number"


def _shown(plain: Any) -> str:
    try:
        text = json.dumps(plain)
    except ValueError:
        return "this"
    return text if len(text) <= SHOWN else f"{text[:SHOWN]}…"


def _step(name: str) -> str:
    """Write a name as a step of a pointer (RFC 6901, 3)."""
    return name[:SHOWN].replace("~", "~0").replace("/", "~1").encode("utf-8", "replace").decode()
