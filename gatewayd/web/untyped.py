"""Leave out of what the gateway says about upkeep the commands to type: on a page there is a button instead."""

import re
from typing import Any

# A command and all that follows in its sentence, with the word that leads to it: `, see: gatewayd due`.
_COMMAND = re.compile(
    r"(?:[,;:]?\s+(?:(?:and|or)\s+)?(?:see|then|with|decide))?\s*[:;,]?\s*"
    r"\bgatewayd (?:ack|calibrate|checked|chore|defrost|due|excursion|freezer|frost)\b[^.\n]*"
)
_SENTENCE = re.compile(r"(?<=[.!?])[ ]+")
_OPTION = re.compile(r"(?:^|\s)--[a-z]")


def untyped(text: str) -> str:
    """Return `text` without commands, and without sentences that are only about an option of one."""
    return "\n".join(_line(line) for line in text.split("\n")).strip()


def _line(line: str) -> str:
    said = []
    for sentence in _SENTENCE.split(line):
        plain = _COMMAND.sub("", sentence)
        if plain != sentence and plain.strip() and plain.strip()[-1] not in ".!?":
            plain = f"{plain.rstrip(' ,;:')}."
        if plain.strip(" .") and not _OPTION.search(plain):
            said.append(plain)
    return " ".join(said)


def plainly(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer of the door with its words as a page says them."""
    return {key: untyped(value) if key in ("text", "error") else value for key, value in answer.items()}
