"""Send a letter by a route: start a child for it, wait no longer than the deadline, and leave no process behind."""

import asyncio
import contextlib
import hashlib
import json
import os
import signal
import sys
from pathlib import Path
from typing import Any

from gatewayd.clock import Clock
from gatewayd.model.route import MailRoute, Route, UrlRoute
from gatewayd.notify.letter import Letter, Outcome

# What a child may see of our surroundings. The rest stays away from it: `${NAME}` secrets of the settings stand there.
KEPT_ENVIRONMENT = (
    "PATH", "HOME", "LANG", "LC_ALL", "LC_CTYPE", "TZ", "PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "LD_LIBRARY_PATH",
    "SSL_CERT_FILE", "SSL_CERT_DIR", "REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE",
    "HTTP_PROXY", "HTTPS_PROXY", "NO_PROXY", "http_proxy", "https_proxy", "no_proxy",
)  # fmt: skip
LONGEST_ANSWER = 1 << 20  # bytes; a hundred inspected addresses need some 50 KB
SHARE = 0.7  # of the deadline for the call itself: the rest is for the start of the child, seconds on a small board

LATE = "did not answer in time"


class Sender:
    """Send letters, each in a child process of its own."""

    def __init__(self, clock: Clock, site_name: str, state_dir: Path) -> None:
        """Take the clock for the deadline, the name of the house for the From line, and where chat keys are kept."""
        self._clock = clock
        self._site = site_name
        self._keys = state_dir / "chat"

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Send `letter` by `route`; after `deadline_ms` the child is killed and reaped."""
        try:
            lines, ended = await ask_child(self.request(route, letter, deadline_ms), deadline_ms, self._clock)
        except OSError as error:
            return Outcome(ok=False, error=f"The program that sends could not be started ({error.strerror}).")
        begun = any("begun" in line for line in lines)
        for line in lines:
            if "ok" in line:
                return Outcome(**line)
            if "broken" in line:
                text = f"The program that sends met a mistake of its own ({line['broken']})."
                return Outcome(ok=False, maybe_arrived=begun, error=text)
        who = "The mail server" if isinstance(route.way, MailRoute) else "The message service"
        text = "The program that sends stopped before it was done." if ended else f"{who} {LATE}."
        return Outcome(ok=False, maybe_arrived=begun, error=text)

    def request(self, route: Route, letter: Letter, deadline_ms: int) -> dict[str, Any]:
        """Write what the child is asked; it holds the route's secret and goes through a pipe alone."""
        return {
            **self._way(route),
            "title": letter.title,
            "body": letter.body,
            "message_id": letter.message_id,
            "made": letter.made.isoformat(),
            "timeout": deadline_ms / 1000 * SHARE,
            "deadline": deadline_ms / 1000,
        }

    def _way(self, route: Route) -> dict[str, Any]:
        """Write a route for the child; only here and in `inspect` a secret is revealed."""
        way = route.way
        if isinstance(way, UrlRoute):
            folder = hashlib.sha256(route.id.encode()).hexdigest()[:16]
            return {
                "mode": "url",
                "way": {"url": way.url.reveal(), "ca": way.ca, "store": str(self._keys / folder)},
            }
        return {
            "mode": "mail",
            "way": {
                "host": way.host,
                "port": way.port,
                "security": way.security,
                "sender": way.sender,
                "to": way.to,
                "user": way.user,
                "password": way.password.reveal(),
                "ca": way.ca,
                "site": self._site,
            },
        }


async def ask_child(request: dict[str, Any], deadline_ms: int, clock: Clock) -> tuple[list[dict[str, Any]], bool]:
    """Start a child with `request` and return its answer lines, and whether it ended by itself.

    Kills its whole process group at the deadline or when the caller is cancelled, and reaps it in every case.
    Raises OSError when no process can be started.
    """
    child = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "gatewayd.notify.child",
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
        env={name: os.environ[name] for name in KEPT_ENVIRONMENT if name in os.environ},
        start_new_session=True,
        limit=LONGEST_ANSWER,
    )
    answer = bytearray()
    talk = asyncio.create_task(_talk(child, json.dumps(request).encode(), answer))
    timer = asyncio.ensure_future(clock.sleep(deadline_ms))
    try:
        await asyncio.wait({talk, timer}, return_when=asyncio.FIRST_COMPLETED)
        ended = talk.done()
    finally:
        timer.cancel()
        _kill(child)
        # it is killed, so this is short; a second cancel only leaves the reaping to the loop's own watcher
        await asyncio.shield(asyncio.gather(talk, timer, return_exceptions=True))
    return _lines(bytes(answer)), ended


async def _talk(child: asyncio.subprocess.Process, request: bytes, answer: bytearray) -> None:
    """Hand the request over, collect the answer, wait for the end."""
    if child.stdin is None or child.stdout is None:
        raise RuntimeError("the child was started without pipes; ask_child opens both")
    # a child that dies before it has read everything is told by its missing answer
    with contextlib.suppress(ConnectionError):
        child.stdin.write(request)
        await child.stdin.drain()
    child.stdin.close()
    while chunk := await child.stdout.read(65536):
        if len(answer) < LONGEST_ANSWER:
            answer += chunk
    await child.wait()


def _kill(child: asyncio.subprocess.Process) -> None:
    """End the child and whatever it has started; it leads a process group of its own."""
    if child.returncode is None:  # once it is reaped its number may belong to somebody else
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)


def _lines(answer: bytes) -> list[dict[str, Any]]:
    """Read the lines that are whole; the last one may be cut off by the kill."""
    lines = []
    for line in answer.split(b"\n"):
        with contextlib.suppress(ValueError):
            words = json.loads(line)
            if isinstance(words, dict):
                lines.append(words)
    return lines
