"""Send one letter, or look at addresses, in a process of its own: `python -m gatewayd.notify.child`.

A hung messenger thread cannot be stopped from inside, and the libraries are larger than the rest of the daemon. So
each delivery runs here: one JSON request on standard input, JSON lines on standard output, then the process ends at
once, whatever its threads do. Secrets come by standard input alone, where no process list shows them.
"""

import json
import os
import signal
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from gatewayd.notify.letter import Letter, Outcome
from gatewayd.notify.wire import Wire

GRACE = 2.0  # seconds after the parent's deadline at which the kernel ends a child whose parent has died


def _say(out: int, words: dict[str, Any]) -> None:
    """Write one line, past any buffer."""
    os.write(out, json.dumps(words).encode() + b"\n")


def _own_output() -> int:
    """Keep the real standard output for our answer and send whatever else is printed nowhere."""
    out = os.dup(1)
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    return out


def _send(request: dict[str, Any], out: int) -> Outcome:
    """Send the letter of a request by its way."""
    way, timeout = request["way"], float(request["timeout"])
    letter = Letter(request["title"], request["body"], request["message_id"], datetime.fromisoformat(request["made"]))
    if way["ca"] and not Path(way["ca"]).is_file():
        return Outcome(ok=False, error=f"The file {way['ca']} with the authority to trust is missing.", hopeless=True)
    wire = Wire(begun=lambda: _say(out, {"begun": True}))
    # each way alone pulls in its library: a mail must not pay for the messenger
    if request["mode"] == "mail":
        from gatewayd.notify import mail  # noqa: PLC0415

        return mail.send(way, letter, timeout, wire)
    from gatewayd.notify import post  # noqa: PLC0415

    return post.send(way, letter, timeout, wire)


def answer(request: dict[str, Any], out: int) -> dict[str, Any]:
    """Do what the request asks and return the answer."""
    if request["mode"] == "inspect":
        from gatewayd.notify import post  # noqa: PLC0415

        return {"seen": post.look(request["urls"])}
    outcome = _send(request, out)
    return {
        "ok": outcome.ok,
        "maybe_arrived": outcome.maybe_arrived,
        "error": outcome.error,
        "hopeless": outcome.hopeless,
        "server_wait": outcome.server_wait,
    }


def main() -> None:
    """Read the request, answer it, and end without waiting for any thread."""
    out = _own_output()
    code = 0
    try:
        request = json.loads(sys.stdin.buffer.read())
        # the parent kills us at the deadline; should the parent be gone, the kernel does
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, float(request["deadline"]) + GRACE)
        _say(out, answer(request, out))
    except ImportError as error:
        _say(out, {"broken": f"{error.name} is not installed"})
        code = 1
    except Exception as error:  # noqa: BLE001 - the one place that must answer whatever a messenger does; name only: the text may hold a secret
        _say(out, {"broken": type(error).__name__})
        code = 1
    os._exit(code)


if __name__ == "__main__":
    main()
