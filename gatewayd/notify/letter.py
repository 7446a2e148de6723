"""The words that pass between the daemon and its sending child: a letter goes in, an outcome comes out."""

from dataclasses import dataclass
from datetime import datetime

# Measured: an open chat server refuses 40 000 degree signs (an event may have 64 KB) and takes 16 000 four-byte
# characters; a household message has some hundreds.
LONGEST_BODY = 10_000
LONGEST_TITLE = 300  # a longer subject arrives, but no phone shows it


@dataclass(frozen=True, slots=True)
class Letter:
    """Hold one message, ready to send.

    `message_id` is the same at every try and names the notice; it needs no domain. `made` is aware.
    """

    title: str
    body: str
    message_id: str
    made: datetime


@dataclass(frozen=True, slots=True)
class Outcome:
    """Say how one try ended.

    `error` is in the keeper's words and holds no secret. `maybe_arrived`: it failed, but the message may have left.
    `hopeless`: trying again soon will not mend it. `server_wait` (ms) is what the server asked us to wait.
    """

    ok: bool
    maybe_arrived: bool = False
    error: str = ""
    hopeless: bool = False
    server_wait: int = 0


def trial_letter(route: str, house: str, made: datetime) -> Letter:
    """Return the message that tries a route; `made` is now, aware."""
    return Letter(
        f"{house}: a test message",
        f"This is a test of the route {route}. If you read it, messages about your freezers reach you here.\n"
        "There is nothing to do.",
        f"test-{route}-{round(made.timestamp() * 1000)}",
        made,
    )


def clean_title(text: str) -> str:
    """Fold line ends and control characters of a title into single spaces, so that none can forge a header."""
    flat = "".join(char if char.isprintable() else " " for char in _sendable(text))
    return " ".join(flat.split())[:LONGEST_TITLE]


def clean_body(text: str) -> str:
    """Keep a body that every service takes: not empty, no broken characters, not too long."""
    kept = _sendable(text).replace("\r\n", "\n").replace("\r", "\n").replace("\x00", "")
    if not kept.strip():
        return "(no text)"
    return kept if len(kept) <= LONGEST_BODY else kept[: LONGEST_BODY - 2] + "\n…"


def _sendable(text: str) -> str:
    """Replace lone surrogates, which no encoder takes."""
    return text.encode("utf-8", "replace").decode("utf-8")
