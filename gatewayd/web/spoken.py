"""Let the gateway's own texts speak on a page: a sentence that says what to type at a terminal is left out.

The texts are written for it: a command, and an option of one, stand in a sentence of their own.
"""

import re
from typing import Any

from gatewayd.message.command import COMMANDS

# "See all with: gatewayd stock list", "To keep it all the same say --anyway."; but not "gatewayd has just started"
_TYPED = re.compile(rf"\bgatewayd (?:{'|'.join(COMMANDS)})(?![\w-])|\b(?:add|or|say|with) --[a-z]", re.IGNORECASE)
# "  13  12 bags of beans": the number of a package, to be typed, would run into how many there are.
_NUMBER = re.compile(r"(?m)((?:^|[:;] |has )\s*)\d{1,12}  (?=\S)")
_BETWEEN = re.compile(r"(?<=[.?!]) +")
NOTHING = "That could not be done. Nothing was changed."


def sentences(text: str) -> str:
    """Return `text` without the sentences that say what to type, empty where it has no other."""
    lines = [(line, _line(line) if _TYPED.search(line) else line) for line in text.split("\n")]
    return "\n".join(plain for line, plain in lines if plain or not line).strip()


def _line(line: str) -> str:
    return " ".join(one for one in _BETWEEN.split(line) if not _TYPED.search(one)).rstrip()


def spoken(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer of the door with its words, hints and warnings as a page says them."""
    said = dict(answer)
    for name in ("text", "error"):
        if said.get(name):
            said[name] = sentences(_NUMBER.sub(r"\1", str(said[name]))) or (NOTHING if name == "error" else "")
    for name in ("hints", "warnings"):
        if name in said:
            said[name] = [plain for one in said[name] if (plain := sentences(str(one)))]
    return said
