"""Let an answer of the door speak to somebody who looks at a page: advice on commands to type is left out."""

import re
from typing import Any

# from the end of the sentence before up to the end of this one: "See all with: gatewayd stock list"
_TYPED = re.compile(r"(?:(?<=[.?!;\n])|^|,)[^.?!;\n]*\bgatewayd stock [^.;\n]*(?:\.(?=\s|$)|;|$)", re.MULTILINE)
_OPTION = re.compile(r", or --[a-z]+ for [^:.\n]*|, or say --[a-z]+ [^.\n]*")


def sentence(text: str) -> str:
    """Return `text` without what must be typed into a terminal."""
    plain = _OPTION.sub("", _TYPED.sub("", text))
    return re.sub(r"[ \t]+\n", "\n", plain).rstrip(" ;\n") or NOTHING


NOTHING = "That could not be done. Nothing was changed."


def spoken(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer of the door to an order about the stock as a page says it."""
    said = dict(answer)
    for name in ("text", "error"):
        if said.get(name):
            said[name] = sentence(str(said[name]))
    for name in ("hints", "warnings"):
        said[name] = [sentence(str(one)) for one in said.get(name, ())]
    return said
