"""Redact: the settings as stable JSON without a secret, and the version that names them."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import tzinfo
from enum import Enum
from pathlib import Path

from gatewayd.model.route import Secret
from gatewayd.settings.faults import HIDDEN
from gatewayd.settings.typed import Settings

_DIGITS = 12  # 48 bits: two of a house's few thousand versions meet by chance once in 10^8 houses
_ASIDE = {
    "version",  # it is made of the rest
    "files",  # where the settings lie changes nothing of what they say
    "house_file",
    "socket",
    "warnings",
}
_HIDDEN_TEXTS = {"user"}  # may come from a secret: some servers take a token as the user's name


def redacted(settings: Settings) -> str:
    """Write the settings as JSON with sorted keys, each secret as `…`; equal settings give equal text.

    A changed password therefore makes no new version, and no version can be used to guess one.
    """
    return json.dumps(_plain(settings), ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def version(settings: Settings) -> str:
    """Name the settings by the first 12 hexadecimal digits of the SHA-256 of their redacted JSON."""
    return hashlib.sha256(redacted(settings).encode()).hexdigest()[:_DIGITS]


def _plain(value: object) -> object:
    match value:
        case Secret():
            return HIDDEN if value.reveal() else ""
        case Enum():
            return value.value
        case Mapping():
            return {str(key): _plain(inner) for key, inner in value.items()}
        case tuple():
            return [_plain(inner) for inner in value]
        case Path() | tzinfo():
            return str(value)
        case None | str() | int() | float():
            return value
    if not is_dataclass(value):
        raise TypeError(f"cannot write a {type(value).__name__} as settings JSON")
    found = {}
    for field in fields(value):
        if field.name not in _ASIDE:
            inner = getattr(value, field.name)
            found[field.name] = HIDDEN if field.name in _HIDDEN_TEXTS and inner else _plain(inner)
    return found
