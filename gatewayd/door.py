"""The door: a Unix socket by which the commands ask and order. One JSON object a line, both ways.

A request is `{"ask": NAME, ...}`; the answer is one or more lines, the last with `"end": true`. Who asks is read
from the socket itself, so nobody can order in another's name.
"""

import asyncio
import json
import pwd
import socket
import struct
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

LONGEST = 65_536  # bytes in one request line; an order has some hundred
_PEER = struct.Struct("iII")  # struct ucred of unix(7): pid, uid, gid

Plain = dict[str, Any]
Answerer = Callable[[Plain, str], AsyncIterator[Plain]]  # (request, who) -> answers


class NotRunning(Exception):
    """No daemon answers at the door."""


class Door:
    """Serve the socket."""

    def __init__(self, path: Path, answer: Answerer) -> None:
        """Take the socket's path and who answers."""
        self._path = path
        self._answer = answer
        self._server: asyncio.Server | None = None

    async def open(self) -> None:
        """Begin to listen. Raise RuntimeError if another daemon does so already."""
        self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if self._path.exists():
            try:
                next(ask(self._path, {"ask": "hello"}))
            except NotRunning:
                self._path.unlink()  # left by a daemon that was killed
            else:
                raise RuntimeError(f"another gatewayd answers at {self._path}; stop it first")
        self._server = await asyncio.start_unix_server(self._serve, self._path, limit=LONGEST)
        self._path.chmod(0o660)  # owner and group: whoever may enter the folder may order

    async def close(self) -> None:
        """Stop listening and take the socket away; closing twice is fine."""
        if self._server is not None:
            self._server.close()
            self._server = None
            self._path.unlink(missing_ok=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            line = await reader.readline()
            async for answer in self._answers(line, _peer(writer)):
                writer.write(json.dumps(answer, ensure_ascii=False).encode() + b"\n")
                await writer.drain()
        except (ConnectionError, ValueError):
            pass  # the command went away, or sent a line that is too long: nothing to answer to
        except asyncio.CancelledError:
            pass  # gatewayd stops while somebody looks on: hang up. Left alone, the stream writes a traceback of it
        finally:
            writer.close()

    async def _answers(self, line: bytes, who: str) -> AsyncIterator[Plain]:
        try:
            request = json.loads(line)
            if not isinstance(request, dict):
                raise TypeError("a request is a JSON object")
        except (ValueError, TypeError, RecursionError) as wrong:
            yield {"error": f"this is no request: {wrong}", "end": True}
            return
        async for answer in self._answer(request, who):
            yield answer
        yield {"end": True}


def _peer(writer: asyncio.StreamWriter) -> str:
    """Return the name of the user at the other end, as the kernel knows it."""
    sock: socket.socket = writer.get_extra_info("socket")
    _, uid, _ = _PEER.unpack(sock.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _PEER.size))
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"user {uid}"


def ask(path: Path, request: Mapping[str, Any], patience: float = 30.0) -> Iterator[Plain]:
    """Ask the daemon and yield its answers, without the closing line.

    Raise NotRunning if nobody answers, PermissionError if this user may not enter, TimeoutError after `patience`
    seconds without a line.
    """
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
        sock.settimeout(patience)
        try:
            sock.connect(str(path))
        except (FileNotFoundError, ConnectionRefusedError, NotADirectoryError) as wrong:
            raise NotRunning(str(path)) from wrong
        sock.sendall(json.dumps(dict(request), ensure_ascii=False).encode() + b"\n")
        with sock.makefile("rb") as lines:
            for line in lines:
                answer: Plain = json.loads(line)
                if answer.pop("end", False):
                    if answer:
                        yield answer
                    return
                yield answer
    raise NotRunning(f"{path}: the daemon went away before it had answered")
