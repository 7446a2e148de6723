"""Read what was filled in: every field a text of bounded length, every refusal a sentence."""

import math
from collections.abc import Collection
from dataclasses import dataclass

from aiohttp import web
from multidict import MultiDictProxy

LONGEST = 500  # characters of a field that names no other bound
KEY = 80  # characters of the key that makes a second tap the same order


class Wrong(ValueError):
    """A field that cannot be used; the text says which, why, and what is allowed."""


@dataclass(frozen=True, slots=True)
class Form:
    """Hold the fields of one form by name."""

    fields: MultiDictProxy[str | bytes | bytearray | web.FileField]

    @property
    def key(self) -> str:
        """Return the key of this form: a page that is sent twice orders once."""
        return self.text("key", longest=KEY)

    def text(self, name: str, longest: int = LONGEST) -> str:
        """Return a field without the blanks around it, empty where it is missing. Raise Wrong where it is too long."""
        value = self.fields.get(name, "")
        if not isinstance(value, str):
            raise Wrong(f"{name} must be words, not a file.")
        text = value.strip()
        if len(text) > longest:
            raise Wrong(f"{name} has {len(text)} characters; {longest} at most are allowed.")
        return text

    def short(self, name: str) -> str:
        """Return a field to be shown again, empty where it is none or too long to have been meant."""
        value = self.fields.get(name, "")
        return value.strip() if isinstance(value, str) and len(value) <= LONGEST else ""

    def needed(self, name: str, longest: int = LONGEST) -> str:
        """Return a field that must be filled in. Raise Wrong where it is empty or too long."""
        text = self.text(name, longest)
        if not text:
            raise Wrong(f"{name} must be filled in.")
        return text

    def choice(self, name: str, allowed: Collection[str]) -> str:
        """Return a field that must be one of `allowed`. Raise Wrong otherwise."""
        text = self.text(name)
        if text not in allowed:
            raise Wrong(f"{name} {text!r} is not allowed; allowed are {', '.join(sorted(allowed))}.")
        return text

    def choices(self, name: str) -> list[str]:
        """Return all values of a field that may stand there several times, such as boxes to tick."""
        return [value for value in self.fields.getall(name, []) if isinstance(value, str) and len(value) <= LONGEST]

    def number(self, name: str, least: float, most: float) -> float | None:
        """Return a field as a number, None where it is empty. Raise Wrong where it is none or out of range."""
        text = self.text(name, 40).replace("−", "-")
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            raise Wrong(f"{name} {text!r} is not a number; write it like 2.5.") from None
        if not math.isfinite(value) or not least <= value <= most:
            raise Wrong(f"{name} {text} is out of range; {least:g} to {most:g} is allowed.")
        return value

    def ticked(self, name: str) -> bool:
        """Return whether a box is ticked."""
        return bool(self.text(name))


async def read_form(request: web.Request) -> Form:
    """Return the form that a request carries. The word against forgery was checked before this is called.

    Raise HTTPBadRequest for what is no form, in whatever way: strangers send all sorts of things.
    """
    try:
        return Form(await request.post())
    except (ValueError, LookupError, AssertionError, web.RequestPayloadError):
        raise web.HTTPBadRequest(text="This form could not be read. Go back and try again.") from None
